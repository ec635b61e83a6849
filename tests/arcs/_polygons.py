"""Polygons as chains of straight curves."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves import CurveKind, CurveLoops


def ring_loops(*rings: npt.NDArray[np.float64]) -> CurveLoops:
    """Closed chains, one for each polygon."""
    ends = np.concatenate([np.hstack([ring, np.roll(ring, -1, axis=0)]) for ring in rings])
    count = len(ends)
    return CurveLoops(
        kind=np.full(count, CurveKind.LINE, dtype=np.int8),
        face=np.arange(count, dtype=np.int32),
        ends=ends,
        circle=np.zeros((count, 4)),
        first_piece=np.zeros(count + 1, dtype=np.int32),
        degree=np.zeros(0, dtype=np.int32),
        first_control=np.zeros(1, dtype=np.int32),
        control=np.zeros((0, 3)),
        bound=np.zeros(count),
        first_curve=np.cumsum([0, *map(len, rings)]).astype(np.int32),
        closed=np.ones(len(rings), dtype=np.bool_),
    )
