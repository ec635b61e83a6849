"""The exact section of a part by one plane."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.brep import extents, placed
from beadwright.curves import CurveKind, CurveLoops, chain_measures
from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline._kernel_fallback import kernel_fallback
from beadwright.pipeline._part import read_part
from beadwright.report import (
    Exported,
    section_record,
    section_svg,
    write_dxf,
    write_section_json,
    write_svg,
    write_whole,
)
from beadwright.section import Section, Side, cut, prepare, take_plane


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaneSection:
    """A part cut by one plane.

    Attributes
    ----------
    part : str
        Name of the file.
    frame : (3, 4) float or None
        None for a horizontal plane, whose x and y are the part's own. Else rows x axis, y axis and normal of
        the plane, each with its shift: ``frame[:, :3] @ p + frame[:, 3]`` are a point's coordinates in the
        plane and its height above it, mm.
    section : Section
        The exact curves, mm, each with its face; ``section.loops`` holds them.
    why : str
        Why the plane was moved, "" if it was not.
    face_names : tuple of str
        By face id.
    missed : tuple of float or None
        Where the plane meets nothing: how far below (negative) and above the plane the part reaches, mm.
    """

    part: str
    frame: npt.NDArray[np.float64] | None
    section: Section
    why: str
    face_names: tuple[str, ...]
    missed: tuple[float, float] | None = None

    @property
    def loops(self) -> CurveLoops:
        """The exact curves."""
        return self.section.loops

    @property
    def area(self) -> float:
        """Sum of the loops' areas, holes negative, mm2."""
        return float(chain_measures(self.loops)[0].sum())

    @property
    def length(self) -> float:
        """Length of all curves, mm."""
        return float(chain_measures(self.loops)[1].sum())

    def _repr_svg_(self) -> str:
        """The section as a notebook shows it."""
        return section_svg(self.loops, self.section.taken, title=self.part)[0]

    def kinds(self) -> dict[str, int]:
        """Number of curves of each kind."""
        counted = Counter(self.loops.kind.tolist())
        return {CurveKind(kind).name.lower(): count for kind, count in sorted(counted.items())}

    def where(self) -> str:
        """The plane in words."""
        moved = f" ({self.why})" if self.why else ""
        if self.frame is None:
            return f"z = {self.section.taken:.6f} mm{moved}"
        x, y, z = self.frame[2, :3]
        return f"normal {x:.6f}, {y:.6f}, {z:.6f}{moved}"

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it: every curve with its kind, exact parameters and bound."""
        return section_record(
            self.loops,
            asked=self.section.asked,
            taken=self.section.taken,
            face_names=self.face_names,
            part=self.part,
            to_model=self.to_model(),
        )

    def to_model(self) -> npt.NDArray[np.float64] | None:
        """Rows that take ``(x, y, height, 1)`` back to the part's own coordinates; None if they are those."""
        if self.frame is None:
            return None
        turn = self.frame[:, :3].T
        return np.concatenate((turn, -(turn @ self.frame[:, 3])[:, None]), axis=1)


def section_at(
    part: Any,
    *,
    z: float | None = None,
    plane: str | Sequence[float] | None = None,
    side: Side = "above",
    surfaces: bool = False,
) -> PlaneSection:
    """Cut a part by a plane, exactly.

    Parameters
    ----------
    part : str, Path, Model, cadquery.Workplane, cadquery.Shape or TopoDS_Shape
    z : float, optional
        Height of a horizontal plane, in the part's own coordinates, mm.
    plane : six floats or text, optional
        A point and a normal instead: X, Y, Z, NX, NY, NZ. The point is the origin of the plane's own
        coordinates, its x axis is horizontal.
    side : {"above", "below"}
        To which side a plane moves (by 1e-6 mm) that lies on a flat face, a vertex or a tangency.
    surfaces : bool
        Take open shells and loose faces too; their chains may be open.

    Returns
    -------
    PlaneSection
        No chain at all where the plane misses the part.

    Raises
    ------
    SettingsError
        Not exactly one plane was given, or it is none.
    StepError
        The part cannot be read.
    """
    if (z is None) == (plane is None):
        raise SettingsError("section: give either a height (--z MM) or a plane (--plane X,Y,Z,NX,NY,NZ)")
    height = 0.0 if z is None else float(z)
    if not math.isfinite(height):
        raise SettingsError(f"z: {z} is no height; expected a number of mm")
    frame = None if plane is None else _frame(plane)
    model = read_part(part, walls=surfaces)
    cutter = prepare(model if frame is None else placed(model, frame))
    taken = take_plane(cutter, height, side)
    fallback = kernel_fallback(model, np.eye(3, 4) if frame is None else frame)
    (section,) = cut(cutter, [taken.taken], asked=[taken.asked], fallback=fallback)
    missed = None
    if not section.loops.kind.size:
        axis = np.array([0.0, 0.0, 1.0]) if frame is None else frame[2, :3]
        low, high = extents(model, axis[None, :])[:, 0]
        level = height if frame is None else -frame[2, 3]
        missed = (float(low - level), float(high - level))
    return PlaneSection(
        part=model.file,
        frame=frame,
        section=section,
        why=taken.why,
        face_names=tuple(face.name for face in model.faces),
        missed=missed,
    )


def _frame(plane: str | Sequence[float]) -> npt.NDArray[np.float64]:
    """The matrix that turns a plane into z = 0, its point into the origin."""
    try:
        numbers = [float(v) for v in (plane.split(",") if isinstance(plane, str) else plane)]
    except ValueError:
        numbers = []
    if len(numbers) != 6 or not all(map(math.isfinite, numbers)):
        raise SettingsError(f"plane: {plane!r} is none; expected six numbers X,Y,Z,NX,NY,NZ")
    point, normal = np.array(numbers[:3]), np.array(numbers[3:])
    size = float(np.linalg.norm(normal))
    if size == 0.0:
        raise SettingsError("plane: the normal 0,0,0 has no direction")
    normal = normal / size
    x = np.array([-normal[1], normal[0], 0.0])
    x = x / np.linalg.norm(x) if x.any() else np.array([1.0, 0.0, 0.0])
    axes = np.array([x, np.cross(normal, x), normal])
    return np.concatenate((axes, -(axes @ point)[:, None]), axis=1)


def write_section(cut: PlaneSection, path: str | Path) -> Exported:
    """Write a section as its file's ending says: .dxf, .svg, .step or .json.

    Coordinates are those of the part for a horizontal plane, else the plane's own (see `PlaneSection`).

    Raises
    ------
    OutputError
        Another ending, or the file cannot be written.
    SettingsError
        The plane misses the part, so there is nothing to draw.
    """
    path = Path(path)
    if cut.missed is not None:
        low, high = cut.missed
        level = cut.section.asked if cut.frame is None else 0.0
        along = "z" if cut.frame is None else "its height over the plane"
        raise SettingsError(
            f"{cut.part}: the plane misses the part, where {along} runs from {level + low:.3f} to"
            f" {level + high:.3f} mm; nothing was written"
        )
    writers: dict[str, Callable[[], Exported]] = {
        ".dxf": lambda: write_dxf(path, cut.loops, cut.section.taken, face_names=cut.face_names),
        ".svg": lambda: write_svg(path, cut.loops, cut.section.taken, title=cut.part),
        ".json": lambda: write_section_json(
            path,
            cut.loops,
            asked=cut.section.asked,
            taken=cut.section.taken,
            face_names=cut.face_names,
            part=cut.part,
            to_model=cut.to_model(),
        ),
        ".step": lambda: _write_step(cut, path),
    }
    writer = writers.get(path.suffix.lower())
    if writer is None:
        known = ", ".join(writers)
        raise OutputError(f"{path}: a section is written as {known}, told by the file's ending")
    return writer()


def _write_step(cut: PlaneSection, path: Path) -> Exported:
    """Curves as CAD curves: true lines and circles, splines for the rest."""
    from beadwright.kernel import section_step

    data = section_step(cut.loops, cut.section.taken, name=path.stem)
    return Exported(path=write_whole(path, data), entities=cut.kinds(), bound=cut.section.bound)
