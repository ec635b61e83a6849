"""First moments of regions of lines and arcs."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves._measure import chords
from beadwright.curves._path import ArcPath, ArcRegion

FLAT = 1e-6
"""An arc of a smaller bulge is a line to the moments: its segment has less than a millionth of the chord's square."""


def region_moments(region: ArcRegion) -> tuple[float, npt.NDArray[np.float64]]:
    """Area (mm2) and first moments (2,) about the origin (mm3) of a region; centroid = moments / area."""
    area, moments = 0.0, np.zeros(2)
    for loop in region.loops:
        a, m = _loop(loop)
        area += a
        moments += m
    return area, moments


def _loop(loop: ArcPath) -> tuple[float, npt.NDArray[np.float64]]:
    """The polygon of the ends, and the circular segments outside or inside of it.

    A segment of radius R and sweep s has the area R^2 (s - sin s) / 2, and its centroid lies
    4 R sin^3(s / 2) / (3 (s - sin s)) from the centre (Beyer, CRC Standard Mathematical Tables).
    """
    origin = loop.points[0]
    p = loop.points - origin
    chord = chords(loop)
    twice = p[:, 0] * chord[:, 1] - p[:, 1] * chord[:, 0]
    area = 0.5 * float(twice.sum())
    moments = ((2 * p + chord) * twice[:, None]).sum(axis=0) / 6
    for i in np.flatnonzero(np.abs(loop.bulge) > FLAT):
        b = float(loop.bulge[i])
        sweep = 4 * np.arctan(abs(b))
        size = float(np.hypot(*chord[i]))
        radius = size * (1 + b * b) / (4 * abs(b))
        own = radius * radius * (sweep - np.sin(sweep)) / 2 * np.sign(b)
        out = 4 * radius * np.sin(sweep / 2) ** 3 / (3 * (sweep - np.sin(sweep)))
        right = np.array([chord[i, 1], -chord[i, 0]]) / size * np.sign(b)
        middle = p[i] + chord[i] / 2
        centre = middle - right * (radius * np.cos(sweep / 2))
        area += float(own)
        moments = moments + own * (centre + right * out)
    return area, moments + area * origin
