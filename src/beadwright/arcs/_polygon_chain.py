"""A stretch of a polygon without corners, followed by arcs that join without a kink.

At a corner of the polygon the curve that it stands for has some direction: that of y = a + b x + c (x^2 + y^2) + d x^3
through the corners about it by least squares, which a circle and a line fulfil without the last term. Between two
corners with their directions stand one arc where it meets both, else two arcs that join smoothly (a biarc); both are
held to the tolerance by the distance of `beside`: the normal of the joint divides the chords as it divides the arcs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt

from beadwright.arcs._polygon_moves import FLAT, GREATEST_BULGE, beside, farthest, move
from beadwright.curves import chord_runs

Floats = npt.NDArray[np.float64]
Moves = list[tuple[Floats, float]]
Found = tuple[Moves, float]

SMOOTH = math.radians(0.05)
"""A joint that turns by less is smooth: half of what counts as a kink when ways of planning are compared, rad."""
LEAVES = math.radians(10.0)
"""A curve that leaves a straight side by less is meant to be tangent to it, rad."""
ABOUT = 3
"""Corners to each side that a direction is taken from, at least."""
TERMS = 4
"""Of the curve whose direction is taken; with no more corners than that the last is left out."""
GOOD = 0.1
"""A direction is taken from both sides where its curve passes the corners within this share of the tolerance, rms."""
WORSE = 3.0
"""Or by no more than so many times as far as that of one side."""
RATIOS = (1.0, 0.5, 2.0)
"""Tangent lengths of the two arcs of a biarc that are tried, the first by the second."""
HOPELESS = 4.0
"""So many tolerances off, no other ratio helps."""


@dataclass(slots=True, eq=False)
class Chain:
    """Corners of a stretch, and the direction at each as it is asked for.

    Attributes
    ----------
    points : (n + 1, 2) float
        Of one that closes, the first again at its end.
    closed : bool
        Whether it closes without a corner.
    start, end : (2,) float or None
        Directions of the straight sides that it leaves and meets.
    reach : (n + 1,) float
        How far to each side a direction is taken from, mm.
    tolerance : float
        mm.
    """

    points: Floats
    closed: bool
    start: Floats | None
    end: Floats | None
    reach: Floats
    tolerance: float
    known: dict[int, Floats] = field(default_factory=dict)

    def direction(self, k: int) -> Floats:
        """Unit direction at a corner."""
        k = 0 if self.closed and k == len(self.points) - 1 else k
        if k not in self.known:
            own = self._own(k)
            side = self.start if k == 0 else self.end if k == len(self.points) - 1 else None
            self.known[k] = own if side is None or _turn(side, own) > LEAVES else side
        return self.known[k]

    def fits(self, k: int, way: Floats) -> bool:
        """Whether a direction at a corner joins what comes before and after."""
        free = not self.closed and (
            (k == 0 and self.start is None) or (k == len(self.points) - 1 and self.end is None)
        )
        return free or _turn(self.direction(k), way) < SMOOTH

    def _own(self, k: int) -> Floats:
        """Direction at a corner by the corners about it; by those of one side where the curve changes there."""
        last = len(self.points) - 1
        rows = np.arange(k - last // 2, k + (last + 1) // 2) if self.closed else np.arange(last + 1)
        own = self.points[rows % last] if self.closed else self.points
        at = int(np.flatnonzero(rows == k)[0])
        along = chord_runs(own)
        along -= along[at]
        first = min(int(np.searchsorted(along, -self.reach[k])), max(0, at - ABOUT))
        end = max(int(np.searchsorted(along, self.reach[k], side="right")), min(len(own), at + ABOUT + 1))
        near = own[first:end] - own[at]
        found, off = _direction(near)
        if off <= GOOD * self.tolerance:
            return found
        sides = [part for part in (near[: at - first + 1], near[at - first :]) if len(part) > TERMS]
        single = [(found, off / WORSE), *map(_direction, sides)]
        return min(single, key=lambda one: one[1])[0]


def _direction(near: Floats) -> tuple[Floats, float]:
    """Direction at the origin of the curve nearest to some points in least squares, and how far it passes them."""
    way = near[-1] - near[0]
    size = math.hypot(*way)
    if size == 0.0:
        return np.array([1.0, 0.0]), math.inf
    unit = way / size
    x, y = near @ unit / size, near @ np.array([-unit[1], unit[0]]) / size
    table = np.column_stack([np.ones(len(x)), x, x * x + y * y, x**3])
    table = table[:, : min(TERMS, max(2, len(x) - 1))]
    terms, *_ = np.linalg.lstsq(table, y, rcond=None)
    found = unit + terms[1] * np.array([-unit[1], unit[0]])
    return found / math.hypot(*found), size * float(np.sqrt(((table @ terms - y) ** 2).mean()))


def _turn(one: Floats, other: Floats) -> float:
    """Size of the angle between two directions, rad."""
    return abs(_signed(one, other))


def follow(chain: Chain) -> list[tuple[int, Moves, float]]:
    """Moves along a chain: rows (corner that they end at, (start, bulge) of each, distance), mm."""
    rows = []
    at, last = 0, len(chain.points) - 1
    while at < last:
        until, found = farthest(at, last, partial(_between, chain, at), step=1)
        moves, worst = found or ([(chain.points[at], 0.0)], 0.0)
        rows.append((until, moves, worst))
        at = until
    return rows


def _between(chain: Chain, at: int, to: int) -> Found | None:
    """One arc, or two, from corner to corner; None if they are too far off."""
    points = chain.points[at : to + 1]
    single = move(points, chain.tolerance)
    if single is not None:
        half = 2 * math.atan(single[0])
        way = points[-1] - points[0]
        if chain.fits(at, _turned(way, -half)) and chain.fits(to, _turned(way, half)):
            return [(points[0], single[0])], single[1]
    for ratio in RATIOS:
        found = _biarc(points, chain.direction(at), chain.direction(to), ratio, chain.tolerance)
        if found is not None and found[1] <= chain.tolerance:
            return found
        if found is None or found[1] > HOPELESS * chain.tolerance:
            return None
    return None


def _turned(way: Floats, angle: float) -> Floats:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([c * way[0] - s * way[1], s * way[0] + c * way[1]])


def _biarc(points: Floats, leaves: Floats, meets: Floats, ratio: float, tolerance: float) -> Found | None:
    """Two arcs between the first and the last of some corners with given directions there; None if there are none.

    The control points of a biarc stand at d1 and d2 along the directions, and are d1 + d2 apart.
    """
    way = points[-1] - points[0]
    lean = ratio * float(way @ leaves) + float(way @ meets)
    root = lean + math.sqrt(lean * lean + 2 * ratio * (1 - float(leaves @ meets)) * float(way @ way))
    if not root > 0:
        return None
    second = float(way @ way) / root
    first = ratio * second
    one, other = points[0] + first * leaves, points[-1] - second * meets
    joint = (second * one + first * other) / (first + second)
    across = other - one
    aside = (points - joint) @ across
    steps = np.flatnonzero((aside[:-1] <= 0) & (aside[1:] > 0))
    if not len(steps) or aside[0] >= 0:
        return None
    share = aside[steps] / (aside[steps] - aside[steps + 1])
    places = points[steps] + share[:, None] * (points[steps + 1] - points[steps])
    nearest = int(np.hypot(*(places - joint).T).argmin())
    k, place = int(steps[nearest]), places[nearest : nearest + 1]
    moves, worst = [], 0.0
    for chords, end, angle in (
        (
            np.concatenate([points[: k + 1], place[int(aside[k] == 0) :]]),
            joint,
            _signed(leaves, joint - points[0]),
        ),
        (np.concatenate([points[k + 1 :][::-1], place]), joint, _signed(meets, points[-1] - joint)),
    ):
        bulge = math.tan(angle / 2)
        size = math.hypot(*(end - chords[0]))
        if abs(bulge) > GREATEST_BULGE or size == 0.0:
            return None
        if abs(bulge) * size / 2 < FLAT * tolerance:
            bulge = 0.0
        # the second, seen from its end, turns the same way by a bulge of the other sign
        worst = max(worst, beside(chords, end, bulge))
        moves.append(bulge)
    return [(points[0], moves[0]), (joint, -moves[1])], worst


def _signed(one: Floats, other: Floats) -> float:
    """Angle from one direction to another, rad."""
    return math.atan2(one[0] * other[1] - one[1] * other[0], one[0] * other[0] + one[1] * other[1])
