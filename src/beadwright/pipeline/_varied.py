"""Flow and speed along beads whose width varies."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.beads import Bead
from beadwright.pipeline._cards import Cards

Floats = npt.NDArray[np.float64]


def width_feeds(cards: Cards, bead: Bead, feed: float) -> float | tuple[float, ...]:
    """Speed along a bead, mm/s; where it alone changes the width, one for each width: volume is speed by area."""
    if not (cards.by_speed and bead.widths):
        return feed
    areas = [cards.section(width, bead.height).area for width in bead.widths]
    return tuple(feed * min(areas) / area for area in areas)


def bead_speeds(cards: Cards, beads: Sequence[Bead], feed: float) -> list[float | Floats]:
    """Speed along each bead, or along each of its moves, mm/s."""
    found: list[float | Floats] = []
    for bead in beads:
        own = width_feeds(cards, bead, feed)
        found.append(np.array(own)[bead.path.support] if isinstance(own, tuple) else own)
    return found


def varied_areas(
    cards: Cards, beads: Sequence[Bead], areas: Sequence[float]
) -> list[float | tuple[float, ...]]:
    """The area of each bead's section, mm2; of one whose width varies those of its widths.

    Where the screw turns evenly along a bead that is the least, which is laid at the job's feed.
    """
    if cards.by_speed:
        return [
            min((cards.section(width, bead.height).area for width in bead.widths), default=area)
            for bead, area in zip(beads, areas, strict=True)
        ]
    return [
        tuple(cards.section(width, bead.height).area for width in bead.widths) or area
        for bead, area in zip(beads, areas, strict=True)
    ]
