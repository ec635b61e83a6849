"""Extent, area, centroid and nesting of arc paths; whether a point lies inside."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves._measure import chords, length, signed_area
from beadwright.curves._path import ArcPath, ArcRegion

Floats = npt.NDArray[np.float64]

AT_ONCE = 1 << 14
"""Pairs of a point and a move that are held against each other at a time, so that memory stays small."""


def bounding_box(path: ArcPath) -> tuple[Floats, Floats]:
    """Least and greatest x and y of a path, arcs included: two (2,), mm.

    Examples
    --------
    >>> ring = ArcPath(points=np.array([[500.0, 0], [-500, 0]]), bulge=np.ones(2),
    ...                face=np.zeros(2, np.int32), support=np.zeros(2, np.int32))
    >>> [v.tolist() for v in bounding_box(ring)]
    [[-500.0, -500.0], [500.0, 500.0]]
    """
    low, high = path.points.min(axis=0), path.points.max(axis=0)
    arc = np.flatnonzero(path.bulge)
    if not len(arc):
        return low, high
    chord, b = chords(path)[arc], path.bulge[arc]
    start, end = path.points[arc], path.points[arc] + chord
    # Centre: from the middle of the chord to its left by L (1 - b^2) / (4 b).
    left = np.column_stack([-chord[:, 1], chord[:, 0]])
    to_centre = (left.T * ((1 - b) * (1 + b) / (4 * b))).T
    centre = (start + end) / 2 + to_centre
    radius = np.hypot(chord[:, 0], chord[:, 1]) * (1 + b * b) / (4 * np.abs(b))
    for axis in (0, 1):
        for sign in (-1.0, 1.0):
            direction = np.zeros(2)
            direction[axis] = sign
            # An extreme of the circle lies on the arc if it is on the arc's side of the chord.
            tip = sign * radius[:, None] * np.abs(direction) - (start - centre)
            side = chord[:, 0] * tip[:, 1] - chord[:, 1] * tip[:, 0]
            on = side * b < 0
            if on.any():
                value = centre[on, axis] + sign * radius[on]
                if sign > 0:
                    high[axis] = max(high[axis], float(value.max()))
                else:
                    low[axis] = min(low[axis], float(value.min()))
    return low, high


def middle_of(path: ArcPath) -> tuple[float, float]:
    """Mean of the chords' middles, weighed by their lengths: a place near a path's middle, mm."""
    chord = chords(path)
    weight = np.hypot(chord[:, 0], chord[:, 1])
    middle = path.points[: len(weight)] + chord / 2
    total = float(weight.sum())
    if total == 0.0:
        return float(path.points[0, 0]), float(path.points[0, 1])
    x, y = (middle * weight[:, None]).sum(axis=0) / total
    return float(x), float(y)


def region_area(region: ArcRegion) -> float:
    """Area of a region, mm2: of its outer loops less that of its holes."""
    return sum((signed_area(loop) for loop in region.loops), 0.0)


def region_length(region: ArcRegion) -> float:
    """Length of a region's whole boundary, mm."""
    return sum((length(loop) for loop in region.loops), 0.0)


def winding(path: ArcPath, points: Floats) -> npt.NDArray[np.int64]:
    """How often a closed path winds round points: (k,) for points (k, 2).

    That of the polygon of the ends by a ray, plus the circular segments that hold the point. Points on the
    path count to one of its sides.
    """
    x, y = np.asarray(points, dtype=float).T
    total = np.zeros(len(x), np.int64)
    starts, ends, bulges = path.points, np.roll(path.points, -1, axis=0), path.bulge
    # Many moves at a time where points are few, else move by move.
    block = max(1, AT_ONCE // max(len(x), 1))
    for first in range(0, len(starts), block):
        rows = slice(first, first + block)
        ax, ay, ex, ey = (column[:, None] for column in (*starts[rows].T, *ends[rows].T))
        cx, cy = ex - ax, ey - ay
        side = cx * (y - ay) - cy * (x - ax)
        # Heights of joints as they are, not start plus chord: both moves at a joint must see the same one.
        up = (ay <= y) & (ey > y) & (side > 0)
        down = (ay > y) & (ey <= y) & (side < 0)
        total += up.sum(axis=0) - down.sum(axis=0)
        arc = np.flatnonzero(bulges[rows])
        if len(arc):
            b, cx, cy, side, ax, ay = (
                bulges[rows][arc, None],
                *(each[arc] for each in (cx, cy, side, ax, ay)),
            )
            # Inside the circle: power of the point, by the chord as diameter and the arc's height.
            power = (x - ax) * (x - ax - cx) + (y - ay) * (y - ay - cy)
            within = power * np.abs(b) * 2 + (1 - b * b) * side * np.sign(b) * -1 < 0
            # A point on the chord counts to the side on which the two lines above put it: up, then right.
            to = np.where(side == 0, np.where(cy != 0, -cy, cx), side)
            total += np.where((to * b < 0) & within, np.sign(b).astype(np.int64), 0).sum(axis=0)
    return total


def inside(region: ArcRegion, points: Floats) -> npt.NDArray[np.bool_]:
    """Whether points (k, 2) lie inside a region: (k,)."""
    total = np.zeros(len(points), np.int64)
    for loop in region.loops:
        total += winding(loop, points)
    return np.asarray(total > 0)


def depths(region: ArcRegion) -> npt.NDArray[np.int64]:
    """How many other loops lie round each loop: even for an outer loop, odd for a hole: (loops,)."""
    depth = np.zeros(len(region.loops), np.int64)
    if len(depth) < 2:
        return depth
    places = np.array([loop.points[0] for loop in region.loops])
    for i, loop in enumerate(region.loops):
        around = winding(loop, places) != 0
        around[i] = False
        depth += around
    return depth
