"""Where the layers of a plan lie."""

from __future__ import annotations

from beadwright.brep import Blank, Model
from beadwright.errors import SettingsError
from beadwright.layers import LayerPlan, plan_layers
from beadwright.settings import PlanSettings

LEVEL = 1e-9
"""A part that stands less below the platform than this stands on it, mm."""


def reach(solid: Model, blank: Blank | None) -> tuple[float, float]:
    """Lowest and highest point of a placed part with its stock, mm."""
    low, high = float(solid.box[0, 2]), float(solid.box[1, 2])
    if blank is None:
        return low, high
    low, high = min(low, float(blank.box[0, 2])), max(high, float(blank.box[1, 2]))
    return (0.0 if abs(low) <= LEVEL else low), high


def asked_layers(ends: tuple[float, float], settings: PlanSettings) -> tuple[LayerPlan, ...]:
    """The layers of the whole plan that were asked for, from the lowest to the highest point, mm.

    Raises
    ------
    SettingsError
        None of them is asked for.
    """
    low, high = ends
    plans = plan_layers(low, high, settings.height, rule=settings.rule, platform_z=min(low, 0.0))
    first, end = settings.layers
    chosen = plans[first:end]
    if not chosen:
        raise SettingsError(
            f"layers: {first}:{end or ''} lies above the part, whose layers are 0:{len(plans)}"
        )
    return chosen
