"""Base beads and pads against the machine: what leaves its reach, or lies where something stands."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.beads import Bead
from beadwright.curves import bounding_box, samples
from beadwright.layers import LayerPlan
from beadwright.numeric import Finding, counted
from beadwright.pipeline._layer_work import LayerWork
from beadwright.settings import Machine, PlanSettings

Floats = npt.NDArray[np.float64]

# Coordinates of some metres are doubles good to 1e-12; a bead on the limit is inside.
ON_LIMIT = 1e-6
# Places looked at along a bead, in its widths.
STEP = 0.125


def base_findings(
    works: Sequence[LayerWork], machine: Machine, settings: PlanSettings, count: int
) -> tuple[Finding, ...]:
    """Base beads that the nozzle cannot reach, such that lie in a keep-out, and pads that end with the part.

    Of the first two the worst place.

    Parameters
    ----------
    works : sequence of LayerWork
    machine : Machine
    settings : PlanSettings
    count : int
        Layers of the whole plan.
    """
    shift = np.array(machine.work_offset.at)
    low, high = np.array(machine.volume.low()) - shift, np.array(machine.volume.high()) - shift
    base = [(work.layer.plan, bead) for work in works for bead in work.beads if bead.role == "base"]
    found = _cut_short(works, settings, count)
    outside = [
        (beyond, slab, at)
        for slab, bead in base
        for beyond, at in [_beyond(bead, low, high)]
        if beyond > ON_LIMIT
    ]
    if outside:
        beyond, slab, at = max(outside, key=lambda row: row[0])
        text = f"{counted(len(outside), 'base bead leaves', 'base beads leave')} the platform, here farthest"
        found.append(_finding("base-off-platform", text, slab, at, measured=beyond))
    for each in machine.volume.keep_out:
        stands = np.array([each.low, each.high]) - shift
        hit = [
            (depth, slab, at)
            for slab, bead in base
            if stands[0, 2] < slab.z and stands[1, 2] > slab.z0
            for depth, at in [_inside(bead, stands[:, :2])]
            if depth > ON_LIMIT
        ]
        if hit:
            depth, slab, at = max(hit, key=lambda row: row[0])
            text = f"{counted(len(hit), 'base bead overlaps', 'base beads overlap')} {each.name}, here most"
            found.append(_finding("base-in-keep-out", text, slab, at, measured=depth))
    return tuple(found)


def _cut_short(works: Sequence[LayerWork], settings: PlanSettings, count: int) -> list[Finding]:
    """Pads, and base beads, that were asked for in more layers than the part has anything in."""
    rows = {work.layer.plan.index: (work.layer.plan, bool(work.layer.region.loops)) for work in works}
    while (top := rows.get(count - 1)) is not None and not top[1]:
        count -= 1
    asked = [(f"pad {row}", pad.layers, pad.at) for row, pad in enumerate(settings.pad, 1)]
    if settings.base_beads:
        asked.append(("base_layers", settings.base_layers, settings.at))
    return [
        Finding(
            code="base-cut-short",
            level="warning",
            layer=count - 1,
            at_mm=(x, y, rows[count - 1][0].z) if count - 1 in rows else None,
            measured=float(count),
            allowed=float(layers),
            unit="layers",
            text=f"{name} asks for {counted(layers, 'layer')}, but the part ends after {counted(count, 'layer')}, and"
            " nothing is laid above it; ask for fewer, or print a higher block beside as a part of its own"
            " ([[beside]])",
        )
        for name, layers, (x, y) in asked
        if layers > count
    ]


def _beyond(bead: Bead, low: Floats, high: Floats) -> tuple[float, Floats]:
    """How far a bead's centreline leaves a rectangle, mm, and about where."""
    least, most = bounding_box(bead.path)
    out = np.concatenate([low[:2] - least, most - high[:2]])
    worst = int(out.argmax())
    at = (np.asarray(least) + np.asarray(most)) / 2
    at[worst % 2] = (least, most)[worst // 2][worst % 2]
    return float(out[worst]), at


def _inside(bead: Bead, stands: Floats) -> tuple[float, Floats]:
    """How deep a rectangle reaches into a bead, mm, and where; 0 or less where it does not."""
    points = samples([bead.path], STEP * bead.width)
    away = np.hypot(*np.maximum(np.maximum(stands[0] - points, points - stands[1]), 0.0).T)
    row = int(away.argmin())
    return bead.width / 2 - float(away[row]), points[row]


def _finding(code: str, text: str, slab: LayerPlan, at: Floats, *, measured: float) -> Finding:
    return Finding(
        code=code,
        level="error",
        layer=slab.index,
        at_mm=(float(at[0]), float(at[1]), slab.z),
        measured=measured,
        allowed=0.0,
        unit="mm",
        text=text,
    )
