"""One line or arc beside a chain of chords, and a proven distance of the two."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeVar

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Found = TypeVar("Found")

GREATEST_BULGE = 0.8
"""An arc of more than 155 degrees is laid as two."""
FLAT = 1e-3
"""An arc that rises by less than this share of the tolerance is a straight move."""
PREFERRED = 0.1
"""A straight move is taken where an arc would be better by less than this share of the tolerance."""
FULL = math.pi
"""Angles that differ by more are those of another way round, rad."""
EPSILON, TINY = float(np.finfo(float).eps), float(np.finfo(float).tiny)


def longest(
    points: Floats, at: int, end: int, tolerance: float, *, step: int = 2
) -> tuple[int, float, float]:
    """The farthest corner up to `end` that one move reaches, its bulge and its distance from the polygon.

    The search begins `step` corners ahead.
    """
    until, found = farthest(at, end, lambda to: move(points[at : to + 1], tolerance), step=step)
    return (until, *(found or (0.0, 0.0)))


def farthest(
    at: int, end: int, reached: Callable[[int], Found | None], *, step: int
) -> tuple[int, Found | None]:
    """The farthest corner up to `end` that is reached, and how; the next one and None where none is.

    Sought by ever longer steps, the first of them given, and then by halves.
    """
    good: tuple[int, Found | None] = (at + 1, None)
    bad = end + 1
    while at + step < bad:
        found = reached(at + step)
        if found is not None:
            good = (at + step, found)
        elif step > 1:
            bad = at + step
            break
        if at + step == end:
            return good
        step = min(2 * step, end - at)
    while bad - good[0] > 1:
        middle = (bad + good[0]) // 2
        found = reached(middle)
        if found is None:
            bad = middle
        else:
            good = (middle, found)
    return good


def move(points: Floats, tolerance: float) -> tuple[float, float] | None:
    """Bulge of the line or arc from the first to the last of some corners, and its distance; None if too far."""
    way = points[-1] - points[0]
    size = math.hypot(*way)
    if size == 0.0:
        return None
    along = (points - points[0]) @ way / size
    aside = (points - points[0]) @ np.array([-way[1], way[0]]) / size
    straight = float(np.abs(aside).max()) + back(along)
    rise = _rise(along[1:-1], aside[1:-1], size)
    bulge = -2 * rise / size
    bent = math.inf
    if FLAT * tolerance < abs(rise) and abs(bulge) <= GREATEST_BULGE:
        bent = beside(points, points[-1], bulge)
    if straight <= min(tolerance, bent + PREFERRED * tolerance):
        return 0.0, straight
    return (bulge, bent) if bent <= tolerance else None


def beside(points: Floats, end: Floats, bulge: float) -> float:
    """Fréchet distance at most of a chain and the move from its first point to `end`, mm.

    Parameters
    ----------
    points : (n, 2) float
        Its last one lies on the normal of the move's end.
    end : (2,) float
    bulge : float
        0 for a straight move.
    """
    way = end - points[0]
    size = math.hypot(*way)
    frame = np.array([way, [-way[1], way[0]]]) / size
    local = (points - points[0]) @ frame.T
    if bulge == 0.0:
        return float(np.abs(local[:, 1]).max()) + back(local[:, 0])
    centre = np.array([size / 2, size * (1 - bulge * bulge) / (4 * bulge)])
    return off(local - centre, size * (1 + bulge * bulge) / (4 * abs(bulge)), 4 * math.atan(bulge))


def back(along: Floats) -> float:
    """How far a way from its start to its end runs back, or beyond its end."""
    return float((np.maximum.accumulate(along) - along).max())


def _rise(along: Floats, aside: Floats, size: float) -> float:
    """Height of the arc over a chord that passes nearest to some points of its frame, least squares.

    Through the chord's ends and one point goes one circle; the rises of these are weighed by how much each point
    moves with the rise, which is that of a parabola.
    """
    weight = 4 * along * (size - along) / size**2
    weight = np.maximum(weight, 0.0) ** 2
    if not weight.sum() > 0:
        return 0.0
    inner = along * (size - along) - aside**2
    root = np.sqrt(inner**2 + (size * aside) ** 2)
    low = np.abs(aside) * size**2 / 2 / np.maximum(inner + root, 1e-300)
    high = (root - inner) / np.maximum(2 * np.abs(aside), 1e-300)
    own = np.where(inner > 0, low, high) * np.sign(aside)
    return float((weight * own).sum() / weight.sum())


def off(rays: Floats, radius: float, sweep: float) -> float:
    """Fréchet distance at most of a chain and the arc about the origin between its ends, mm."""
    start, end = rays[:-1], rays[1:]
    cross = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
    angle = np.arctan2(cross, (start * end).sum(axis=1))
    if abs(angle.sum() - sweep) > FULL:
        return math.inf  # it goes round another time, or the other way
    way = end - start
    square = np.maximum((way * way).sum(axis=1), TINY)
    foot = np.clip(-(start * way).sum(axis=1) / square, 0.0, 1.0)
    least = np.hypot(*(start + foot[:, None] * way).T)
    far = np.hypot(*rays.T)
    # what rounding may have hidden: some last places of the radius
    rounding = 8 * EPSILON * radius
    waited = radius * back(np.concatenate([[0.0], np.cumsum(angle * np.sign(sweep))]))
    return max(float((far - radius).max()), float((radius - least).max())) + waited + rounding
