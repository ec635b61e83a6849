"""Contour beads of a polygon by polygon offsets."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Rings = tuple[npt.NDArray[np.float64], ...]

# Chords of a quarter round beyond which nothing is gained.
MOST_CHORDS = 256


def contours(polygon: Any, *, distances: Sequence[float], chord: float) -> tuple[Rings, ...]:
    """Centrelines of contour beads: by rank, closed rings of (n, 2) points, first and last the same.

    Parameters
    ----------
    polygon : shapely geometry
    distances : sequence of float
        Of each rank from the boundary, mm.
    chord : float
        Greatest distance of a chord from the rounds of the offset at reflex corners, mm.
    """
    import shapely

    laid: list[Rings] = []
    for distance in distances:
        quarter = math.pi / 2
        step = 2 * math.acos(max(0.0, 1.0 - chord / distance)) or quarter
        segments = min(MOST_CHORDS, max(1, math.ceil(quarter / step)))
        inner = shapely.buffer(polygon, -distance, quad_segs=segments, join_style="round")
        rings = shapely.get_rings(inner)
        laid.append(tuple(np.asarray(ring.coords) for ring in rings))
    return tuple(laid)
