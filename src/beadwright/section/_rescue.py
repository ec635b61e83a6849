"""Nodes that found no partner on their own branch: run on over the ends of branches, or go straight."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.section._batch import Batch, spans_of
from beadwright.section._cutter import Cutter
from beadwright.section._kernels import codes

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

STRAIGHT = -1
"""Branch of a segment that is a straight connector."""


End = tuple[float, Array]
"""Parameter and point of an end of an open branch."""


def rescue(cutter: Cutter, batch: Batch, spare: Ints) -> Ints:
    """Join nodes left over, nearest gap first; gaps become connectors and count in `Section.model`.

    Two ways are open to a start and an end of one face in one plane. Where the curve leaves one open branch
    of the surface and goes on upon another (or upon the same one, across a gap), run to the end of the
    branch, over the gap to where the other starts, and on. Else, where an edge reaches the plane and the
    surface does not, go straight from node to node. The way with the shorter gap is taken.

    Parameters
    ----------
    cutter : Cutter
    batch : Batch
        Its segments, uses, points and counts are added to.
    spare : (l, 2) int64
        Pair and use of the nodes left over, pair by pair.

    Returns
    -------
    (m,) int64
        Pairs in which nodes are still left over, ascending.
    """
    if len(spare) == 0:
        return np.zeros(0, dtype=np.int64)
    add = Additions(batch)
    left = []
    for pair in np.unique(spare[:, 0]):
        uses = spare[spare[:, 0] == pair, 1]
        starts = [int(u) for u in uses if batch.use_start[u] == 1]
        stops = [int(u) for u in uses if batch.use_start[u] == 0]
        if len(starts) != len(stops):
            left.append(int(pair))
            continue
        plane = int(batch.pair_plane[pair])
        for _, on, u, e in _chosen(cutter, batch, int(pair), starts, stops):
            if not on:
                add.segment(int(pair), STRAIGHT, u, e)
                continue
            out, into = int(batch.use_branch[u]), int(batch.use_branch[e])
            here = _end(cutter, batch, int(pair), out, last=True)
            there = _end(cutter, batch, int(pair), into, last=False)
            assert here is not None
            assert there is not None
            if np.array_equal(here[1], there[1]):
                # a corner of the section itself: an apex, or a crossing of two lines
                a, b = add.corner(here[1], here[0], there[0])
            else:
                a, b = add.point(here[1], here[0]), add.point(there[1], there[0])
                add.segment(int(pair), STRAIGHT, a, b)
                batch.counts[plane, 1] += 1
            add.segment(int(pair), out, u, a)
            add.segment(int(pair), into, b, e)
    add.done()
    return np.array(left, dtype=np.int64)


def _chosen(
    cutter: Cutter, batch: Batch, pair: int, starts: list[int], stops: list[int]
) -> list[tuple[float, bool, int, int]]:
    """Gap, whether to run on, start and end, so that each start and end is taken once."""
    points, node = batch.points[:, :2], batch.use_node
    ways = []
    for u in starts:
        here = _open_end(cutter, batch, pair, u, last=True)
        for e in stops:
            ways.append((float(np.linalg.norm(points[node[u]] - points[node[e]])), False, u, e))
            there = _open_end(cutter, batch, pair, e, last=False)
            same = batch.use_branch[u] == batch.use_branch[e]
            if here is not None and there is not None and not (same and batch.use_s[u] < batch.use_s[e]):
                ways.append((float(np.linalg.norm(here[1] - there[1])), True, u, e))
    taken: set[int] = set()
    out = []
    for way in sorted(ways):
        if not taken & {way[2], way[3]}:
            taken |= {way[2], way[3]}
            out.append(way)
    return out


def _open_end(cutter: Cutter, batch: Batch, pair: int, use: int, *, last: bool) -> End | None:
    """End of a use's branch, the last or the first, if no node lies between."""
    branch = int(batch.use_branch[use])
    if branch < 0:
        return None
    a, b = batch.first_use[pair], batch.first_use[pair + 1]
    own = batch.use_s[a:b][batch.use_branch[a:b] == branch]
    beyond = own > batch.use_s[use] if last else own < batch.use_s[use]
    return None if beyond.any() else _end(cutter, batch, pair, branch, last=last)


def _end(cutter: Cutter, batch: Batch, pair: int, branch: int, *, last: bool) -> End | None:
    """None for closed branches and for those without such an end."""
    kind, closed = int(batch.table[branch, 0]), int(batch.table[branch, 1])
    if closed == 1:
        return None
    face = int(batch.pair_face[pair])
    if kind == codes.B_FREE:
        own, row = batch.free[face], int(batch.free_branch[branch])
        n = float(own.first_piece[row + 1] - own.first_piece[row])
        outward = cutter.outline[face].outward
        xy = own.end[row] if last == outward else own.start[row]
        return (n if outward else 0.0, xy) if last else (0.0 if outward else -n, xy)
    if kind == codes.B_LINE and batch.par[branch, 13] == (1.0 if last else -1.0):
        return 0.0, batch.par[branch, :2].copy()
    if kind not in (codes.B_LEVEL, codes.B_PUSHED):
        return None
    from beadwright.section._kernels.locate import span_of

    first = cutter.faces.first_span
    ends = span_of(kind, batch.par[branch], cutter.faces.span, first[face], first[face + 1])
    s = float(ends[1] if last else ends[0])
    return s, branch_point(cutter, batch, face, branch, s)


def branch_point(cutter: Cutter, batch: Batch, face: int, branch: int, s: float) -> Array:
    """x, y at parameter s of any branch but a free one."""
    from beadwright.section._kernels.level import point

    faces = cutter.faces
    spans = spans_of(cutter)
    work, out = np.empty((int(max(2, *spans[1], 2)) + 3, 4)), np.empty(7)
    point(
        batch.table[branch, 0],
        batch.par[branch],
        faces.kind[face],
        faces.par[face],
        faces.first_span[face],
        faces.first_span[face + 1],
        spans,
        s,
        work,
        out,
    )
    return out[2:4].copy()


class Additions:
    """Points and segments to be put behind those of a batch, all at once."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self.points: list[Array] = []
        self.s: list[float] = []
        self.same: dict[int, int] = {}
        self.segments: list[tuple[int, int, int, int, int]] = []

    def point(self, xy: Array, s: float = 0.0) -> int:
        """A new node and its one use: the use."""
        self.points.append(xy)
        self.s.append(s)
        return len(self.batch.use_node) + len(self.points) - 1

    def corner(self, xy: Array, s0: float, s1: float) -> tuple[int, int]:
        """A new node with two uses, at the end of one branch and at the start of another: the uses."""
        first = self.point(xy, s0)
        second = self.point(xy, s1)
        self.same[second] = first
        return first, second

    def segment(self, pair: int, branch: int, start: int, end: int) -> None:
        """From use to use."""
        self.segments.append((pair, branch, start, end, 0))

    def done(self) -> None:
        """Put everything in."""
        batch, n = self.batch, len(self.points)
        if n:
            base = len(batch.use_node)
            nodes = len(batch.points) + np.arange(n)
            for second, first in self.same.items():
                nodes[second - base] = nodes[first - base]
            xyz = np.concatenate((np.array(self.points), np.zeros((n, 1))), axis=1)
            batch.points = np.concatenate((batch.points, xyz))
            batch.use_node = np.concatenate((batch.use_node, nodes))
            batch.use_s = np.concatenate((batch.use_s, self.s))
        if self.segments:
            rows = np.array(self.segments, dtype=np.int64)
            batch.segments = np.ascontiguousarray(np.concatenate((batch.segments, rows)))
