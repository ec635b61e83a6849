"""Stock judged against another solid: the part as it shall be when it is machined."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beadwright.brep import Model, placed
from beadwright.errors import SettingsError
from beadwright.layers import FaceLeft, Finished, LayerPlan, finished_part
from beadwright.numeric import Finding
from beadwright.pipeline._layer_work import LayerWork
from beadwright.pipeline._part import read_part
from beadwright.pipeline._set_up import beside_path
from beadwright.pipeline._stand import Array, fixed_point
from beadwright.settings import PlanSettings, Resolved


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """The finished part as it stands in the print.

    Attributes
    ----------
    model : Model
        In machine coordinates.
    path : Path
        Where its file was found.
    ready : Finished
        For the layers.
    """

    model: Model
    path: Path
    ready: Finished


def read_finished(resolved: Resolved, matrix: Array) -> Judged | None:
    """Read the finished part, and place it as the printed one is placed: both share their coordinates.

    Parameters
    ----------
    resolved : Resolved
    matrix : (3, 4) float
        Of the printed part, without contraction.

    Raises
    ------
    StepError
        It cannot be read.
    SettingsError
        It has no solid.
    """
    settings = resolved.settings
    if settings.finished is None:
        return None
    folder = resolved.job_folder if resolved.source["finished"] == "job" else None
    path = beside_path(settings.finished, folder)
    model = read_part(path)
    if not model.solids:
        raise SettingsError(f"finished: {path.name} holds no solid")
    solid = _standing(model, settings, matrix)
    return Judged(model=solid, path=path, ready=finished_part(solid))


def _standing(model: Model, settings: PlanSettings, matrix: Array) -> Model:
    x, y, z = settings.contraction
    at = fixed_point(settings)
    if x == y == z:
        whole = x * matrix
        for axis in range(3):
            whole[axis, 3] += (1.0 - x) * at[axis]
        return placed(model, whole)
    from beadwright.kernel import contracted

    return contracted(model, matrix, (x, y, z), at)


def _worst(works: Sequence[LayerWork]) -> dict[int, tuple[FaceLeft, float, LayerPlan]]:
    """By face: where it has least in all layers, its greatest anywhere (mm), and the layer of the least."""
    found: dict[int, tuple[FaceLeft, float, LayerPlan]] = {}
    for work in works:
        for each in () if work.left is None else work.left.faces:
            if each.face not in found:
                found[each.face] = each, each.greatest, work.layer.plan
                continue
            before, greatest, where = found[each.face]
            low, layer = (each, work.layer.plan) if each.least < before.least else (before, where)
            found[each.face] = low, max(greatest, each.greatest), layer
    return dict(sorted(found.items()))


def finished_told(
    judged: Judged | None, works: Sequence[LayerWork], settings: PlanSettings, *, whole: bool
) -> dict[str, Any]:
    """What plan.json says of the finished part, under `finished`; nothing without one.

    Parameters
    ----------
    judged : Judged or None
    works : sequence of LayerWork
    settings : PlanSettings
        Round beads lie half their height inside at the borders of layers, which is taken off what is least.
    whole : bool
        Whether the layers are all of the plan: only then are there volumes.
    """
    if judged is None:
        return {}
    model, depth = judged.model, settings.edge_depth()
    rows = [
        {
            "id": model.faces[face].id,
            "name": model.faces[face].name,
            "kind": model.faces[face].kind,
            "stock_mm": {"least": least.least - depth, "greatest": greatest},
            "least_at_mm": [*least.at, slab.z],
            "least_layer": slab.index,
        }
        for face, (least, greatest, slab) in _worst(works).items()
    ]
    left = [(work.left.bound, work.left.outside) for work in works if work.left is not None]
    told: dict[str, Any] = {
        "file": Path(model.file).name,
        "sha256": model.sha256,
        "volume_mm3": model.volume,
        "bound_mm": max((bound for bound, _ in left), default=0.0),
        "outside_mm2": max((outside for _, outside in left), default=0.0),
        "faces": rows,
    }
    if whole and works:
        printed = math.fsum(work.layer.area * work.layer.plan.height for work in works)
        low, high = float(model.box[0, 2]), float(model.box[1, 2])
        covered = [work.layer.plan for work in works if work.layer.region.loops]
        told |= {"print_mm3": printed, "machined_mm3": printed - model.volume}
        if covered:
            told |= {"base_mm": low - covered[0].z0, "top_mm": covered[-1].z - high}
    return {"finished": told}


def finished_findings(judged: Judged | None, told: dict[str, Any]) -> tuple[Finding, ...]:
    """Places where the finished part lies outside the print, and faces that are not cut everywhere."""
    if judged is None:
        return ()
    row = told["finished"]
    bound, found = row["bound_mm"], []
    for face in row["faces"]:
        least = face["stock_mm"]["least"]
        if least > bound:
            continue
        name = f" {face['name']}" if face["name"] else ""
        out = least < -bound
        found.append(
            Finding(
                code="finished-outside" if out else "finished-bare",
                level="error" if out else "warning",
                layer=face["least_layer"],
                at_mm=tuple(face["least_at_mm"]),
                measured=least,
                allowed=0.0,
                unit="mm",
                text=f"face {face['id']}{name} ({face['kind']}) of {row['file']} "
                + (
                    "lies outside what is printed, here most: leave more stock there, or check that both files share"
                    " their coordinates"
                    if out
                    else f"has no stock here, to within {bound:.2f} mm: it may stay as printed"
                ),
            )
        )
    for key, where in (("top_mm", "above"), ("base_mm", "below")):
        if row.get(key, 0.0) < -bound:
            found.append(
                Finding(
                    code="finished-outside",
                    level="error",
                    measured=row[key],
                    allowed=0.0,
                    unit="mm",
                    text=f"{row['file']} reaches {where} what is printed",
                )
            )
    return tuple(found)
