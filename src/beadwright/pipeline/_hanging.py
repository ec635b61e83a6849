"""Layer against layer: what hangs over, in a worker or, where chunks of layers meet, in the calling process."""

from __future__ import annotations

import math

from beadwright.layers import Hanging, LayerRegion, hanging
from beadwright.settings import PlanSettings


def standing_out(layer: LayerRegion, below: LayerRegion, settings: PlanSettings) -> float:
    """How far a layer may stand out over the one below, mm: by the limit of lean, and what both may be off."""
    slope = math.tan(math.radians(settings.greatest_lean()))
    off = sum(b.model + b.section + b.fit + b.region for b in (layer.budget, below.budget))
    return layer.plan.height * slope + 2 * off


def hanging_over(
    layer: LayerRegion, below: LayerRegion | None, settings: PlanSettings
) -> tuple[Hanging, ...] | None:
    """What of a layer hangs over the one below; None where that is not known, and for walls."""
    if settings.wall is not None:
        return None
    if layer.plan.index == 0:
        return ()
    if below is None or layer.plan.index != below.plan.index + 1:
        return None
    return hanging(layer.region, below.region, reach=standing_out(layer, below, settings))
