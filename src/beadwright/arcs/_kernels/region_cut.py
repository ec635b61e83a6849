"""Where spans meet: crossings, ends on other spans, and both ends of intervals of near contact."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.region_grid import boxes, build, cells, pieces
from beadwright.arcs._kernels.span import (
    EX,
    EY,
    TX,
    TY,
    X0,
    X1,
    Y0,
    Y1,
    beside,
    cosine,
    gap,
    locate,
    roots,
)
from beadwright.compiled import helper

# Rows of the counters: cuts, nodes, whether any pair was nearly tangent.
CUTS, NODES, NEAR = 0, 1, 2
# Spans that cross at a smaller sine are cut at the ends of their contact interval.
TANGENT = 0.1
# Ends of spans that follow each other lie this near, in contact distances: rounding parts them, snapping joins them.
JOINT = 0.1
# Spans that follow each other at a smaller sine are one smooth curve.
SMOOTH_SINE = 1e-9


@helper
def add(cut: Any, at: Any, count: Any, span: int, t: float, node: int) -> None:
    """Note that a span passes a node; what does not fit is only counted."""
    n = count[CUTS]
    if n < len(at):
        cut[n, 0], cut[n, 1], at[n] = span, node, t
    count[CUTS] = n + 1


@helper
def _end(s: Any, i: int, j: int, end: int, eps: float, cut: Any, at: Any, count: Any) -> bool:
    """Cut span i at an end of span j that lies on it."""
    x, y = (s[j, X1], s[j, Y1]) if end == 1 else (s[j, X0], s[j, Y0])
    if abs(x - s[i, X0]) + abs(y - s[i, Y0]) < eps or abs(x - s[i, X1]) + abs(y - s[i, Y1]) < eps:
        return True
    if beside(s, i, x, y, 0.0) and abs(gap(s, i, x, y)) < eps:
        add(cut, at, count, i, locate(s, i, x, y), 2 * j + end)
        return True
    return False


@helper
def _follow(s: Any, i: int, j: int, eps: float) -> bool:
    """Whether span j goes on where span i ends, in the same direction: then they meet there only."""
    if abs(s[i, X1] - s[j, X0]) + abs(s[i, Y1] - s[j, Y0]) > JOINT * eps:
        return False
    if s[i, EX] * s[j, TX] + s[i, EY] * s[j, TY] <= 0.0:
        return False
    return bool(abs(s[i, EX] * s[j, TY] - s[i, EY] * s[j, TX]) < SMOOTH_SINE)


@helper
def _pair(s: Any, i: int, j: int, eps: float, xy: Any, cut: Any, at: Any, count: Any, out: Any) -> None:
    # A tangent of spans that follow each other smoothly is told by the joint's own directions: from the cosine of
    # carriers a sine of 0 comes out as 1e-8.
    if _follow(s, i, j, eps) or _follow(s, j, i, eps):
        return
    c = cosine(s, i, j)
    sine = np.sqrt(max(0.0, (1.0 - c) * (1.0 + c)))
    ends = 0
    for end in range(2):
        ends += _end(s, i, j, end, eps, cut, at, count)
        ends += _end(s, j, i, end, eps, cut, at, count)
    tries = 1
    if sine < TANGENT and abs(c) < 1.1:
        tries = 3
        if ends > 0:
            count[NEAR] = 1
    for attempt in range(tries):
        shift = 0.0 if attempt == 0 else (eps if attempt == 1 else -eps)
        slack = eps if attempt == 0 else 0.0
        for r in range(roots(s, i, j, shift, out)):
            x, y = out[2 * r], out[2 * r + 1]
            if not (beside(s, i, x, y, slack) and beside(s, j, x, y, slack)):
                continue
            if attempt > 0:
                count[NEAR] = 1
            t, u = locate(s, i, x, y), locate(s, j, x, y)
            n = count[NODES]
            if n < len(xy):
                xy[n, 0], xy[n, 1] = x, y
            count[NODES] = n + 1
            add(cut, at, count, i, t, n)
            add(cut, at, count, j, u, n)


@helper
def meetings(s: Any, eps: float, room: int) -> tuple[Any, Any, Any, Any]:
    """All nodes (two ends a span first), and all cuts as rows (span, node) with parameters; counters.

    More cuts or nodes than there is room for: the counters tell.
    """
    n = len(s)
    box = boxes(s, 2.0 * eps)
    g, head, items = build(s, box, 0.0)
    xy = np.empty((2 * n + room, 2))
    cut = np.empty((2 * room, 2), np.int64)
    at = np.empty(2 * room)
    count = np.zeros(3, np.int64)
    for i in range(n):
        xy[2 * i, 0], xy[2 * i, 1], xy[2 * i + 1, 0], xy[2 * i + 1, 1] = (
            s[i, X0],
            s[i, Y0],
            s[i, X1],
            s[i, Y1],
        )
    count[NODES] = 2 * n
    seen = np.full(n, -1, np.int64)
    r = np.empty(4, np.int64)
    out = np.empty(4)
    for i in range(n):
        many = pieces(box, i, g)
        for p in range(many):
            cells(s, box, i, p, many, g, 0.0, r)
            for row in range(r[2], r[3] + 1):
                first = row * int(g[3])
                for h in range(head[first + r[0]], head[first + r[1] + 1]):
                    j = items[h]
                    if j <= i or seen[j] == i:
                        continue
                    seen[j] = i
                    if (
                        box[i, 0] <= box[j, 2]
                        and box[j, 0] <= box[i, 2]
                        and box[i, 1] <= box[j, 3]
                        and box[j, 1] <= box[i, 3]
                    ):
                        _pair(s, i, j, eps, xy, cut, at, count, out)
    if count[NEAR] and count[NODES] <= len(xy) and count[CUTS] <= len(at):
        _close(s, box, g, head, items, 2.5 * eps, xy, cut, at, count)
    return xy, cut, at, count


@helper
def _close(
    s: Any, box: Any, g: Any, head: Any, items: Any, snap: float, xy: Any, cut: Any, at: Any, count: Any
) -> None:
    """Make every node within the snap radius of a span a node of that span."""
    for node in range(count[NODES]):
        x, y = xy[node, 0], xy[node, 1]
        cx = min(int(g[3]) - 1, max(0, int((x - g[0]) * g[2])))
        cy = min(int(g[4]) - 1, max(0, int((y - g[1]) * g[2])))
        c = cy * int(g[3]) + cx
        for h in range(head[c], head[c + 1]):
            i = items[h]
            if node == 2 * i or node == 2 * i + 1:
                continue
            if x < box[i, 0] or x > box[i, 2] or y < box[i, 1] or y > box[i, 3]:
                continue
            if beside(s, i, x, y, 0.0) and abs(gap(s, i, x, y)) < snap:
                add(cut, at, count, i, locate(s, i, x, y), node)
