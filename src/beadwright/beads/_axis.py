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
from beadwright.curves import ArcRegion

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
# Arcs between neighbouring places of a middle keep this share of the tolerance: a move of a smooth chain passes some.
FINE = 64
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
    boxes: Floats  # around runs of spans, as `nested` gives them


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
        return self.disc.at, self.disc.normal, self.disc.radius, wall

    def loops(self) -> list[Ints]:
        """Rows of the places of each loop, in its direction."""
        spans = len(self.boundary.spans)
        span = self.boundary.span[self.element]
        # A corner's fan comes before the span at whose start it stands.
        order = np.lexsort((self.share, self.element < spans, span))
        loop = np.cumsum(self.boundary.next != np.arange(spans) + 1)
        loop = np.concatenate([[0], loop[:-1]])[span[order]]
        return np.split(order, np.flatnonzero(np.diff(loop)) + 1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sounded:
    """Places on a region's boundary with their discs, from which walls of several ranges are found."""

    boundary: _Boundary
    element: Ints
    share: Floats
    disc: _Discs
    most: float

    def walls(self, *, least: float, most: float, tolerance: float, limits: tuple[float, ...] = ()) -> Walls:
        """Walls whose half thickness lies in a range, `most` at most that of the sounding; see `middles`.

        Where half the thickness passes one of the `limits`, rising, mm, there are places on both sides of it, near.
        """
        boundary, disc = self.boundary, self.disc if most == self.most else self.disc.up_to(most)
        element, share, disc = _bracketed(boundary, self.element, self.share, disc, (least, *limits, most))
        element, share, disc = _smoothed(boundary, element, share, disc, least, most, tolerance)
        return Walls(boundary=boundary, element=element, share=share, disc=disc, least=least, most=most)


def sounded(region: ArcRegion, *, most: float, step: float) -> Sounded | None:
    """Places `step` apart at most (mm) with their discs, of radius `most` at most (mm); None for an empty region."""
    if not region.loops:
        return None
    boundary = _boundary(region)
    element, share = _places(boundary, step)
    disc = _discs(boundary, element, share, most)
    return Sounded(boundary=boundary, element=element, share=share, disc=disc, most=most)


def walls(region: ArcRegion, *, least: float, most: float, step: float, tolerance: float) -> Walls | None:
    """What middles and sides of walls are made from; see `middles`. None for an empty region."""
    found = sounded(region, most=most, step=step)
    return None if found is None else found.walls(least=least, most=most, tolerance=tolerance)


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


def _boundary(region: ArcRegion) -> _Boundary:
    from beadwright.beads._kernels import boundary, nested  # numba: late

    counts = [len(loop.bulge) for loop in region.loops]
    spans, normal, turn, run, fan_of, following, span, own = boundary(
        np.concatenate([loop.points for loop in region.loops]),
        np.concatenate([loop.bulge for loop in region.loops]),
        np.cumsum([0, *counts]),
        _QUARTER,
        FAN,
    )
    return _Boundary(
        spans=spans, normal=normal, turn=turn, run=run, fan_of=fan_of, span=span, own=own, next=following,
        boxes=nested(spans),
    )  # fmt: skip


def _places(boundary: _Boundary, step: float) -> tuple[Ints, Floats]:
    """Elements and shares of places, at least three on each, ends included."""
    fan = np.arange(len(boundary.span)) >= len(boundary.spans)
    count = np.where(fan, 4, np.maximum(np.ceil(boundary.run / step), 2)).astype(np.int64) + 1
    element = np.repeat(np.arange(len(count)), count)
    row = np.arange(len(element)) - np.repeat(np.cumsum(count) - count, count)
    return element, row / (count[element] - 1)


@dataclass(frozen=True, slots=True, eq=False)
class _Discs:
    """Discs by the rows of `touching`; ``other`` is the element touched, -1 if none between two sides."""

    rows: Floats

    @property
    def at(self) -> Floats:
        return self.rows[:, :2]

    @property
    def normal(self) -> Floats:
        return self.rows[:, 2:4]

    @property
    def centre(self) -> Floats:
        return self.rows[:, 4:6]

    @property
    def radius(self) -> Floats:
        return self.rows[:, 6]

    @property
    def tangent(self) -> Floats:
        return self.rows[:, 7:9]

    @property
    def other(self) -> Ints:
        return self.rows[:, 9].astype(np.int64)

    def up_to(self, most: float) -> _Discs:
        """The same where none may be wider."""
        wide = np.flatnonzero(self.radius >= most)
        rows = self.rows.copy()
        normal = rows[wide, 2:4]
        rows[wide, 4:6] = rows[wide, :2] + most * normal
        rows[wide, 6], rows[wide, 7], rows[wide, 8], rows[wide, 9] = most, normal[:, 1], -normal[:, 0], -1
        return _Discs(rows)


def _discs(boundary: _Boundary, element: Ints, share: Floats, most: float) -> _Discs:
    from beadwright.beads._kernels import touching  # numba: late

    rows = touching(
        element, share, boundary.spans, boundary.normal, boundary.turn, boundary.span, boundary.own,
        boundary.fan_of, boundary.next, boundary.boxes, most, WALL_COSINE,
    )  # fmt: skip
    return _Discs(rows)


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
        _Discs(np.insert(disc.rows, rows, new.rows, axis=0)),
    )


def _bracketed(
    boundary: _Boundary, element: Ints, share: Floats, disc: _Discs, limits: tuple[float, ...]
) -> tuple[Ints, Floats, _Discs]:
    """Places refined until each change of what a disc touches, and of the limits it lies between, is bracketed."""
    most = limits[-1]

    def ranged(disc: _Discs) -> Ints:
        key = _keys(disc, limits[0], most)
        return np.where(key < 0, -1, key * len(limits) + np.searchsorted(limits, disc.radius, side="right"))

    key = ranged(disc)
    row = np.flatnonzero((element[1:] == element[:-1]) & (key[1:] != key[:-1]))
    low, high, below, above = share[row], share[row + 1], key[row], key[row + 1]
    own = element[row]
    found: list[tuple[Ints, Floats]] = []
    for _ in range(HALVINGS):
        if not len(own):
            break
        at = (low + high) / 2
        middle = ranged(_discs(boundary, own, at, most))
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
    return element[fresh], share[fresh], _Discs(np.concatenate([disc.rows, more.rows])[rows])


def _smoothed(
    boundary: _Boundary,
    element: Ints,
    share: Floats,
    disc: _Discs,
    least: float,
    most: float,
    tolerance: float,
) -> tuple[Ints, Floats, _Discs]:
    """Places refined until the middle between neighbours is an arc far within a tolerance."""
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
        coarse = np.maximum(off, np.where(bent > 64 * tolerance, bent, 0.0)) > tolerance / FINE
        after = np.flatnonzero(same & coarse & (size > SNAP))
        if not len(after):
            break
        element, share, disc = _inserted(boundary, element, share, disc, after, most)
    return element, share, disc


def _runs(element: Ints, disc: _Discs, least: float, most: float) -> list[tuple[Floats, Floats, Floats]]:
    """Points, radii and unit tangents, ahead, of each piece of middle between one pair of elements, once."""
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
        at = at[kept]
        step = np.diff(at, axis=0)
        way = np.concatenate([step[:1], step[1:] + step[:-1], step[-1:]])
        tangent = disc.tangent[rows[kept]]
        ahead = (tangent * way).sum(axis=1, keepdims=True) >= 0
        pieces.append((at, radius[kept], np.where(ahead, tangent, -tangent)))
    return pieces
