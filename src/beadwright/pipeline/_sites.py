"""Where closed beads start, as a job asks: its faces found on the part."""

from __future__ import annotations

from beadwright.beads import Order, SiteRule
from beadwright.brep import Model
from beadwright.pipeline._chosen import Earlier, chosen_rows
from beadwright.settings import FaceChoice, PlanSettings


def site_rule(solid: Model, settings: PlanSettings, earlier: Earlier | None) -> SiteRule:
    """The rule for start points on a placed model.

    Raises
    ------
    SettingsError
        A choice finds no face.
    """
    asked = settings.sequence

    def rows(choice: FaceChoice | None, key: str) -> frozenset[int]:
        if choice is None:
            return frozenset()
        return frozenset(chosen_rows(solid, choice, what=f"sequence.{key}", earlier=earlier))

    return SiteRule(
        kind=asked.sites,
        stagger=asked.stagger,
        on=rows(asked.start_on, "start_on"),
        off=rows(asked.keep_off, "keep_off"),
    )


def rank_order(settings: PlanSettings) -> Order:
    """Which rank of a loop comes first."""
    return "outer" if settings.sequence.contour_order == "inward" else "inner"
