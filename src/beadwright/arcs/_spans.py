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

# Greatest bulge of one span: a quarter turn, with room for rounding.
_QUARTER = float(np.tan(np.pi / 8)) * (1 + 1e-12)


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
    ends = [path.points[1:] for path in paths]
    ends = [np.vstack([e, p.points[:1]]) if p.closed else e for e, p in zip(ends, paths, strict=True)]
    start = np.concatenate([p.points if p.closed else p.points[:-1] for p in paths])
    end = np.concatenate(ends)
    bulge = np.concatenate([p.bulge for p in paths])
    path = np.repeat(np.arange(len(paths)), [len(p.bulge) for p in paths])
    if not (np.isfinite(start).all() and np.isfinite(end).all() and np.abs(bulge).max(initial=0) <= 1 + 1e-9):
        msg = "a path has a number that is not finite, or an arc of more than half a turn"
        raise GeometryError(msg)
    if origin is None:
        origin = choose_origin(start)
    move = np.flatnonzero((start != end).any(axis=1))
    start, end = start[move] - origin, end[move] - origin
    b, path = bulge[move], path[move]
    chord = end - start
    length = np.hypot(chord[:, 0], chord[:, 1])
    unit = chord / length[:, None]
    wide = np.abs(b) > _QUARTER
    if wide.any():
        # The middle of an arc lies b / 2 of the chord to the right of it for b > 0.
        w = np.flatnonzero(wide)
        middle = 0.5 * (start[w] + end[w])
        middle[:, 0] += 0.5 * b[w] * chord[w, 1]
        middle[:, 1] -= 0.5 * b[w] * chord[w, 0]
        b = b.copy()
        b[w] = np.tan(0.5 * np.arctan(b[w]))
        end_first = end.copy()
        end_first[w] = middle
        start, end = np.insert(start, w + 1, middle, axis=0), np.insert(end_first, w + 1, end[w], axis=0)
        b, move, path = (np.insert(v, w + 1, v[w]) for v in (b, move, path))
        chord = end - start
        length = np.hypot(chord[:, 0], chord[:, 1])
        unit = chord / length[:, None]
    n = 2 * b / (1 + b * b)
    c = (1 - b) * (1 + b) / (1 + b * b)
    rows = np.empty((len(b), 10))
    rows[:, 0:2], rows[:, 2:4] = start, end
    rows[:, 4], rows[:, 5] = unit[:, 0] * c + unit[:, 1] * n, unit[:, 1] * c - unit[:, 0] * n
    rows[:, 6], rows[:, 7] = 2 * n / length, 4 * np.arctan(b)
    rows[:, 8], rows[:, 9] = unit[:, 0] * c - unit[:, 1] * n, unit[:, 1] * c + unit[:, 0] * n
    after = np.arange(1, len(b) + 1)
    heads = np.searchsorted(path, np.arange(len(paths) + 1))
    full = heads[1:] > heads[:-1]
    closed = np.array([p.closed for p in paths])
    after[heads[1:][full] - 1] = np.where(closed, heads[:-1], -1)[full]
    return Spans(
        rows=rows,
        move=move,
        after=after,
        heads=np.append(heads[:-1][full], heads[-1]),
        face=np.concatenate([p.face for p in paths]),
        support=np.concatenate([p.support for p in paths]),
        origin=origin,
    )


def choose_origin(points: Floats) -> Floats:
    """Zero, or a round place among points far from it, so that lengths of 1e-9 keep their meaning."""
    if not len(points):
        return np.zeros(2)
    low, high = points.min(axis=0), points.max(axis=0)
    size = max(float((high - low).max()), 1.0)
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
