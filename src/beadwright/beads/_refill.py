"""Lines that miss what a layer's fill is allowed to miss, laid otherwise.

Where a line turns along the boundary, its bead's outer corner stays open and its inner corner is laid twice;
where a line meets the boundary at a shallow angle, so do the two halves of its end. Both are measured, piece
by piece, by the exact sweep. A piece whose lines leave more open, or lay more twice, than its share of what
the layer may keeps as many turns as that allows, the gentlest. If that takes many, lines square to those, or
square to or along the piece's longest sides, and contour-parallel beads joined by cross-overs are tried too;
of those that keep within the limits the fewest beads are taken, and if none does, what comes nearest to them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from beadwright.arcs import cover
from beadwright.beads._contour import AS_ASKED, LayerBeads, Refilled
from beadwright.beads._coverage import Coverage
from beadwright.beads._crossed import joined_rings
from beadwright.beads._lines import Laid, LinePattern, line_beads
from beadwright.beads._rows import pieces_of
from beadwright.curves import ArcRegion, chords, length, region_area
from beadwright.errors import GeometryError

# Directions nearer to each other than this are one, rad: ten degrees.
ALIKE = math.radians(10.0)
# Of the turns that seem to be allowed, as what each costs varies.
SAFE = 0.9
# Share of the turns that may be given up before other ways are looked at: each is a stop and a start.
FEW = 0.25
# An allowance is at least this share of the piece, so that nothing is divided by zero.
LEAST = 1e-6

Rings = Callable[[ArcRegion], LayerBeads]
"""Contour-parallel beads that fill a piece."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """What the beads of a layer cover where its fill is laid as asked, and what they may miss.

    Attributes
    ----------
    found : Coverage
    underfill, overfill : float
        Shares of what whole beads could cover, and of what is covered, that may stay open and be laid twice.
    loss : float
        By how much less than its width a bead fills, mm.
    """

    found: Coverage
    underfill: float
    overfill: float
    loss: float

    @property
    def exceeded(self) -> bool:
        """Whether the layer misses more, or lays more twice, than it may."""
        return self.found.missed > self.underfill or self.found.excess > self.overfill

    def of_lines(self, missed: float, excess: float, area: float) -> tuple[float, float]:
        """What lines that now miss and lay twice so much of an area may, mm2; a share of that area at least.

        What the other beads of the layer miss is not the lines' doing.
        """
        found = self.found
        others = found.reachable - found.reached - missed, found.overfilled - found.crossings - excess
        return (
            max(self.underfill * found.reachable - others[0], self.underfill * area),
            max(self.overfill * (found.covered + found.outside) - others[1], self.overfill * area),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Way:
    laid: tuple[Laid, ...]
    missed: float
    excess: float
    told: Refilled = AS_ASKED
    by: LayerBeads | None = None

    def score(self, may: tuple[float, float]) -> float:
        """At most 1 where both are allowed."""
        return max(self.missed / may[0], self.excess / may[1])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refill:
    """Beads that fill a region, what was laid otherwise than asked, and whose rings were taken."""

    laid: tuple[Laid, ...]
    told: Refilled
    by: tuple[LayerBeads, ...]


def refilled(
    region: ArcRegion,
    core: ArcRegion,
    pattern: LinePattern,
    *,
    allowance: Allowance,
    rings: Rings,
    layer: int,
) -> Refill:
    """Fill a region so that its layer keeps within what it is allowed, as far as that can be had.

    Parameters
    ----------
    region : ArcRegion
        What is left inside the contour beads.
    core : ArcRegion
        Centrelines stay inside it.
    pattern : LinePattern
        Lines as asked.
    allowance : Allowance
    rings : callable
        Lays contour-parallel beads in a piece.
    layer : int
        Index of the layer.
    """
    pieces = pieces_of(region)
    asked = [_lines(piece, core, pattern, allowance.loss) for piece in pieces]
    areas = [region_area(piece) for piece in pieces]
    total = math.fsum(areas)
    may = allowance.of_lines(
        math.fsum(way.missed for way in asked), math.fsum(way.excess for way in asked), total
    )
    shares = [_of(may, area / total, area) for area in areas]
    chosen = [
        _chosen(piece, core, pattern, first, own, allowance.loss, rings, layer)
        for piece, first, own in zip(pieces, asked, shares, strict=True)
    ]
    # What pieces miss that nothing mends, as corners where no line fits, the others have to make up for.
    over = [way.score(own) > 1 for way, own in zip(chosen, shares, strict=True)]
    rest = math.fsum(area for area, worse in zip(areas, over, strict=True) if not worse)
    left = (
        may[0] - math.fsum(way.missed for way, worse in zip(chosen, over, strict=True) if worse),
        may[1] - math.fsum(way.excess for way, worse in zip(chosen, over, strict=True) if worse),
    )
    for row in [row for row, worse in enumerate(over) if not worse and any(over)]:
        own = _of(left, areas[row] / rest, areas[row])
        if chosen[row].score(own) > 1:
            chosen[row] = _chosen(pieces[row], core, pattern, asked[row], own, allowance.loss, rings, layer)
    return Refill(
        laid=tuple(each for way in chosen for each in way.laid),
        told=sum((way.told for way in chosen), AS_ASKED),
        by=tuple(way.by for way in chosen if way.by is not None),
    )


def _of(may: tuple[float, float], share: float, area: float) -> tuple[float, float]:
    """A piece's share of what may be missed and laid twice, mm2."""
    return max(may[0] * share, LEAST * area), max(may[1] * share, LEAST * area)


def _chosen(
    piece: ArcRegion,
    core: ArcRegion,
    pattern: LinePattern,
    asked: _Way,
    may: tuple[float, float],
    loss: float,
    rings: Rings,
    layer: int,
) -> _Way:
    """A way to fill a piece that keeps within what it may miss, else the one nearest to it."""

    def parted(whole: _Way, angle: float) -> _Way:
        """Lines with as many turns as are allowed, if any number is; else with none."""
        if pattern.joined <= 0:
            return whole
        own, told = replace(pattern, angle=angle, joined=0.0), replace(whole.told, apart=1)
        apart = replace(_lines(piece, core, own, loss), told=told)
        share = SAFE * min(
            _share(apart.missed, whole.missed, may[0]), _share(apart.excess, whole.excess, may[1])
        )
        if share <= 0:
            return apart
        some = replace(_lines(piece, core, replace(own, joined=share), loss), told=told)
        return some if some.score(may) <= 1 else apart

    if asked.score(may) <= 1:
        return asked
    first = parted(asked, pattern.angle)
    if first.score(may) <= 1 and len(first.laid) <= len(asked.laid) + FEW * _turns(asked):
        return first
    angles = _angles(piece, pattern.angle)[1:]
    others = [
        _told(_lines(piece, core, replace(pattern, angle=angle), loss), Refilled(turned=1))
        for angle in angles
    ]
    ways = [first, asked, *others]
    with suppress(GeometryError):  # rings that cannot be had are no way
        by = rings(piece)
        ways.append(_rings(piece, core, pattern, loss, by, layer))
        if pattern.joined > 0:
            ways.append(_rings(piece, core, replace(pattern, joined=0.0), loss, by, layer))
    good = [way for way in ways if way.score(may) <= 1]
    if not good:
        more = [parted(whole, angle) for whole, angle in zip(others, angles, strict=True)]
        ways += more
        good = [way for way in more if way.score(may) <= 1]
    if good:
        return min(good, key=lambda way: len(way.laid))
    return min(ways, key=lambda way: way.score(may))


def _turns(way: _Way) -> int:
    """Turns by which lines are joined."""
    return sum(each.joined - 1 for each in way.laid)


def _told(way: _Way, more: Refilled) -> _Way:
    return replace(way, told=way.told + more)


def _share(apart: float, whole: float, may: float) -> float:
    """Share of the turns that a limit seems to allow, between none and all of them."""
    return 1.0 if whole <= apart else (may - apart) / (whole - apart)


def _lines(piece: ArcRegion, core: ArcRegion, pattern: LinePattern, loss: float) -> _Way:
    laid, apart = laid_lines(piece, core, pattern)
    missed, excess = _measured(piece, laid, loss)
    return _Way(laid=laid, missed=missed, excess=excess, told=Refilled(apart=apart))


def laid_lines(region: ArcRegion, core: ArcRegion, pattern: LinePattern) -> tuple[tuple[Laid, ...], int]:
    """Lines, and whether they were left apart since the curve along which they turn could not be had."""
    try:
        return line_beads(region, core, pattern), 0
    except GeometryError:
        return line_beads(region, core, replace(pattern, joined=0.0)), 1


def _rings(
    piece: ArcRegion, core: ArcRegion, pattern: LinePattern, loss: float, by: LayerBeads, layer: int
) -> _Way:
    """Contour-parallel beads in a piece, joined by cross-overs if lines are."""
    round_ = [bead for bead in by.beads if bead.role == "contour"]
    others = tuple(Laid(path=bead.path, width=bead.width) for bead in by.beads if bead.role != "contour")
    laid = (
        joined_rings(round_, core, spacing=pattern.spacing, layer=layer)
        if pattern.joined > 0
        else tuple(Laid(path=bead.path, width=bead.width) for bead in round_)
    )
    laid = (*laid, *others)
    missed, excess = _measured(piece, laid, loss)
    return _Way(laid=laid, missed=missed, excess=excess, told=Refilled(rings=1), by=by)


def _measured(piece: ArcRegion, laid: Sequence[Laid], loss: float) -> tuple[float, float]:
    """What beads leave open of a piece, and what they lay beyond it or twice, mm2; infinite if not known."""
    found = cover([(each.path, each.width - loss) for each in laid], (piece,))
    if found is None:
        return math.inf, math.inf
    area = math.fsum(length(each.path) * (each.width - loss) for each in laid)
    return region_area(piece) - found.inside[0], area - found.inside[0]


def _angles(piece: ArcRegion, asked: float) -> list[float]:
    """Directions of lines to be tried, as asked first."""
    chord = np.concatenate([chords(loop) for loop in piece.loops])
    size, way = np.hypot(chord[:, 0], chord[:, 1]), np.arctan2(chord[:, 1], chord[:, 0])
    # Sides along one direction, either way, add up where angles are doubled.
    sides = 0.5 * float(np.arctan2((size * np.sin(2 * way)).sum(), (size * np.cos(2 * way)).sum()))
    found: list[float] = []
    for angle in (asked, asked + math.pi / 2, sides + math.pi / 2, sides):
        if all(abs(math.remainder(angle - other, math.pi)) > ALIKE for other in found):
            found.append(angle)
    return found
