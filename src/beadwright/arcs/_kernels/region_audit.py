"""What every result must pass before it leaves: by distances and crossings, not by the way it was made."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.region_graph import outside
from beadwright.arcs._kernels.region_grid import boxes, build, cells, pieces
from beadwright.arcs._kernels.region_raw import HELPER
from beadwright.arcs._kernels.span import (
    COLUMNS,
    EX,
    EY,
    SWEEP,
    TX,
    TY,
    X0,
    X1,
    Y0,
    Y1,
    K,
    apart,
    away,
    beside,
    cosine,
    gap,
    green,
    place,
    put,
    roots,
    round_trip,
)
from beadwright.compiled import helper, kernel

# Rows of the findings: ends that do not meet, crossings, loops nested wrongly, spans too near to the source,
# spans too far from it, area lost, grey places.
OPEN, CROSSED, NESTED, NEARER, FARTHER, LOST, GREY = range(7)
FINDINGS = 7
# Greatest turning of a run of spans, radians: below a quarter turn, so that its distance is known by a theorem.
TURN = 1.5


@helper
def _crossed(s: Any, i: int, j: int, deep: float, out: Any) -> bool:
    """Whether two spans cross by more than a depth, away from their ends."""
    c = cosine(s, i, j)
    if abs(c) > 1.0:
        return False
    sine = np.sqrt((1.0 - c) * (1.0 + c))
    bend = abs(abs(s[i, K]) - abs(s[j, K])) if c * s[i, K] * s[j, K] > 0.0 else abs(s[i, K]) + abs(s[j, K])
    if bend * deep * 2.0 > sine * sine:
        return False
    for r in range(roots(s, i, j, 0.0, out)):
        x, y = out[2 * r], out[2 * r + 1]
        if beside(s, i, x, y, 0.0) and beside(s, j, x, y, 0.0):
            end = min(np.hypot(x - s[i, X0], y - s[i, Y0]), np.hypot(x - s[i, X1], y - s[i, Y1]))
            end = min(end, np.hypot(x - s[j, X0], y - s[j, Y0]), np.hypot(x - s[j, X1], y - s[j, Y1]))
            if sine * end > deep:
                return True
    return False


@helper
def _shape(s: Any, heads: Any, box: Any, grid: Any, deep: float, found: Any) -> None:
    """Ends, crossings and nesting of loops."""
    g, head, items = grid
    seen = np.full(len(s), -1, np.int64)
    r = np.empty(4, np.int64)
    out = np.empty(4)
    for i in range(len(s)):
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
                        and _crossed(s, i, j, deep, out)
                    ):
                        found[CROSSED] += 1
    loops = len(heads) - 1
    part = np.empty(len(s), np.int64)
    once = np.zeros((len(s), 2), np.int64)
    x, y, area = np.empty(loops), np.empty(loops), np.zeros(loops)
    total = np.zeros((loops, 2), np.int64)
    for p in range(loops):
        x[p], y[p] = place(s, heads[p], 0.4142)
        for i in range(heads[p], heads[p + 1]):
            part[i] = p
            once[i, 0] = 1
            area[p] += green(s, i, x[p], y[p])
            j = heads[p] if i + 1 == heads[p + 1] else i + 1
            if s[i, X1] != s[j, X0] or s[i, Y1] != s[j, Y0]:
                found[OPEN] += 1
    outside(s, once, part, loops, x, y, total)
    for p in range(loops):
        if total[p, 0] != (0 if area[p] > 0.0 else 1):
            found[NESTED] += 1


@kernel
def shape(s: Any, heads: Any, deep: float) -> Any:
    """Findings about loops by themselves: open, crossed by more than a depth, nested wrongly.

    Parameters
    ----------
    s : (n, 10) float64
        Spans, loop by loop.
    heads : (loops + 1,) int64
        First span of each loop.
    deep : float
        Crossings less deep are let pass, mm.

    Returns
    -------
    (7,) int64
        Counts by `OPEN`, `CROSSED`, `NESTED`, the others 0.
    """
    found = np.zeros(FINDINGS, np.int64)
    if len(s):
        box = boxes(s, 1e-8)
        _shape(s, heads, box, build(s, box, 0.0), deep, found)
    return found


@helper
def _nearest(s: Any, grid: Any, x: float, y: float, reach: float, enough: float) -> float:
    """Distance of a point from the spans of a grid within a reach; done at the first nearer than enough."""
    g, head, items = grid
    nx, ny = int(g[3]), int(g[4])
    x0, x1 = int(max(0.0, (x - reach - g[0]) * g[2])), int(min(nx - 1.0, (x + reach - g[0]) * g[2]))
    y0, y1 = int(max(0.0, (y - reach - g[1]) * g[2])), int(min(ny - 1.0, (y + reach - g[1]) * g[2]))
    least = np.inf
    for row in range(y0, y1 + 1 if x1 >= x0 else 0):
        for h in range(head[row * nx + x0], head[row * nx + x1 + 1]):
            least = min(least, away(s, items[h], x, y))
            if least < enough:
                return float(least)
    return float(least)


@helper
def _runs(s: Any, d: float, tau: float) -> Any:
    """Number of the run of each span.

    A run is neighbours in a row that join smoothly, turn less than a quarter in all, and bend towards the offset side
    by 1 / d at most; its joints, taken together, turn by less than tau / (4 d).
    """
    run = np.empty(len(s), np.int64)
    side, reach = np.copysign(1.0, d), abs(d) + tau
    low = high = heading = kinks = 0.0
    many = 0
    for i in range(len(s)):
        alone = side * s[i, K] * reach > 1.0
        joined = i > 0 and not alone and s[i - 1, X1] == s[i, X0] and s[i - 1, Y1] == s[i, Y0]
        if joined:
            turn = s[i - 1, EX] * s[i, TY] - s[i - 1, EY] * s[i, TX]
            kinks += abs(turn) * reach
            joined = s[i - 1, EX] * s[i, TX] + s[i - 1, EY] * s[i, TY] > 0.0 and kinks < 0.25 * tau
            ahead = heading + s[i, SWEEP]
            joined = joined and max(high, ahead) - min(low, ahead) < TURN
        if not joined or side * s[i - 1, K] * reach > 1.0:
            many += 1
            low = high = heading = kinks = 0.0
        heading += s[i, SWEEP]
        low, high = min(low, heading), max(high, heading)
        run[i] = many
    return run


@helper
def _above(s: Any, i: int, q: Any, j: int, x: float, y: float, d: float, slack: float) -> float:
    """By how much a kept span is off the distance to the left of the source span that it lies beside.

    At both ends and the middle (x, y); what lies between is off by at most twice that. Infinite where it lies beyond
    an end.
    """
    if not beside(s, i, x, y, slack):
        return np.inf
    worst = abs(gap(s, i, x, y) - d)
    for end in range(2):
        x, y = (q[j, X1], q[j, Y1]) if end == 1 else (q[j, X0], q[j, Y0])
        if not beside(s, i, x, y, slack):
            return np.inf
        worst = max(worst, abs(gap(s, i, x, y) - d))
    return float(worst)


@kernel
def reaches(s: Any, d: float, tau: float, x: Any, y: Any) -> Any:
    """Which places are at least a distance, less tau, from all source spans: (n,) int8.

    Parameters
    ----------
    s : (m, 10) float64
        Source spans.
    d, tau : float
        Distance and what a place may fall short of it, mm.
    x, y : (n,) float64
        The places, mm.
    """
    grid = build(s, boxes(s, 1e-8), d / 3.0)
    kept = np.zeros(len(x), np.int8)
    for i in range(len(x)):
        if not _nearest(s, grid, x[i], y[i], d, d - tau) < d - tau:
            kept[i] = 1
    return kept


@helper
def _inside(s: Any, x: float, y: float) -> bool:
    """Whether a place lies in the region that spans bound."""
    count = 0
    for i in range(len(s)):
        count += round_trip(s, i, x, y)
    return count > 0


@kernel
def audit(
    s: Any, d: float, tau: float, q: Any, heads: Any, own: Any, raw: Any, tag: Any, sub: Any, of: Any,
    used: Any, xy: Any,
) -> tuple[Any, float]:  # fmt: skip
    """Whether spans are the boundary of the points at a distance to the left of source spans, and all of it.

    Parameters
    ----------
    s : (n, 10) float64
        Source spans.
    d, tau : float
        Distance to the left and how far a place may be off it, mm.
    q : (m, 10) float64
        Kept spans, loop by loop from ``heads`` (loops + 1,) int64 on.
    own : (m,) int64
        Source span that each kept span stems from.
    raw, tag, sub, of, used, xy
        Of the raw curve (`raw_curve`) and its graph (`arrange`, `link`), for what was dropped.

    Returns
    -------
    found : (7,) int64
        Counts: `OPEN` to `LOST` are faults, `GREY` are necks of width 0 within ``tau``.
    worst : float
        Greatest amount by which a kept place is nearer to or farther from the source than asked, mm.

    Notes
    -----
    What spares most pairs: a curve that starts at p, bends towards a circle of radius d that touches it there by 1 / d
    at most, and turns by less than a quarter, stays outside the circle. For with x along the tangent and the slope
    angle a, d(sin a)/dx is the curvature; so sin a <= x / d, as on the circle. Kinks at joints add at most their sum
    times d, a foot beyond an end at most what it is beyond, and together with the place's own error that is at most
    tau.
    """
    found = np.zeros(FINDINGS, np.int64)
    worst = 0.0
    dist = abs(d)
    box = boxes(s, 1e-8)
    grid = build(s, box, dist / 3.0)
    g, head, items = grid
    nx, ny = int(g[3]), int(g[4])
    seen = np.full(len(s), -1, np.int64)
    run = _runs(s, d, tau)
    mine = grid
    if len(q):
        frame = boxes(q, 1e-8)
        mine = build(q, frame, 0.0)
        _shape(q, heads, frame, mine, 2.0 * tau, found)
        for i in range(len(q)):
            x, y = place(q, i, 0.5)
            half = 0.55 * np.hypot(q[i, X1] - q[i, X0], q[i, Y1] - q[i, Y0])
            # A place at d along the normal of a run has no other place of that run nearer (see the notes of `audit`).
            mine_run = -1
            off = _above(s, own[i], q, i, x, y, d, 0.25 * tau)
            if off < 0.25 * tau:
                mine_run = run[own[i]]
                worst = max(worst, off)
            else:
                far = max(away(s, own[i], x, y), away(s, own[i], q[i, X0], q[i, Y0])) - dist
                worst = max(worst, far)
                if far > tau:
                    found[FARTHER] += 1
            reach = dist + half
            x0, x1 = int(max(0.0, (x - reach - g[0]) * g[2])), int(min(nx - 1.0, (x + reach - g[0]) * g[2]))
            y0, y1 = int(max(0.0, (y - reach - g[1]) * g[2])), int(min(ny - 1.0, (y + reach - g[1]) * g[2]))
            for row in range(y0, y1 + 1 if x1 >= x0 else 0):
                for h in range(head[row * nx + x0], head[row * nx + x1 + 1]):
                    j = items[h]
                    if run[j] == mine_run or seen[j] == i:
                        continue
                    seen[j] = i
                    if (
                        x + reach < box[j, 0]
                        or x - reach > box[j, 2]
                        or y + reach < box[j, 1]
                        or y - reach > box[j, 3]
                    ):
                        continue
                    if away(s, j, x, y) < reach:
                        near = dist - apart(s, j, q, i)
                        worst = max(worst, near)
                        if near > tau:
                            found[NEARER] += 1
    one = np.empty((1, COLUMNS))
    for i in range(len(sub)):
        b = sub[i, 2]
        if tag[b, 1] == HELPER or (of[i] >= 0 and used[of[i]] == 1):
            continue
        u, v = sub[i, 0], sub[i, 1]
        put(one, 0, xy[u, 0], xy[u, 1], xy[v, 0], xy[v, 1], raw[b, K])
        x, y = place(one, 0, 0.5)
        # The source that covers a dropped place is often the one before or after its own.
        if _nearest(s, grid, x, y, dist, dist - tau) < dist - tau:
            continue
        if len(q) and _nearest(q, mine, x, y, 2.0 * tau, 2.0 * tau) <= 2.0 * tau:
            continue
        cx, cy = xy[v, 0] - xy[u, 0], xy[v, 1] - xy[u, 1]
        step = np.copysign(4.0 * tau, d) / np.hypot(cx, cy)
        x, y = x - cy * step, y + cx * step
        # Where source spans touch within tau, what is dropped beyond one is as far from the other: on the wrong side.
        if _nearest(s, grid, x, y, dist + 2.0 * tau, dist) > dist + tau and _inside(s, x, y) == (d > 0.0):
            found[LOST] += 1
        else:
            found[GREY] += 1
    return found, worst
