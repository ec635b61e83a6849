"""Traverses that stay above their layer or keep off open top faces, and those that cannot."""

from __future__ import annotations

from collections.abc import Callable

from beadwright.beads import Below, Ways
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding
from beadwright.program import LayerProgram
from beadwright.settings import PlanSettings


def layer_ways(settings: PlanSettings) -> Callable[[LayerRegion], Ways | None]:
    """What gives the ways of each layer, called from the platform up; it gives None for straight ones."""
    kind, width = settings.sequence.traverses, settings.width_of("outer")
    below = Below(width) if kind == "around" else None

    def ways(layer: LayerRegion) -> Ways | None:
        if kind == "straight" or settings.wall is not None:
            return None
        off = None if below is None else below.add(layer.region)
        return Ways(layer.region, width=width, longest=settings.sequence.detour, off=off)

    return ways


def outside_findings(program: LayerProgram, ways: Ways | None, settings: PlanSettings) -> tuple[Finding, ...]:
    """At most one finding: traverses from bead to bead of a layer that do not keep to their ways all the same."""
    if ways is None:
        return ()
    out = [
        (start, end)
        for start, end in program.traverses()
        if not ways.clear((start.x, start.y), (end.x, end.y))
    ]
    if not out:
        return ()
    start, end = out[0]
    around = settings.sequence.traverses == "around"
    return (
        Finding(
            code="traverse-over-top" if around else "traverse-outside",
            level="note",
            layer=program.begin.index,
            at_mm=((start.x + end.x) / 2, (start.y + end.y) / 2, end.z),
            measured=float(len(out)),
            text="traverses of a layer cross open top faces: no way round them is short enough"
            if around
            else "traverses of a layer cross what is not its region: no way inside is short enough",
        ),
    )
