"""Several programs from one job, a folder each: segments of a part that is larger than the machine."""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import Any, Unpack

from beadwright import __version__
from beadwright.brep import CutFace, Segment
from beadwright.errors import InputError
from beadwright.mesh import ENDINGS
from beadwright.pipeline._guard import cut_step
from beadwright.pipeline._json import as_text
from beadwright.pipeline._output import SEVERAL, Output, output_folder
from beadwright.pipeline._plan import Progress, plan_part
from beadwright.pipeline._result import PlanResult
from beadwright.settings import PlanOptions, Resolved, resolve

FORMAT = "beadwright pieces 1"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """What a job gives that makes several programs.

    Attributes
    ----------
    document : mapping
        What pieces.json holds: see the schema ``pieces.schema.json`` in the package.
    results : tuple of (str, PlanResult)
        Name of the folder, and its plan.
    out : Path or None
        The folder of all.
    """

    document: Mapping[str, Any]
    results: tuple[tuple[str, PlanResult], ...]
    out: Path | None

    @property
    def has_errors(self) -> bool:
        """Whether there is a finding of level error in any of them."""
        return any(result.has_errors for _, result in self.results)


def plan_pieces(
    part: Any,
    out: str | Path | None = None,
    *,
    job: str | Path | None = None,
    machine: str | Path | None = None,
    material: str | Path | None = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
    **options: Unpack[PlanOptions],
) -> PlanResult | Pieces:
    """`plan` for any job: also for one that makes several programs.

    Parameters
    ----------
    part, out, job, machine, material, progress, executor, **options
        As of `plan`.

    Returns
    -------
    PlanResult or Pieces
        `Pieces` where the job cuts the part into segments.

    Examples
    --------
    >>> import beadwright
    >>> made = beadwright.plan_pieces("tall.step", "out", cut=[{"z": 1200.0}])  # doctest: +SKIP
    >>> [name for name, result in made.results]  # doctest: +SKIP
    ['segment_1', 'segment_2']
    """
    resolved = resolve(options, job=job, machine=machine, material=material)
    return plan_any(part, out, resolved=resolved, progress=progress, executor=executor)


def plan_any(
    part: Any,
    out: str | Path | None,
    *,
    resolved: Resolved,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> PlanResult | Pieces:
    """`plan_pieces` with settings that are resolved already."""
    plan = _segments if resolved.settings.cut else plan_part
    return plan(part, out, resolved=resolved, progress=progress, executor=executor)


def _segments(
    part: Any,
    out: str | Path | None,
    *,
    resolved: Resolved,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Pieces:
    """Cut a part by the planes of the job, and plan each segment in a folder of its own.

    Each segment is written as a STEP file beside its program, which names that file and its SHA-256, so every
    command takes the folder as it takes any other plan's. All folders are there, or none.

    Parameters
    ----------
    part : str or Path
        A STEP file.
    out : str or Path, optional
        Without it nothing is written.
    resolved : Resolved
        With ``cut``.
    progress, executor
        As of `plan`.

    Raises
    ------
    InputError
        The part is no STEP file.
    GeometryError
        A plane does not meet the part, or the CAD kernel's pieces are not valid.
    """
    if not isinstance(part, (str, Path)) or Path(part).suffix.lower() in ENDINGS:
        raise InputError("cut: segments are made of the solids of a STEP file; give one as the part")
    settings = resolved.settings
    if progress is not None:
        progress("cutting", 0, 0)
    made = cut_step(part, [cut.plane() for cut in settings.cut], name="segment")
    results: list[tuple[str, PlanResult]] = []
    rows: list[dict[str, Any]] = []
    with ExitStack() as stack:
        if out is not None:
            output = stack.enter_context(output_folder(out, overwrite=settings.overwrite))
        else:
            output = Output(Path(stack.enter_context(TemporaryDirectory())))
        for number, segment in enumerate(made.segments, 1):
            name = f"segment_{number}"
            file = output.write_bytes(f"{name}.step", segment.step)
            own = _own(resolved, segment)
            result = plan_part(
                file,
                None if out is None else output.folder / name,
                resolved=own,
                progress=progress,
                executor=executor,
                recorded=None if out is None else Path(out) / name / file.name,
            )
            if out is not None:
                file.rename(output.folder / name / file.name)
                result = replace(result, out=Path(out) / name)
            results.append((name, result))
            rows.append(_segment_row(name, segment, own, result))
        document = {
            "format": FORMAT,
            "version": __version__,
            "kind": "segments",
            "input": {"file": made.file, "sha256": made.sha256, "volume_mm3": made.volume},
            "cuts": [
                {"point_mm": list(point), "normal": list(normal)}
                for point, normal in (cut.plane() for cut in settings.cut)
            ],
            "volumes_off_relative": made.off(),
            "pieces": rows,
            "totals": _totals([result for _, result in results]),
        }
        if out is not None:
            output.write(SEVERAL, as_text(document))
    return Pieces(document=document, results=tuple(results), out=None if out is None else Path(out))


def _own(resolved: Resolved, segment: Segment) -> Resolved:
    """Settings of a segment: without the cuts, and turned if asked."""
    change: dict[str, Any] = {"cut": (), "cut_down": False}
    source = dict(resolved.source)
    if resolved.settings.cut_down and segment.faces:
        change["rotate"] = face_down(_largest(segment.faces).normal)
        source["rotate"] = "cut"
    settings = resolved.settings.model_copy(update=change)
    return replace(resolved, settings=settings, source=MappingProxyType(source))


def _largest(faces: Sequence[CutFace]) -> CutFace:
    """The largest cut face; of equal ones that which looks down most, so that nothing is turned without need."""
    most = max(face.area for face in faces)
    return min((f for f in faces if math.isclose(f.area, most)), key=lambda f: f.normal[2])


def face_down(normal: tuple[float, float, float]) -> tuple[float, float, float]:
    """Degrees about X, Y and Z after which a normal looks straight down.

    Examples
    --------
    >>> face_down((0.0, 0.0, -1.0)), face_down((0.0, 0.0, 1.0)), face_down((1.0, 0.0, 0.0))
    ((0.0, 0.0, 0.0), (180.0, 0.0, 0.0), (0.0, 90.0, 0.0))
    """
    x, y, z = (v + 0.0 for v in normal)
    # about X until y is 0 and z below 0, then about Y until x is 0
    about_x = math.degrees(math.atan2(0.0 - y, 0.0 - z))
    about_y = math.degrees(math.atan2(x, math.hypot(y, z)))
    return about_x + 0.0, about_y + 0.0, 0.0


def _segment_row(name: str, segment: Segment, own: Resolved, result: PlanResult) -> dict[str, Any]:
    return {
        "name": name,
        "file": f"{name}.step",
        "sha256": hashlib.sha256(segment.step).hexdigest(),
        "solids": segment.solids,
        "volume_mm3": segment.volume,
        "box_mm": [list(row) for row in segment.box],
        "cut_faces": [
            {"cut": face.plane + 1, "normal": list(face.normal), "area_mm2": face.area}
            for face in segment.faces
        ],
        "rotate_deg": list(own.settings.rotate),
        "placement": result.document["placement"],
        "layers": result.document["totals"]["layers"],
        **_taken(result),
        "findings": dict(sorted(Counter(finding.level for finding in result.findings).items())),
    }


def _taken(result: PlanResult) -> dict[str, float]:
    """Time and mass, as far as they are known."""
    totals = result.document["totals"]
    return {key: totals[key] for key in ("time_s", "mass_kg") if key in totals}


def _totals(results: Sequence[PlanResult]) -> dict[str, float]:
    """Sums of what is known of all."""
    rows = [_taken(result) for result in results]
    return {key: math.fsum(row[key] for row in rows) for key in rows[0] if all(key in row for row in rows)}
