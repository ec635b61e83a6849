"""Traverses that stay above their layer, and those that cannot."""

from __future__ import annotations

from beadwright.beads import Ways
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding
from beadwright.program import LayerProgram
from beadwright.settings import PlanSettings


def layer_ways(settings: PlanSettings, layer: LayerRegion) -> Ways | None:
    """Ways inside a layer's region, if traverses are to keep to them."""
    if settings.sequence.traverses == "straight" or settings.wall is not None:
        return None
    return Ways(layer.region, width=settings.width_of("outer"), longest=settings.sequence.detour)


def outside_findings(program: LayerProgram, ways: Ways | None) -> tuple[Finding, ...]:
    """At most one finding: traverses from bead to bead of a layer that leave its region all the same."""
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
    return (
        Finding(
            code="traverse-outside",
            level="note",
            layer=program.begin.index,
            at_mm=((start.x + end.x) / 2, (start.y + end.y) / 2, end.z),
            measured=float(len(out)),
            text="traverses of a layer cross what is not its region: no way inside is short enough",
        ),
    )
