"""The two forms of a circular arc, in the two axes of its plane (NISTIR 6556, 3.5.3)."""

from __future__ import annotations

import math
from typing import NamedTuple

TURN = 2.0 * math.pi
# Below this an arc's ends count as one direction, so that it is a full turn, rad.
SAME = 1e-12


class Arc(NamedTuple):
    """Centre, signed angle turned (counter-clockwise positive), difference of the radii at the ends, radius."""

    x: float
    y: float
    sweep: float
    mismatch: float
    radius: float


def by_centre(x0: float, y0: float, x1: float, y1: float, i: float, j: float, *, clockwise: bool) -> Arc:
    """An arc whose centre lies at (i, j) from its start.

    Examples
    --------
    The standard's own example, from (7, 7):

    >>> arc = by_centre(7, 7, 10, 16, 3, 4, clockwise=True)
    >>> arc.x, arc.y, arc.radius, round(math.degrees(arc.sweep), 7)
    (10, 11, 5.0, -143.1301024)
    """
    cx, cy = x0 + i, y0 + j
    r0, r1 = math.hypot(i, j), math.hypot(x1 - cx, y1 - cy)
    turned = math.atan2(y1 - cy, x1 - cx) - math.atan2(-j, -i)
    return Arc(cx, cy, _sweep(turned, clockwise), abs(r0 - r1), r0)


def by_radius(x0: float, y0: float, x1: float, y1: float, r: float, *, clockwise: bool) -> Arc | None:
    """An arc of a radius, of at most half a turn if that is positive; None if there is no such arc.

    Examples
    --------
    >>> arc = by_radius(0, 0, 10, 15, 20, clockwise=True)
    >>> round(arc.x, 10), round(arc.y, 10), round(math.degrees(arc.sweep), 8)
    (19.8550690649, -2.4033793766, -53.57642636)
    """
    dx, dy = x1 - x0, y1 - y0
    half = math.hypot(dx, dy) / 2
    if half == 0.0 or half > abs(r) * (1 + SAME):
        return None
    # From the middle of the chord to its left, for a counter-clockwise arc of less than half a turn.
    away = math.sqrt(max(r * r - half * half, 0.0)) / (2 * half)
    side = (-away if clockwise else away) * (1.0 if r > 0 else -1.0)
    cx, cy = x0 + dx / 2 - side * dy, y0 + dy / 2 + side * dx
    sweep = 2 * math.asin(min(1.0, half / abs(r)))
    sweep = sweep if r > 0 else TURN - sweep
    return Arc(cx, cy, -sweep if clockwise else sweep, 0.0, abs(r))


def _sweep(turned: float, clockwise: bool) -> float:
    """The angle turned in the arc's direction, more than 0 and at most a full turn, with its sign."""
    size = (-turned if clockwise else turned) % TURN
    if size < SAME:
        size = TURN
    return -size if clockwise else size
