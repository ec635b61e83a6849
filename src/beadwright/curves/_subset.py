"""Some chains of a table of curves."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves._loops import CurveLoops


def kept_chains(loops: CurveLoops, keep: npt.NDArray[np.bool_]) -> CurveLoops:
    """The chains of a table for which `keep` (m,) holds, in their order, bit for bit."""
    per_chain = np.diff(loops.first_curve)
    curve = np.repeat(keep, per_chain)
    per_curve = np.diff(loops.first_piece)
    piece = np.repeat(curve, per_curve)
    per_piece = np.diff(loops.first_control)
    control = np.repeat(piece, per_piece)
    return CurveLoops(
        kind=loops.kind[curve],
        face=loops.face[curve],
        ends=loops.ends[curve],
        circle=loops.circle[curve],
        first_piece=_first(per_curve[curve]),
        degree=loops.degree[piece],
        first_control=_first(per_piece[piece]),
        control=loops.control[control],
        bound=loops.bound[curve],
        first_curve=_first(per_chain[keep]),
        closed=loops.closed[keep],
    )


def _first(counts: npt.NDArray[np.int64]) -> npt.NDArray[np.int32]:
    return np.concatenate(([0], np.cumsum(counts))).astype(np.int32)
