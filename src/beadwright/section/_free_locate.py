"""Where nodes lie on the branches of a free-form level curve."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.section._free import FreeFace
from beadwright.section._free_branches import FreeBranches

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]


def free_locate(
    free: FreeFace, branches: FreeBranches, nodes: npt.ArrayLike, node_plane: npt.ArrayLike
) -> tuple[Index, Array, Array]:
    """Nearest point in its plane for each node.

    Parameters
    ----------
    free : FreeFace
    branches : FreeBranches
        Of the same face.
    nodes : (n, 3) float
        mm; z is not looked at.
    node_plane : (n,) int
        Row of `FreeBranches.heights`.

    Returns
    -------
    branch : (n,) int64
        Row of the branch; -1 where the plane has none.
    s : (n,) float
        Parameter on it.
    distance : (n,) float
        In the plane, mm; infinite where there is no branch.
    """
    from beadwright.section._kernels.free_trace import locate

    nodes = np.ascontiguousarray(np.asarray(nodes, dtype=float).reshape(-1, 3))
    planes = np.ascontiguousarray(np.asarray(node_plane, dtype=np.int64).reshape(-1))
    first_branch = np.searchsorted(branches.plane, np.arange(len(branches.heights) + 1))
    branch = np.empty(len(nodes), dtype=np.int64)
    s = np.empty(len(nodes))
    distance = np.empty(len(nodes))
    locate(
        free.coef,
        free.metric,
        branches.heights,
        first_branch,
        branches.first_piece,
        branches.piece_span,
        branches.piece_box,
        branches.piece_way,
        branches.piece_uv,
        branches.piece_xy,
        nodes,
        planes,
        branch,
        s,
        distance,
    )
    return branch, s, distance
