"""What stands on the platform: one part as read, or several parts and copies as one model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.beads import Bead
from beadwright.brep import Model, Triangles, placed, placement, several, several_pictures
from beadwright.errors import SettingsError
from beadwright.pipeline._layout import Ground, in_rows, meets
from beadwright.pipeline._mesh import check_mesh
from beadwright.pipeline._part import read_part, read_part_with_picture
from beadwright.settings import PlanSettings, Resolved

Floats = npt.NDArray[np.float64]

# Shapes that touch share no volume; what the CAD kernel makes of a face on a face is far below this, mm3.
NO_VOLUME = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StandingPart:
    """One copy where it stands.

    Attributes
    ----------
    index : int
        Counts the copies of all files from 0.
    file, sha256 : str
    matrix : (3, 4) float
        From its file (mm, as read) to the platform: a similarity.
    turn : float
        Degrees about the vertical beside the job's own rotation.
    box : (2, 3) float
        Its true extent there, mm.
    faces, solids : int
        How many it has.
    source : str, Path or shape
        What it was read from.
    """

    index: int
    file: str
    sha256: str
    matrix: Floats
    turn: float
    box: Floats
    faces: int
    solids: int
    source: Any

    def __str__(self) -> str:
        """As messages name it."""
        x, y = self.middle()
        return f"copy {self.index} ({self.file} at {x:g}, {y:g})"

    def middle(self) -> tuple[float, float]:
        """Middle of its box in the plane, mm."""
        x, y = (0.5 * (self.box[0, :2] + self.box[1, :2])).tolist()
        return x, y


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SetUp:
    """What is planned.

    Attributes
    ----------
    model : Model
        One part as read; of several the whole in machine coordinates, standing on Z = 0.
    triangles : Triangles or None
        For a picture, in the coordinates of `model`.
    copies : tuple of StandingPart
        None for one part.
    """

    model: Model
    triangles: Triangles | None
    copies: tuple[StandingPart, ...] = ()

    def matrices(self, matrix: Floats) -> tuple[Floats, ...]:
        """From each copy's file to the machine, where the whole is placed by a matrix."""
        return tuple(composed(matrix, copy.matrix) for copy in self.copies)

    def groups(self, beads: Sequence[Bead]) -> list[int] | None:
        """The copy in whose box each bead starts, or to whose box it is nearest; None for one part."""
        if not self.copies:
            return None
        boxes = np.array([copy.box[:, :2] for copy in self.copies])
        starts = np.array([bead.start for bead in beads]).reshape(-1, 1, 2)
        out = np.maximum(np.maximum(boxes[:, 0] - starts, starts - boxes[:, 1]), 0.0)
        return [int(row) for row in np.hypot(out[..., 0], out[..., 1]).argmin(axis=1)]

    def document(self, matrix: Floats) -> dict[str, Any]:
        """What plan.json says of the copies, where the whole is placed by a matrix; nothing of one part."""
        if not self.copies:
            return {}
        face = solid = 0
        rows = []
        for copy, own in zip(self.copies, self.matrices(matrix), strict=True):
            rows.append(
                {
                    "index": copy.index,
                    "file": copy.file,
                    "sha256": copy.sha256,
                    "placement": own.tolist(),
                    "at_mm": list(copy.middle()),
                    "turn_deg": copy.turn,
                    "box_mm": copy.box.tolist(),
                    "first_face": face,
                    "first_solid": solid,
                }
            )
            face, solid = face + copy.faces, solid + copy.solids
        return {"placement": rows[0]["placement"], "copies": rows}


def composed(outer: Floats, inner: Floats) -> Floats:
    """One (3, 4) matrix for two: first the inner."""
    return np.hstack([outer[:, :3] @ inner[:, :3], (outer[:, :3] @ inner[:, 3] + outer[:, 3])[:, None]])


def inverted(matrix: Floats) -> Floats:
    """The (3, 4) matrix that leads back."""
    linear = np.linalg.inv(matrix[:, :3])
    return np.hstack([linear, -(linear @ matrix[:, 3])[:, None]])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Asked:
    """A copy before it has a place: its model, and where it is asked to stand (None: in rows)."""

    source: Any
    model: Model
    triangles: Triangles | None
    turn: float
    at: tuple[float, float] | None


def set_up(part: Any, resolved: Resolved, *, picture: bool) -> SetUp:
    """Read the part, and what the job prints beside it, and set all of it on the platform.

    Parameters
    ----------
    part : str, Path, Model, cadquery.Workplane, cadquery.Shape or TopoDS_Shape
    resolved : Resolved
    picture : bool
        Whether triangles are wanted too.

    Raises
    ------
    StepError
        A file cannot be read.
    SettingsError
        Arcs along chords are asked for where there is no mesh; copies overlap, or stand where the machine does not
        reach or nothing may stand.
    """
    settings = resolved.settings
    walls = settings.wall is not None

    def read(source: Any) -> tuple[Model, Triangles | None]:
        if picture:
            found, shown = read_part_with_picture(source, walls=walls)
        else:
            found, shown = read_part(source, walls=walls), None
        check_mesh(found, settings)
        return found, shown

    model, triangles = read(part)
    if not has_several(settings):
        return SetUp(model=model, triangles=triangles)
    asked = _of_first(part, model, triangles, resolved)
    for row in settings.beside:
        path = beside_path(row.file, resolved.job_folder)
        own, shown = read(path)
        asked += [_Asked(source=path, model=own, triangles=shown, turn=row.turn, at=row.at)] * row.copies
    ground = _Machine(resolved)
    standing = _placed(asked, settings, ground)
    copies, models, pictures = zip(*standing, strict=True)
    _check(copies, models, ground)
    shown_all = [each for each in pictures if each is not None]
    return SetUp(
        model=several(models, _kernel_bytes(asked, copies)),
        triangles=several_pictures(shown_all, [c.faces for c in copies])
        if len(shown_all) == len(copies)
        else None,
        copies=copies,
    )


def _of_first(part: Any, model: Model, triangles: Triangles | None, resolved: Resolved) -> list[_Asked]:
    """The copies of the part itself."""
    settings = resolved.settings
    if settings.place:
        return [
            _Asked(source=part, model=model, triangles=triangles, turn=row.turn, at=row.at)
            for row in settings.place
        ]
    alone = settings.copies == 1 and resolved.source["at"] != "default"
    at = settings.at if alone else None
    return [_Asked(source=part, model=model, triangles=triangles, turn=0.0, at=at)] * settings.copies


def has_several(settings: PlanSettings) -> bool:
    """Whether a job prints more than one part as it is, or says where."""
    return settings.copies > 1 or bool(settings.place or settings.beside)


def beyond(settings: PlanSettings) -> float:
    """How far stock or base beads reach beyond a part, mm."""
    stock = max((rule.amount for rule in settings.stock), default=0.0)
    return stock + settings.base_beads * settings.spacing_of("base")


def in_turn(settings: PlanSettings) -> bool:
    """Whether a job prints several parts one after another."""
    return settings.sequence.parts == "in-turn" and has_several(settings)


def beside_path(file: str, folder: Path | None) -> Path:
    """A file as the job names it, from where the job file stands."""
    path = Path(file)
    return path if path.is_absolute() or folder is None else folder / path


class _Machine:
    """The platform in program coordinates."""

    def __init__(self, resolved: Resolved) -> None:
        machine = resolved.machine
        shift = np.array(machine.work_offset.at)
        self.low = np.array(machine.volume.low()) - shift
        self.high = np.array(machine.volume.high()) - shift
        self.names = tuple(each.name for each in machine.volume.keep_out)
        boxes = [
            [np.array(each.low) - shift, np.array(each.high) - shift] for each in machine.volume.keep_out
        ]
        self.keep_out = np.array(boxes, dtype=float).reshape(-1, 2, 3)
        if machine.tamper is not None:
            self.keep_out[:, 0, :2] -= np.array(machine.tamper.size) / 2
            self.keep_out[:, 1, :2] += np.array(machine.tamper.size) / 2
        chosen = any(
            name.startswith("machine.volume") and told != "default" for name, told in resolved.source.items()
        )
        self.remark = (
            "" if chosen else "\n  the volume is that of the generic machine: tell yours with --machine"
        )
        self.override = frozenset(resolved.settings.override)

    def ground(self, top: float, more: Floats) -> Ground:
        """The rectangle for parts up to a height; `more` (k, 2, 2) is taken."""
        near = self.keep_out[(self.keep_out[:, 0, 2] < top) & (self.keep_out[:, 1, 2] > 0.0)]
        return Ground(low=self.low[:2], high=self.high[:2], blocked=np.concatenate([near[:, :, :2], more]))


def _matrix(each: _Asked, settings: PlanSettings, at: tuple[float, float]) -> Floats:
    x, y, z = settings.rotate
    return placement(each.model, settings.scale, (x, y, z + each.turn), at)


def _placed(
    asked: Sequence[_Asked], settings: PlanSettings, machine: _Machine
) -> list[tuple[StandingPart, Model, Triangles | None]]:
    """Each copy at its place: those with one of their own first, the others in rows beside them."""
    grown = beyond(settings)
    boxes = [placed(each.model, _matrix(each, settings, each.at or (0.0, 0.0))).box for each in asked]
    fixed = [box[:, :2] for each, box in zip(asked, boxes, strict=True) if each.at is not None]
    taken = np.array(fixed, dtype=float).reshape(-1, 2, 2)
    around = settings.gap + 2 * grown
    taken[:, 0] -= around
    taken[:, 1] += around
    free = [row for row, each in enumerate(asked) if each.at is None]
    top = max((float(boxes[row][1, 2]) for row in free), default=0.0)
    ends = [boxes[row][1, :2] - boxes[row][0, :2] + 2 * grown for row in free]
    ground = machine.ground(top, taken)
    middles = in_rows(
        [(float(w), float(d)) for w, d in ends], gap=settings.gap, middle=settings.at, ground=ground
    )
    if isinstance(middles, int):
        row = free[middles]
        w, d = ends[middles]
        raise SettingsError(
            f"copies: there is no room for copy {row} ({asked[row].model.file}, {w:.1f} x {d:.1f} mm) on a"
            f" platform of {_size(ground)} with {len(fixed) + middles} copies and {len(machine.keep_out)} keep-outs"
            f" on it, {settings.gap:g} mm apart; take fewer copies or a smaller gap{machine.remark}"
        )
    places = dict(zip(free, middles, strict=True))
    standing = []
    for index, each in enumerate(asked):
        matrix = _matrix(each, settings, each.at if each.at is not None else places[index])
        model = placed(each.model, matrix)
        copy = StandingPart(
            index=index,
            file=each.model.file,
            sha256=each.model.sha256,
            matrix=matrix,
            turn=each.turn,
            box=model.box,
            faces=len(model.faces),
            solids=len(model.solids),
            source=each.source,
        )
        shown = each.triangles
        if shown is not None:
            shown = replace(shown, points=shown.points @ matrix[:, :3].T + matrix[:, 3])
        standing.append((copy, model, shown))
    return standing


def _size(ground: Ground) -> str:
    return " x ".join(f"{v:g}" for v in ground.high - ground.low) + " mm"


def _check(copies: Sequence[StandingPart], models: Sequence[Model], machine: _Machine) -> None:
    """Refuse copies that leave the machine's volume, stand in a keep-out, or in each other."""
    faults = []
    for copy in copies:
        if "volume" not in machine.override:
            faults += [
                f"{copy} reaches from {axis} {copy.box[0, k]:.3f} to {copy.box[1, k]:.3f} mm, the machine from"
                f" {machine.low[k]:g} to {machine.high[k]:g} mm"
                for k, axis in enumerate("XYZ")
                if copy.box[0, k] < machine.low[k] - 1e-6 or copy.box[1, k] > machine.high[k] + 1e-6
            ]
        if "keep-out" not in machine.override:
            hit = meets(copy.box, machine.keep_out)
            faults += [
                f"{copy} stands in {name}" for name, bad in zip(machine.names, hit, strict=True) if bad
            ]
    for number, copy in enumerate(copies):
        before = np.array([other.box for other in copies[:number]]).reshape(-1, 2, 3)
        faults += [
            text
            for other in np.flatnonzero(meets(copy.box, before)).tolist()
            if (text := _overlap(copies[other], copy, models[other], models[number]))
        ]
    if faults:
        raise SettingsError("copies cannot stand so:\n  " + "\n  ".join(faults) + machine.remark)


def _overlap(first: StandingPart, second: StandingPart, a: Model, b: Model) -> str:
    """What two copies share whose boxes do; empty if nothing."""
    if not (a.kernel_bytes and b.kernel_bytes):
        return f"{first} and {second}: their boxes overlap, and of meshes no more is known; set them apart"
    from beadwright.kernel import common_volume

    shared = common_volume((a.kernel_bytes, first.matrix), (b.kernel_bytes, second.matrix))
    if shared <= NO_VOLUME:
        return ""
    return f"{first} and {second} overlap by {shared:.6g} mm3; set them apart"


def _kernel_bytes(asked: Sequence[_Asked], copies: Sequence[StandingPart]) -> bytes:
    from beadwright.kernel import gathered

    return gathered(
        [(each.model.kernel_bytes, copy.matrix) for each, copy in zip(asked, copies, strict=True)]
    )
