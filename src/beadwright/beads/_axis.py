"""Middles of walls: centres of the greatest discs inside a region of lines and arcs, between two sides.

At each place of the boundary the greatest disc that touches it there has a closed form against every line,
arc and corner, so its centre is a point of the medial axis exactly, with the exact tangent (at right angles
to the difference of the two directions from the boundary; H. Blum, A transformation for extracting new
descriptors of shape, 1967). Places are refined by halving until each change of what a disc touches is
bracketed within 1e-7 mm. A change that begins and ends between two neighbouring places
may go unseen: whoever uses a middle measures its true distance from the boundary.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.beads._middle import SNAP, Middle, joined_middles
from beadwright.curves import ArcRegion, chords

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# A wall has its two sides at 120 degrees or more as seen from the middle: a corner sharper than 60 degrees
# is a wall that tapers, a blunter one is a corner.
WALL_COSINE = -0.5
# A corner that turns right by less than this (rad) has no fan of normals.
FAN = 1e-7
# Changes are bracketed within this along the boundary, mm, or after so many halvings.
BRACKET = 1e-7
HALVINGS = 40
_QUARTER = float(np.tan(np.pi / 8))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Boundary:
    """Spans of at most a quarter turn, then fans of normals at corners that turn right."""

    spans: Floats
    normal: Floats  # (elements, 2) at the start
    turn: Floats  # (elements,) of the normal, counter-clockwise
    run: Floats  # (elements,) length, mm; of a fan its turn
    fan_of: Ints  # (spans,) element that is the fan at each span's start, or -1
    span: Ints  # (elements,) span of each element; of a fan that at whose start it stands
    own: Ints  # (elements, 2) spans on which the places of each element lie
    next: Ints  # (spans,) span that follows


def middles(
    region: ArcRegion, *, least: float, most: float, step: float, tolerance: float
) -> tuple[Middle, ...]:
    """Middle lines of those walls of a region whose half thickness lies in a range.

    Parameters
    ----------
    region : ArcRegion
        Valid: loops do not cross.
    least, most : float
        Half the thickness, mm; a middle is cut where it leaves the range.
    step : float
        Greatest distance of places on the boundary, mm.
    tolerance : float
        Between neighbouring points the middle strays from their chord's arc by less than about this, mm.

    Returns
    -------
    tuple of Middle
        Joined at junctions into the fewest lines; each piece of middle once.
    """
    found = walls(region, least=least, most=most, step=step, tolerance=tolerance)
    return () if found is None else found.middles()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Walls:
    """Places on a boundary with their discs, fine enough to follow the middles of walls in a range."""

    boundary: _Boundary
    element: Ints
    share: Floats
    disc: _Discs
    least: float
    most: float

    def middles(self) -> tuple[Middle, ...]:
        """The middle lines."""
        return joined_middles(_runs(self.element, self.disc, self.least, self.most))

    def places(self) -> tuple[Floats, Floats, Floats, npt.NDArray[np.bool_]]:
        """Points, unit normals into the material, radii of the discs, and whether each is of a wall."""
        wall = _keys(self.disc, self.least, self.most) >= 0
        return *_on(self.boundary, self.element, self.share), self.disc.radius, wall

    def loops(self) -> list[Ints]:
        """Rows of the places of each loop, in its direction."""
        spans = len(self.boundary.spans)
        span = self.boundary.span[self.element]
        # A corner's fan comes before the span at whose start it stands.
        order = np.lexsort((self.share, self.element < spans, span))
        loop = np.cumsum(self.boundary.next != np.arange(spans) + 1)
        loop = np.concatenate([[0], loop[:-1]])[span[order]]
        return np.split(order, np.flatnonzero(np.diff(loop)) + 1)


def walls(region: ArcRegion, *, least: float, most: float, step: float, tolerance: float) -> Walls | None:
    """What middles and sides of walls are made from; see `middles`. None for an empty region."""
    if not region.loops:
        return None
    boundary = _boundary(region)
    element, share = _places(boundary, step)
    disc = _discs(boundary, element, share, most)
    element, share, disc = _bracketed(boundary, element, share, disc, least, most)
    element, share, disc = _smoothed(boundary, element, share, disc, least, most, tolerance)
    return Walls(boundary=boundary, element=element, share=share, disc=disc, least=least, most=most)


def _boundary(region: ArcRegion) -> _Boundary:
    start, bulge, chord, following = [], [], [], []
    first = 0
    for loop in region.loops:
        a, c, b = loop.points, chords(loop), loop.bulge
        keep = np.flatnonzero((c != 0).any(axis=1))
        a, c, b = a[keep], c[keep], b[keep]
        wide = np.abs(b) > _QUARTER
        # An arc's middle lies b / 2 of the chord to the right of the chord's middle for b > 0.
        half = c / 2 + (b / 2)[:, None] * np.stack([c[:, 1], -c[:, 0]], axis=1)
        where = np.flatnonzero(wide) + 1
        a2 = np.insert(a, where, (a + half)[wide], axis=0)
        b = np.where(wide, np.tan(np.arctan(b) / 2), b)
        b2 = np.insert(b, where, b[wide])
        c2 = np.roll(a2, -1, axis=0) - a2
        start.append(a2)
        bulge.append(b2)
        chord.append(c2)
        following.append(first + np.roll(np.arange(len(a2)), -1))
        first += len(a2)
    a, b, c = np.concatenate(start), np.concatenate(bulge), np.concatenate(chord)
    size = np.hypot(c[:, 0], c[:, 1])
    unit = c / size[:, None]
    sin, cos = 2 * b / (1 + b * b), (1 - b) * (1 + b) / (1 + b * b)
    left = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    tangent, end = unit * cos[:, None] - left * sin[:, None], unit * cos[:, None] + left * sin[:, None]
    spans = np.column_stack([a, a + c, tangent, 2 * sin / size, end, size / 2 * (1 + np.abs(b))])
    after = np.concatenate(following)
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    arriving = end[before]
    turn = np.arctan2(
        arriving[:, 0] * tangent[:, 1] - arriving[:, 1] * tangent[:, 0], (arriving * tangent).sum(axis=1)
    )
    corner = np.flatnonzero(turn < -FAN)
    fan_of = np.full(len(a), -1, np.int64)
    fan_of[corner] = len(a) + np.arange(len(corner))
    way = np.concatenate([tangent, arriving[corner]])
    bow = size * (1 + b * b) * np.arctan(b) / np.where(b == 0, 1.0, b)
    return _Boundary(
        spans=np.ascontiguousarray(spans),
        normal=np.stack([-way[:, 1], way[:, 0]], axis=1),
        turn=np.concatenate([4 * np.arctan(b), turn[corner]]),
        run=np.concatenate([np.where(b == 0, size, bow), -turn[corner]]),
        fan_of=fan_of,
        span=np.concatenate([np.arange(len(a)), corner]),
        own=np.concatenate(
            [np.repeat(np.arange(len(a))[:, None], 2, axis=1), np.stack([corner, before[corner]], axis=1)]
        ),
        next=after,
    )


def _places(boundary: _Boundary, step: float) -> tuple[Ints, Floats]:
    """Elements and shares of places, at least three on each, ends included."""
    fan = np.arange(len(boundary.span)) >= len(boundary.spans)
    count = np.where(fan, 4, np.maximum(np.ceil(boundary.run / step), 2)).astype(np.int64) + 1
    element = np.repeat(np.arange(len(count)), count)
    row = np.arange(len(element)) - np.repeat(np.cumsum(count) - count, count)
    return element, row / (count[element] - 1)


def _on(boundary: _Boundary, element: Ints, share: Floats) -> tuple[Floats, Floats]:
    """Points and unit normals of places."""
    n = len(boundary.spans)
    fan = element >= n
    rows = boundary.spans[boundary.span[element]]
    turned = share * boundary.turn[element]
    cos, sin = np.cos(turned), np.sin(turned)
    first = boundary.normal[element]
    normal = np.stack([cos * first[:, 0] - sin * first[:, 1], sin * first[:, 0] + cos * first[:, 1]], axis=1)
    # The chord to the point at a share s of an arc: 2 sin(s a / 2) / k along the tangent turned by s a / 2.
    k = np.where(fan | (rows[:, 6] == 0), 1.0, rows[:, 6])
    chord = rows[:, 2:4] - rows[:, :2]
    reach = 2 * np.sin(turned / 2) / k
    c, s = np.cos(turned / 2), np.sin(turned / 2)
    bent = np.stack([c * rows[:, 4] - s * rows[:, 5], s * rows[:, 4] + c * rows[:, 5]], axis=1)
    line = rows[:, 6] == 0
    move = np.where(line[:, None], share[:, None] * chord, reach[:, None] * bent)
    return rows[:, :2] + np.where(fan[:, None], 0.0, move), normal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Discs:
    """Centres, radii and tangents of discs; ``other`` is the element touched, -1 if none between two sides."""

    centre: Floats
    radius: Floats
    tangent: Floats
    other: Ints


def _discs(boundary: _Boundary, element: Ints, share: Floats, most: float) -> _Discs:
    from beadwright.beads._kernels import discs  # numba: late

    at, normal = _on(boundary, element, share)
    found = discs(
        np.ascontiguousarray(at), np.ascontiguousarray(normal), boundary.own[element], boundary.spans, most
    )
    radius, span, part, lean = found[:, 0], found[:, 1].astype(np.int64), found[:, 2], found[:, 3]
    fan = boundary.fan_of[np.where(part == 2, boundary.next[span], span)]
    other = np.where((part > 0) & (fan >= 0), fan, span)
    # A disc wider than its own hollow side is bent stays at that side's centre: no wall.
    n = len(boundary.spans)
    own = np.where(element < n, boundary.spans[boundary.span[element], 6], 0.0)
    wall = (span >= 0) & (lean <= WALL_COSINE) & (radius * own <= 1.0) & (radius > 0) & (other != element)
    lean = np.clip(lean, -1.0, 1.0)
    # Right of the difference of the two directions; only its sign depends on the side.
    tangent = np.stack([normal[:, 1], -normal[:, 0]], axis=1)
    foot = _second_direction(boundary, at + radius[:, None] * normal, span, part)
    across = normal - foot
    size = np.maximum(np.hypot(across[:, 0], across[:, 1]), 1e-300)
    tangent = np.where(
        wall[:, None], np.stack([across[:, 1], -across[:, 0]], axis=1) / size[:, None], tangent
    )
    return _Discs(
        centre=at + radius[:, None] * normal,
        radius=radius,
        tangent=tangent,
        other=np.where(wall, other, -1),
    )


def _second_direction(boundary: _Boundary, centre: Floats, span: Ints, part: Floats) -> Floats:
    """Unit vectors from the foot on the touched span, or on its end, to the centre."""
    rows = boundary.spans[span]
    w = centre - rows[:, :2]
    inner = np.stack([-rows[:, 5] - rows[:, 6] * w[:, 0], rows[:, 4] - rows[:, 6] * w[:, 1]], axis=1)
    way = np.where((part == 0)[:, None], inner, np.where((part == 1)[:, None], w, centre - rows[:, 2:4]))
    return np.asarray(way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-300)[:, None])


def _keys(disc: _Discs, least: float, most: float) -> Ints:
    """What a disc touches if it is of a wall in the range, else -1."""
    kept = (disc.other >= 0) & (disc.radius >= least) & (disc.radius < most)
    return np.where(kept, disc.other, -1)


def _inserted(
    boundary: _Boundary, element: Ints, share: Floats, disc: _Discs, after: Ints, most: float
) -> tuple[Ints, Floats, _Discs]:
    """Places with one more in the middle after each of some rows."""
    at = (share[after] + share[after + 1]) / 2
    new = _discs(boundary, element[after], at, most)
    rows = after + 1
    return (
        np.insert(element, rows, element[after]),
        np.insert(share, rows, at),
        _Discs(
            centre=np.insert(disc.centre, rows, new.centre, axis=0),
            radius=np.insert(disc.radius, rows, new.radius),
            tangent=np.insert(disc.tangent, rows, new.tangent, axis=0),
            other=np.insert(disc.other, rows, new.other),
        ),
    )


def _bracketed(
    boundary: _Boundary, element: Ints, share: Floats, disc: _Discs, least: float, most: float
) -> tuple[Ints, Floats, _Discs]:
    """Places refined until each change of what a disc touches is bracketed."""
    key = _keys(disc, least, most)
    row = np.flatnonzero((element[1:] == element[:-1]) & (key[1:] != key[:-1]))
    low, high, below, above = share[row], share[row + 1], key[row], key[row + 1]
    own = element[row]
    found: list[tuple[Ints, Floats]] = []
    for _ in range(HALVINGS):
        if not len(own):
            break
        at = (low + high) / 2
        middle = _keys(_discs(boundary, own, at, most), least, most)
        left, right = below != middle, middle != above
        own = np.concatenate([own[left], own[right]])
        low, high = np.concatenate([low[left], at[right]]), np.concatenate([at[left], high[right]])
        below = np.concatenate([below[left], middle[right]])
        above = np.concatenate([middle[left], above[right]])
        wide = (high - low) * boundary.run[own] > BRACKET
        found.append((np.repeat(own[~wide], 2), np.stack([low[~wide], high[~wide]], axis=1).ravel()))
        own, low, high, below, above = own[wide], low[wide], high[wide], below[wide], above[wide]
    found.append((np.repeat(own, 2), np.stack([low, high], axis=1).ravel()))
    new = np.concatenate([each for each, _ in found]), np.concatenate([each for _, each in found])
    if not len(new[0]):
        return element, share, disc
    more = _discs(boundary, *new, most)
    element, share = np.concatenate([element, new[0]]), np.concatenate([share, new[1]])
    order = np.lexsort((share, element))
    element, share = element[order], share[order]
    fresh = np.ones(len(element), bool)
    fresh[1:] = (np.diff(element) != 0) | (np.diff(share) != 0)
    rows = order[fresh]
    both = _Discs(
        centre=np.concatenate([disc.centre, more.centre])[rows],
        radius=np.concatenate([disc.radius, more.radius])[rows],
        tangent=np.concatenate([disc.tangent, more.tangent])[rows],
        other=np.concatenate([disc.other, more.other])[rows],
    )
    return element[fresh], share[fresh], both


def _smoothed(
    boundary: _Boundary,
    element: Ints,
    share: Floats,
    disc: _Discs,
    least: float,
    most: float,
    tolerance: float,
) -> tuple[Ints, Floats, _Discs]:
    """Places refined until the middle between neighbours is an arc within a tolerance."""
    for _ in range(12):
        key = _keys(disc, least, most)
        chord = np.diff(disc.centre, axis=0)
        size = np.hypot(chord[:, 0], chord[:, 1])
        lean = []
        for tangent in (disc.tangent[:-1], disc.tangent[1:]):
            cross = tangent[:, 0] * chord[:, 1] - tangent[:, 1] * chord[:, 0]
            dot = (tangent * chord).sum(axis=1)
            lean.append(np.arctan2(cross * np.sign(dot), np.abs(dot)))
        # Of an arc the two angles between tangent and chord are opposite.
        off = size * np.abs(lean[0] + lean[1]) / 8
        bent = size * np.abs(lean[0] - lean[1]) / 8
        same = (element[1:] == element[:-1]) & (key[1:] == key[:-1]) & (key[1:] >= 0)
        coarse = np.maximum(off, np.where(bent > 64 * tolerance, bent, 0.0)) > tolerance / 2
        after = np.flatnonzero(same & coarse & (size > SNAP))
        if not len(after):
            break
        element, share, disc = _inserted(boundary, element, share, disc, after, most)
    return element, share, disc


def _runs(element: Ints, disc: _Discs, least: float, most: float) -> list[tuple[Floats, Floats]]:
    """Points and radii of each piece of middle between one pair of elements, once."""
    key = _keys(disc, least, most)
    cut = np.flatnonzero((element[1:] != element[:-1]) | (key[1:] != key[:-1])) + 1
    pieces = []
    for rows in np.split(np.arange(len(key)), cut):
        first = rows[0]
        if key[first] < 0 or key[first] < element[first]:
            continue
        at, radius = disc.centre[rows], disc.radius[rows]
        # Halving left crowds of places near its ends.
        far = np.hypot(*np.diff(at, axis=0).T)
        if far.sum() < SNAP:
            continue
        kept = np.ones(len(rows), bool)
        last = 0
        for i in range(1, len(rows) - 1):
            kept[i] = np.hypot(*(at[i] - at[last])) > SNAP and np.hypot(*(at[i] - at[-1])) > SNAP
            last = i if kept[i] else last
        pieces.append((at[kept], radius[kept]))
    return pieces
