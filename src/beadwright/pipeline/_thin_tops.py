"""Tops that end less than half a layer above a layer's floor: with the neutral rule nothing is laid there."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence

import numpy as np

from beadwright.brep import Model, PlaneSurface
from beadwright.curves import chain_measures
from beadwright.layers import LayerPlan
from beadwright.numeric import Finding, counted
from beadwright.pipeline._heights import LEVEL
from beadwright.pipeline._layer_work import LayerWork
from beadwright.section import Cutter, cut, take_plane

# mm: a plane moves out of a level face by this, so a face no further above a layer's floor lies on it.
SLACK = 1e-6
MENDED = (
    "a layer height by which such heights can be divided, or heights that follow the part (--rule outer lays all of"
    " it and more)"
)


def thin_tops(
    plans: Sequence[LayerPlan],
    solid: Model,
    cutter: Cutter,
    works: Sequence[LayerWork],
    later: Collection[int] = (),
) -> tuple[Finding, ...]:
    """What of the part's highest top, and of the level faces that look upwards below it, is not printed.

    Parameters
    ----------
    plans : sequence of LayerPlan
        All of the whole plan.
    solid : Model
        Placed.
    cutter : Cutter
    works : sequence of LayerWork
        The layers made.
    later : collection of int
        Rows of faces that are cut later, of which nothing is told.
    """
    highest = _highest(plans[-1], solid, cutter, works)
    covered = plans[-1].index if highest else None
    lower = list(_lower(solid, [w.layer.plan for w in works if w.layer.plan.index != covered], later))
    if not lower:
        return highest
    row, worst, rest = max(lower, key=lambda each: (solid.faces[each[0]].area * each[2], -each[0]))
    face, name = solid.faces[row], solid.faces[row].name
    return (
        *highest,
        Finding(
            code="thin-top",
            level="warning",
            layer=worst.index,
            face=face.id,
            measured=rest,
            allowed=worst.height / 2,
            unit="mm",
            text=f"of {counted(len(lower), 'level face')} that look upwards the last part of a layer is not printed;"
            f" most is missing here, {rest:.3f} mm under all {face.area:.0f} mm2 of face {face.id}"
            f"{f' ({name})' if name else ''}: it is less than half a layer, and the section at mid height lies above"
            f" it; take {MENDED}",
        ),
    )


def _highest(
    last: LayerPlan, solid: Model, cutter: Cutter, works: Sequence[LayerWork]
) -> tuple[Finding, ...]:
    """That the part ends less than half a layer above the last top but one, so that nothing is laid there."""
    rest = float(solid.box[1, 2]) - last.z0
    empty = any(work.layer.plan.index == last.index and not work.beads for work in works)
    if last.rule != "neutral" or not empty or rest <= LEVEL:
        return ()
    (section,) = cut(cutter, [take_plane(cutter, last.z0 + rest / 2, "below").taken])
    areas, _ = chain_measures(section.loops)
    area = abs(math.fsum(areas.tolist()))
    return (
        Finding(
            code="thin-top",
            level="warning",
            layer=last.index,
            measured=rest,
            allowed=last.height / 2,
            unit="mm",
            text=f"the part's top {rest:.3f} mm, about {area:.0f} mm2 of it, is not printed: it is less than half"
            f" a layer, and the section at mid height lies above it; take {MENDED}",
        ),
    )


def _lower(
    solid: Model, plans: Sequence[LayerPlan], later: Collection[int]
) -> Iterator[tuple[int, LayerPlan, float]]:
    """Row of each level face that looks upwards out of the lower half of a layer, that layer, and the height in it."""
    neutral = [plan for plan in plans if plan.rule == "neutral"]
    floors = np.array([plan.z0 for plan in neutral])
    for row, face in enumerate(solid.faces):
        if not isinstance(face.surface, PlaneSurface) or row in later:
            continue
        frame = face.surface.frame
        up = float(np.cross(frame.axes[0], frame.axes[1])[2]) * (1 if face.outward else -1)
        if up <= 1 - LEVEL:
            continue
        z = float(frame.origin[2])
        at = int(np.searchsorted(floors, z - SLACK, side="right")) - 1
        if at >= 0 and z - floors[at] > SLACK and z < (neutral[at].z0 + neutral[at].z) / 2:
            yield row, neutral[at], z - float(floors[at])
