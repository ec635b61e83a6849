"""A part that is larger than the machine: cut into segments, each planned in a folder of its own."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from concurrent.futures import Executor
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import Any

from beadwright.brep import CutFace, Segment
from beadwright.errors import InputError
from beadwright.mesh import ENDINGS
from beadwright.pipeline._guard import cut_step
from beadwright.pipeline._output import Output, output_folder
from beadwright.pipeline._pieces import Pieces, finished, named, told_of
from beadwright.pipeline._plan import Progress, plan_part
from beadwright.pipeline._result import PlanResult
from beadwright.settings import Resolved


def plan_segments(
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
            with named(name):
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
        given = {
            "input": {"file": made.file, "sha256": made.sha256, "volume_mm3": made.volume},
            "cuts": [
                {"point_mm": list(point), "normal": list(normal)}
                for point, normal in (cut.plane() for cut in settings.cut)
            ],
            "volumes_off_relative": made.off(),
        }
        return finished("segments", given, rows, results, output=None if out is None else output, out=out)


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
        **told_of(result),
    }
