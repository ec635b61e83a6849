"""Where the layers of a plan lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Layers that are to be made, and those beside them that tell where they are exposed.

    Attributes
    ----------
    plans : tuple of LayerPlan
        From the platform up.
    first, count : int
        Which of them are made.
    beside : int
        On how many layers above and below a layer depends.
    """

    plans: tuple[LayerPlan, ...]
    first: int
    count: int
    beside: int

    @property
    def chosen(self) -> tuple[LayerPlan, ...]:
        """Those that are made."""
        return self.plans[self.first : self.first + self.count]


def asked_layers(
    ends: tuple[float, float], settings: PlanSettings, rest: Sequence[LayerPlan] | None = None
) -> Asked:
    """The layers of the whole plan that were asked for, from the lowest to the highest point, mm.

    Parameters
    ----------
    ends : tuple of float
        Lowest and highest point, mm.
    settings : PlanSettings
    rest : sequence of LayerPlan, optional
        Those that go on from a measured height, in place of what the settings ask.

    Raises
    ------
    SettingsError
        None of them is asked for.
    """
    low, high = ends
    plans = plan_layers(low, high, settings.height, rule=settings.rule, platform_z=min(low, 0.0))
    beside = settings.fill.decks()
    if rest is not None:
        first = rest[0].index if rest else 0
        below = plans[max(first - beside, 0) : first]
        return Asked(plans=(*below, *rest), first=len(below), count=len(rest), beside=beside)
    first, end = settings.layers
    chosen = plans[first:end]
    if not chosen:
        raise SettingsError(
            f"layers: {first}:{end or ''} lies above the part, whose layers are 0:{len(plans)}"
        )
    low_row, high_row = max(first - beside, 0), min(first + len(chosen) + beside, len(plans))
    return Asked(plans=plans[low_row:high_row], first=first - low_row, count=len(chosen), beside=beside)
