"""What uniting the loops of all solids of a layer took away."""

from __future__ import annotations

from beadwright.curves import ArcRegion, length, signed_area
from beadwright.layers import LayerRegion

# Areas and lengths that a union may lose by its own snapping, far above it: mm2, mm.
NO_AREA = 1e-3
NO_LENGTH = 1e-2


def united(before: ArcRegion, layer: LayerRegion) -> tuple[float, float]:
    """What uniting the loops of all solids took away: overlap (mm2), else shared boundary (mm)."""
    inverted = sum(area for area, _, _ in layer.inverted)
    gone = sum(map(signed_area, before.loops)) - sum(map(signed_area, layer.region.loops))
    overlap = gone + abs(inverted)
    if overlap > NO_AREA:
        return overlap, 0.0
    shorter = sum(map(length, before.loops)) - sum(map(length, layer.region.loops))
    return 0.0, shorter if shorter > NO_LENGTH and not layer.inverted else 0.0
