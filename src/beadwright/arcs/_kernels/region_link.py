"""From winding numbers to loops: edges with the region on exactly one side, linked by node."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.region_graph import AGAINST, ALONG
from beadwright.arcs._kernels.span import COLUMNS, EX, EY, SWEEP, TX, TY, X0, X1, Y0, Y1, K
from beadwright.compiled import helper, kernel

UNION, COMMON, FIRST, SECOND, EITHER, NEGATIVE = range(6)


@helper
def _inside(a: int, b: int, rule: int) -> bool:
    if rule == UNION:
        return a > 0
    if rule == COMMON:
        return a > 0 and b > 0
    if rule == FIRST:
        return a > 0 and b <= 0
    if rule == SECOND:
        return b > 0 and a <= 0
    if rule == EITHER:
        return a > 0 or b > 0
    return a < 0


@helper
def _kept(wind: Any, h: int, rule: int) -> bool:
    return _inside(wind[h, 0], wind[h, 1], rule) and not _inside(wind[h ^ 1, 0], wind[h ^ 1, 1], rule)


@kernel
def link(e: Any, edge: Any, following: Any, wind: Any, sub: Any, rule: int) -> tuple[Any, Any, Any, Any]:
    """Boundary of the cells that a rule chooses, the region on the left.

    Parameters
    ----------
    e, edge, following, wind, sub
        As `arrange` gives them.
    rule : int
        `UNION` (channel 0 above 0), `COMMON`, `FIRST` (first less second), `SECOND`, `EITHER`, `NEGATIVE`.

    Returns
    -------
    q : (m, 10) float64
        Boundary spans, loop by loop.
    who : (m,) int64
        Span that each lies on, as ``2 span`` or, run against it, ``2 span + 1``.
    heads : (loops + 1,) int64
        First span of each loop; empty if a loop did not close.
    used : (edges,) int8
        1 where the edge is part of the boundary.
    """
    n = len(edge)
    q = np.empty((n, COLUMNS))
    who = np.empty(n, np.int64)
    heads = np.empty(n + 1, np.int64)
    used = np.zeros(n, np.int8)
    m = loops = 0
    heads[0] = 0
    for start in range(2 * n):
        if used[start // 2] == 1 or not _kept(wind, start, rule):
            continue
        h = start
        while True:
            i = h // 2
            if used[i] == 1:
                return q[:0], who[:0], heads[:0], used
            used[i] = 1
            for c in range(COLUMNS):
                q[m, c] = e[i, c]
            along = h % 2 == 0
            if not along:
                q[m, X0], q[m, Y0], q[m, X1], q[m, Y1] = e[i, X1], e[i, Y1], e[i, X0], e[i, Y0]
                q[m, TX], q[m, TY], q[m, EX], q[m, EY] = -e[i, EX], -e[i, EY], -e[i, TX], -e[i, TY]
                q[m, K], q[m, SWEEP] = -e[i, K], -e[i, SWEEP]
            r = edge[i, ALONG if along else AGAINST]
            if r >= 0:
                who[m] = 2 * sub[r, 2]
            else:
                who[m] = 2 * sub[edge[i, AGAINST if along else ALONG], 2] + 1
            m += 1
            h = following[h]
            # The sectors between are all inside; a node turned round once without an exit is a fault.
            turn = 0
            while h != start and not _kept(wind, h, rule):
                h = following[h ^ 1]
                turn += 1
                if turn > 2 * n:
                    return q[:0], who[:0], heads[:0], used
            if h == start:
                break
        loops += 1
        heads[loops] = m
    return q[:m], who[:m], heads[: loops + 1], used


@kernel
def moves(q: Any, heads: Any, key: Any) -> tuple[Any, Any, Any]:
    """Neighbouring spans of one key become one move of at most half a turn.

    Parameters
    ----------
    q : (n, 10) float64
        Spans, loop by loop.
    heads : (loops + 1,) int64
        First span of each loop.
    key : (n,) int64
        Alike for spans that are parts of one line or arc.

    Returns
    -------
    rows : (m, 3) float64
        Start and bulge of each move.
    first : (m,) int64
        A span of each move.
    begin : (loops + 1,) int64
        First move of each loop.
    """
    rows = np.empty((len(q), 3))
    first = np.empty(len(q), np.int64)
    begin = np.zeros(len(heads), np.int64)
    m = 0
    for p in range(len(heads) - 1):
        lo, count = heads[p], heads[p + 1] - heads[p]
        shift = 0
        for i in range(count):
            if key[lo + i] != key[lo + (i + count - 1) % count]:
                shift = i
                break
        last, sweep = -1, 0.0
        for step in range(count):
            i = lo + (shift + step) % count
            if last < 0 or key[i] != key[last] or abs(sweep + q[i, SWEEP]) > np.pi + 1e-9:
                rows[m, 0], rows[m, 1] = q[i, X0], q[i, Y0]
                first[m] = i
                sweep = 0.0
                m += 1
            sweep += q[i, SWEEP]
            # Half a turn stays one in spite of rounding.
            rows[m - 1, 2] = max(-1.0, min(1.0, np.tan(0.25 * sweep)))
            last = i
        begin[p + 1] = m
    return rows[:m], first[:m], begin
