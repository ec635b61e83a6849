"""Directions in which segments leave and reach their nodes, where more than one goes on from there."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.section._batch import Batch
from beadwright.section._cutter import Cutter
from beadwright.section._free_pieces import free_pieces
from beadwright.section._kernels import codes
from beadwright.section._rescue import branch_point

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

STEP = 1e-3
"""Part of a segment after which its direction is taken: there curves of one tangent have parted, too."""


def directions(cutter: Cutter, batch: Batch, start: Ints, end: Ints, chord: Array) -> Array:
    """x, y of the directions at the start and at the end of each segment: (n, 4).

    Only where an edge is used more than twice do they decide anything; elsewhere the chord stands for both.
    """
    out = np.concatenate((chord, chord), axis=1)
    goes = np.bincount(start[start >= 0], minlength=len(batch.points) + 1)
    crowded = (goes[start] > 1) | (goes[end] > 1)
    for row in np.flatnonzero(crowded & (start >= 0) & (batch.segments[:, 1] >= 0)):
        out[row] = _tangents(cutter, batch, int(row), chord[row])
    return out


def _tangents(cutter: Cutter, batch: Batch, row: int, chord: Array) -> Array:
    from beadwright.section._kernels.locate import span_of

    pair, branch, first, last, _ = map(int, batch.segments[row])
    face, s0, s1 = int(batch.pair_face[pair]), float(batch.use_s[first]), float(batch.use_s[last])
    kind, closed = int(batch.table[branch, 0]), int(batch.table[branch, 1])
    if kind == codes.B_LINE:
        return np.tile(chord, 2)
    if kind == codes.B_FREE:
        outward = cutter.outline[face].outward
        low, high = (s0, s1) if outward else (-s1, -s0)
        control = free_pieces(
            cutter.free[face], batch.free[face], [batch.free_branch[branch]], [low], [high]
        ).control[:, :2]
        control = control if outward else control[::-1]
        return np.concatenate((control[1] - control[0], control[-1] - control[-2]))
    if closed == 1 and s1 <= s0:
        spans = cutter.faces.first_span
        low, high = span_of(kind, batch.par[branch], cutter.faces.span, spans[face], spans[face + 1])
        s1 += float(high - low)
    a, b, c, d = (
        branch_point(cutter, batch, face, branch, s0 + share * (s1 - s0))
        for share in (0.0, STEP, 1.0 - STEP, 1.0)
    )
    return np.concatenate((b - a, d - c))
