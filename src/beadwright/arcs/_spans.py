"""Arc paths to spans and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ArcRegion
from beadwright.errors import GeometryError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spans:
    """Paths as spans (n) of moves (m).

    Attributes
    ----------
    rows : (n, 10) float64
        Start, end, unit start tangent, curvature, sweep, unit end tangent; relative to the origin, mm.
    move : (n,) int64
        Move of each span.
    after : (n,) int64
        Span that follows, -1 at an open end.
    heads : (paths + 1,) int64
        First span of each path.
    face, support : (m,) int32
        Of each move.
    origin : (2,) float64
        What was taken from all points, mm.
    """

    rows: Floats
    move: Ints
    after: Ints
    heads: Ints
    face: npt.NDArray[np.int32]
    support: npt.NDArray[np.int32]
    origin: Floats


def spans_of(paths: Sequence[ArcPath], origin: Floats | None = None) -> Spans:
    """Cut all moves into spans of at most a quarter turn; moves of no length are left out.

    Raises
    ------
    GeometryError
        If a number is not finite, or a bulge above 1 (half a turn).
    """
    if not paths:
        none = np.zeros(0, np.int64)
        return Spans(
            rows=np.zeros((0, 10)),
            move=none,
            after=none,
            heads=np.zeros(1, np.int64),
            face=np.zeros(0, np.int32),
            support=np.zeros(0, np.int32),
            origin=np.zeros(2),
        )
    from beadwright.arcs._kernels.region_spans import from_moves

    points = np.ascontiguousarray(np.concatenate([p.points for p in paths]), dtype=np.float64)
    bulge = np.concatenate([p.bulge for p in paths])
    first_point = np.cumsum([0, *(len(p.points) for p in paths)])
    first_move = np.cumsum([0, *(len(p.bulge) for p in paths)])
    if origin is None:
        origin = choose_origin(points)
    rows, move, after, heads = from_moves(
        points, bulge, first_point, first_move, float(origin[0]), float(origin[1])
    )
    if not len(heads):
        msg = "a path has a number that is not finite, or an arc of more than half a turn"
        raise GeometryError(msg)
    return Spans(
        rows=rows,
        move=move,
        after=after,
        heads=heads,
        face=np.concatenate([p.face for p in paths]),
        support=np.concatenate([p.support for p in paths]),
        origin=origin,
    )


def choose_origin(points: Floats) -> Floats:
    """Zero, or a round place among points far from it, so that lengths of 1e-9 keep their meaning."""
    if not len(points):
        return np.zeros(2)
    # Column by column: along the first axis of so narrow a table numpy takes five times as long.
    low = np.array([points[:, 0].min(), points[:, 1].min()])
    high = np.array([points[:, 0].max(), points[:, 1].max()])
    size = max(float((high - low).max()), 1.0)
    if not np.isfinite(size):
        return np.zeros(2)
    if max(float(np.abs(low).max()), float(np.abs(high).max())) <= 16 * size:
        return np.zeros(2)
    step = 2.0 ** np.floor(np.log2(size))
    return np.asarray(np.round((low + high) / (2 * step)) * step)


def region_of(
    rows: Floats,
    begin: Ints,
    face: npt.NDArray[np.int32],
    support: npt.NDArray[np.int32],
    supports: Floats,
    origin: Floats,
) -> ArcRegion:
    """Loops from moves (start, bulge), the first of each loop at ``begin``."""
    points = rows[:, :2] + origin
    bulge = np.ascontiguousarray(rows[:, 2])
    edges = begin.tolist()
    loops = tuple(
        ArcPath(points=points[a:b], bulge=bulge[a:b], face=face[a:b], support=support[a:b])
        for a, b in pairwise(edges)
    )
    return ArcRegion(loops=loops, supports=supports)
