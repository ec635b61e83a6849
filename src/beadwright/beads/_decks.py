"""Where a layer must be closed because what lies above or below it is open: exact, from its neighbours.

A place is exposed if one of the next layers above (or below) does not cover it. What lies inside the contour
beads there, and as far round it as asked, is closed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from beadwright.arcs import intersect, offset, subtract, unite
from beadwright.beads._contour import NOTHING
from beadwright.beads._rows import pieces_of
from beadwright.curves import ArcPath, ArcRegion

# Exposed places that are nowhere wider than this share of a bead's width are left to the contour beads.
NARROW = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Deck:
    """What to close: region, bound of its booleans (mm), and how often polygons had to stand in."""

    region: ArcRegion
    bound: float = 0.0
    fallbacks: int = 0


def deck_region(inside: ArcRegion, neighbours: Sequence[ArcRegion], *, width: float, reach: float) -> Deck:
    """What of a layer must be closed.

    Parameters
    ----------
    inside : ArcRegion
        What is left inside the layer's contour beads.
    neighbours : sequence of ArcRegion
        Regions of the layers above and below that count; an empty one beyond the part.
    width : float
        Of a bead, mm.
    reach : float
        How far round an exposed place a deck goes on, mm: so it rests on something.
    """
    if not inside.loops:
        return Deck(region=NOTHING)
    parts: list[ArcRegion] = []
    bound, fallbacks = 0.0, 0
    for other in neighbours:
        if not other.loops:
            return Deck(region=inside)
        exposed = subtract(inside, other)
        bound, fallbacks = max(bound, exposed.bound.mm), fallbacks + exposed.fallbacks
        if exposed.region.loops:
            parts.append(exposed.region)
    if not parts:
        return Deck(region=NOTHING, bound=bound, fallbacks=fallbacks)
    whole = unite(parts)
    wide: list[ArcPath] = []
    for piece in pieces_of(whole.region):
        core = offset(piece, distance=NARROW * width / 2)
        fallbacks += core.fallbacks
        if core.region.loops:
            wide += piece.loops
    if not wide:
        return Deck(region=NOTHING, bound=bound, fallbacks=fallbacks)
    grown = offset(ArcRegion(loops=tuple(wide), supports=whole.region.supports), distance=-reach)
    deck = intersect(grown.region, inside)
    steps = (whole, grown, deck)
    return Deck(
        region=deck.region,
        bound=bound + sum(step.bound.mm for step in steps),
        fallbacks=fallbacks + sum(step.fallbacks for step in steps),
    )
