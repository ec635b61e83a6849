"""The tables of one run over many planes, which every step of a section reads and fills."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from beadwright.section._cutter import Cutter
from beadwright.section._free_branches import FreeBranches

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(slots=True, kw_only=True, eq=False)
class Batch:
    """Tables of one run over many planes, in ascending order of height.

    Attributes
    ----------
    heights : (k,) float
    pair_face, pair_plane : (p,) int64
        Faces and planes that may meet, planes of a face together.
    first_pair : (faces + 1,) int64
    pair_low : (faces,) int64
        First plane of each face.
    points : (n, 3) float
        Nodes.
    first_use : (p + 1,) int64
    use_node, use_start, use_branch : (u,) int64
    use_s, use_distance : (u,) float
    first_branch : (p + 1,) int64
    table, par : (b, 3) int64, (b, 12) float
        Branches: kind, closed, label; numbers.
    free_branch : (b,) int64
        Row in the free face's own table.
    free : dict of int to FreeBranches
    segments : (s, 5) int64
    counts : (k, 4) int64
        By plane: swaps, curves run on, doubtful loops, nodes left over.
    given : dict of int to float
        Pairs whose curves came from the fallback, and their bound, mm.
    notes : dict of int to list of str
        By plane.
    """

    heights: Array
    pair_face: Ints
    pair_plane: Ints
    first_pair: Ints
    pair_low: Ints
    points: Array
    first_use: Ints
    use_node: Ints
    use_start: Ints
    use_branch: Ints
    use_s: Array
    use_distance: Array
    first_branch: Ints
    table: Ints
    par: Array
    free_branch: Ints
    free: dict[int, FreeBranches]
    segments: Ints
    counts: Ints
    node_first: Ints
    node_low: Ints
    given: dict[int, float] = field(default_factory=dict)
    notes: dict[int, list[str]] = field(default_factory=dict)


def spans_of(cutter: Cutter) -> tuple[Array, Ints, Ints, Array]:
    """Bézier pieces of profiles and directrices as the compiled loops take them."""
    faces = cutter.faces
    return faces.span, faces.span_degree, faces.span_base, faces.control
