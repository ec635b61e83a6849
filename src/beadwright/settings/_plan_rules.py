"""What must hold between the settings of a plan, one rule a function."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from beadwright.settings._base import Fault
from beadwright.settings._widths import WIDTHS, width_faults

Known = Any
"""The settings of a plan, or as much of them as is not at fault; their model is made of these rules."""

# Rounding of both ends and the re-centred middle moves an arc by at most this many units of the last place.
ROUNDING_UNITS = 2.42
# A wall, a list of tables and a number of copies that ask for no more than one part and its solids.
NOTHING_MORE = (None, (), 1)
NO_HEIGHTS: Mapping[str, float] = MappingProxyType({})


def _height(plan: Known) -> Iterator[Fault]:
    yield from _of_widths(plan, heights={"height": plan.height})


def _heights(plan: Known) -> Iterator[Fault]:
    if plan.heights is not None:
        yield from _of_widths(plan, heights={"heights.greatest": plan.heights.greatest})


def _spacing(plan: Known) -> Iterator[Fault]:
    yield from _of_widths(plan, spacing=plan.spacing)


def _bore(plan: Known) -> Iterator[Fault]:
    yield from _of_widths(plan, bore=plan.bore, taken=plan.nozzle_bore())


def _of_widths(
    plan: Known,
    *,
    heights: Mapping[str, float] = NO_HEIGHTS,
    spacing: float | None = None,
    bore: float | None = None,
    taken: float = math.inf,
) -> list[Fault]:
    return width_faults(dict(plan.widths_used()), heights=heights, spacing=spacing, bore=bore, taken=taken)


def _ribs(plan: Known) -> Iterator[Fault]:
    side = plan.spacing_of("rib")
    if plan.fill.kind == "ribs" and plan.fill.rib_spacing < side:
        yield (
            "fill.rib_spacing",
            f"{plan.fill.rib_spacing:g} mm would lay ribs over each other, which lie side by side at {side:.4g} mm;"
            " take more, or fill with lines",
        )


def _widths_of_walls(plan: Known) -> Iterator[Fault]:
    if plan.wall is not None and plan.widths != WIDTHS:
        yield "widths", "are for solids; walls have one width"


def _tolerance(plan: Known) -> Iterator[Fault]:
    rounding = ROUNDING_UNITS * 10.0**-plan.decimals
    if plan.tolerance < rounding:
        yield (
            "tolerance",
            f"{plan.tolerance:g} mm cannot be kept with {plan.decimals} decimals, whose rounding alone moves arcs by up"
            f" to {rounding:.3g} mm; take more decimals",
        )


def _rule_of_walls(plan: Known) -> Iterator[Fault]:
    if plan.rule != "neutral" and plan.wall is not None:
        yield "rule", f"{plan.rule} is for solids; walls allow neutral"


def _face_rule(plan: Known) -> Iterator[Fault]:
    if plan.face_rule and (plan.wall is not None or plan.fit_arcs is not None):
        yield "face_rule", "is for faces of solids; leave out wall and fit_arcs"


def _alone(plan: Known, key: str, others: Sequence[str]) -> Iterator[Fault]:
    """One part and its solids is all that a setting knows; of the others the first that says more is named."""
    if getattr(plan, key):
        other = next((name for name in others if getattr(plan, name) not in NOTHING_MORE), None)
        if other is not None:
            yield key, f"is for one part and its solids; leave out {other}"


def _finished(plan: Known) -> Iterator[Fault]:
    yield from _alone(plan, "finished", ("wall", "place", "beside", "cut", "copies"))


def _of_solids(key: str) -> Callable[[Known], Iterator[Fault]]:
    """That walls have none of what a key asks for."""

    def rule(plan: Known) -> Iterator[Fault]:
        if getattr(plan, key) and plan.wall is not None:
            yield key, "is for solids; walls have none"

    return rule


def _beside_arcs(key: str, used: object) -> Iterator[Fault]:
    if used:
        yield key, "cannot go with fit_arcs, which follows the plain sections of a mesh"


def _rule_of_arcs(plan: Known) -> Iterator[Fault]:
    yield from _beside_arcs("rule", plan.fit_arcs is not None and plan.rule != "neutral")


def _stock_of_arcs(plan: Known) -> Iterator[Fault]:
    yield from _beside_arcs("stock", plan.fit_arcs is not None and plan.stock)


def _wall_of_arcs(plan: Known) -> Iterator[Fault]:
    yield from _beside_arcs("wall", plan.fit_arcs is not None and plan.wall)


def _copies(plan: Known) -> Iterator[Fault]:
    if plan.copies > 1 and plan.place:
        yield "copies", "the places of the copies are told one by one in [[place]]; leave one out"


def _cut(plan: Known) -> Iterator[Fault]:
    yield from _alone(plan, "cut", ("wall", "place", "beside", "copies"))


def _cut_down(plan: Known) -> Iterator[Fault]:
    if plan.cut_down and not plan.cut:
        yield (
            "cut_down",
            "turns the segments that [[cut]] makes, and there is none; add one or leave this out",
        )


def _closure(plan: Known) -> Iterator[Fault]:
    if plan.sequence.closure == "tapered" and plan.bed_map is not None:
        yield "sequence.closure", "tapered cannot go with bed_map, which changes the flow itself"


def _layers(plan: Known) -> Iterator[Fault]:
    first, end = plan.layers
    if end is not None and end <= first:
        yield "layers", f"{first}:{end} holds no layer; the second number is the one after the last"


PLAN_RULES = (
    _height,
    _heights,
    _spacing,
    _bore,
    _ribs,
    _widths_of_walls,
    _tolerance,
    _rule_of_walls,
    _face_rule,
    _finished,
    _of_solids("stock"),
    _of_solids("cut_later"),
    _rule_of_arcs,
    _stock_of_arcs,
    _wall_of_arcs,
    _copies,
    _cut,
    _cut_down,
    _of_solids("corner_radius"),
    _of_solids("base_beads"),
    _of_solids("pad"),
    _closure,
    _layers,
)
"""All of them, in the order in which they are told."""
