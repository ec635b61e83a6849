"""Roughness of what is printed, by the geometry of layers alone: arithmetic mean Ra (ISO 21920-2), mm."""

from __future__ import annotations

import math

_QUARTER = math.pi / 4


def stair_roughness(cusp: float) -> float:
    """Of a leaning wall of square layer edges: a triangle as high as the cusp, whose mean deviation is a quarter of it.

    Examples
    --------
    Layers of 4 mm at 45 degrees have a cusp of 4 sin 45:

    >>> round(stair_roughness(4 * math.sin(math.radians(45))), 6)
    0.707107
    """
    return cusp / 4


def side_roughness(depth: float) -> float:
    """Of an upright wall of round bead sides, half circles whose radius is the valley's depth.

    With y = r - sqrt(r^2 - x^2) the mean is r (1 - pi / 4), passed at x = s r, s = sqrt(1 - (pi / 4)^2); the mean
    deviation is r (asin s - s pi / 4).

    Examples
    --------
    Untamped layers of 4 mm have valleys of 2 mm:

    >>> round(side_roughness(2.0), 6)
    0.362606
    """
    share = math.sqrt(1 - _QUARTER**2)
    return depth * (math.asin(share) - share * _QUARTER)
