"""From cut spans to a plane graph: shared nodes, edges with signed counts, faces, winding numbers."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.region_cut import CUTS, NODES, meetings
from beadwright.arcs._kernels.region_grid import bins_per, ordered, sort
from beadwright.arcs._kernels.span import COLUMNS, SWEEP, X0, X1, Y0, Y1, K, green, put, round_trip
from beadwright.compiled import helper, kernel

# Columns of an edge: nodes, count of channel 0 and 1, a sub-edge along it, one against it.
A, B, W0, W1, ALONG, AGAINST = range(6)
# Rows of the state: status, components, edges.
STATUS, PARTS, EDGES = 0, 1, 2
SOUND, FULL, TWISTED, CONFLICT = 0, 1, 2, 3


@helper
def _root(up: Any, i: int) -> int:
    while up[i] != i:
        up[i] = up[up[i]]
        i = up[i]
    return i


@helper
def _snap(xy: Any, n: int, radius: float) -> Any:
    """Shared id of each node: the lowest of those that a chain of steps within the radius joins."""
    key = np.empty(n)
    up = np.empty(n, np.int64)
    row = np.empty(n, np.int64)
    m = 0
    for i in range(n):
        # The end of a span and the start of the next are mostly the same numbers: nothing to look for.
        if i > 0 and xy[i, 0] == xy[i - 1, 0] and xy[i, 1] == xy[i - 1, 1]:
            up[i] = i - 1
            continue
        key[m] = 0.8236 * xy[i, 0] + 0.5671 * xy[i, 1]
        row[m] = i
        up[i] = i
        m += 1
    key = key[:m]
    order = ordered(key)
    for p in range(m):
        i = row[order[p]]
        for q in range(p + 1, m):
            if key[order[q]] - key[order[p]] > radius:
                break
            j = row[order[q]]
            if (xy[i, 0] - xy[j, 0]) ** 2 + (xy[i, 1] - xy[j, 1]) ** 2 <= radius * radius:
                a, b = _root(up, i), _root(up, j)
                if a < b:
                    up[b] = a
                else:
                    up[a] = b
    for i in range(n):
        up[i] = _root(up, i)
    return up


@helper
def grouped(key: Any, stride: int, n: int, groups: int) -> tuple[Any, Any]:
    """Rows by group: first of each group, rows. The group of a row stands at ``key[row * stride]``."""
    head = np.zeros(groups + 2, np.int64)
    rows = np.empty(n, np.int64)
    for i in range(n):
        head[key[i * stride] + 2] += 1
    for i in range(1, groups + 2):
        head[i] += head[i - 1]
    for i in range(n):
        g = key[i * stride] + 1
        rows[head[g]] = i
        head[g] += 1
    return head, rows


@helper
def _subs(n: int, up: Any, cut: Any, at: Any, cuts: int) -> Any:
    """Sub-edges as rows (node, node, span), in the order of the spans."""
    head, rows = grouped(cut.ravel(), 2, cuts, n)
    sub = np.empty((n + cuts, 3), np.int64)
    m = 0
    for i in range(n):
        if head[i + 1] - head[i] > 1:
            sort(rows, at, head[i], head[i + 1])
        a = up[2 * i]
        for h in range(head[i], head[i + 1] + 1):
            b = up[2 * i + 1] if h == head[i + 1] else up[cut[rows[h], 1]]
            if a != b:
                sub[m, 0], sub[m, 1], sub[m, 2] = a, b, i
                m += 1
            a = b
    return sub[:m]


@helper
def _merge(s: Any, w: Any, xy: Any, sub: Any, merge: float) -> tuple[Any, Any, Any]:
    """Sub-edges over the same nodes that are alike within a distance become one edge with a signed count."""
    m = len(sub)
    low = np.empty(m, np.int64)
    for i in range(m):
        low[i] = min(sub[i, 0], sub[i, 1])
    head, rows = grouped(low, 1, m, len(xy))
    edge = np.empty((m, 6), np.int64)
    bend = np.empty(m)
    of = np.full(m, -1, np.int64)
    n = 0
    for a in range(len(xy)):
        first = n
        for h in range(head[a], head[a + 1]):
            i = rows[h]
            b = sub[i, 0] + sub[i, 1] - a
            sign = 1 if sub[i, 0] == a else -1
            k = sign * s[sub[i, 2], K]
            square = (xy[a, 0] - xy[b, 0]) ** 2 + (xy[a, 1] - xy[b, 1]) ** 2
            e = first
            while e < n and not (edge[e, B] == b and abs(bend[e] - k) * square < 8.0 * merge):
                e += 1
            if e == n:
                edge[e, A], edge[e, B], edge[e, W0], edge[e, W1] = a, b, 0, 0
                edge[e, ALONG], edge[e, AGAINST] = -1, -1
                bend[e] = k
                n += 1
            of[i] = e
            edge[e, W0] += sign * w[sub[i, 2], 0]
            edge[e, W1] += sign * w[sub[i, 2], 1]
            if edge[e, ALONG if sign > 0 else AGAINST] < 0:
                edge[e, ALONG if sign > 0 else AGAINST] = i
        keep = first
        for e in range(first, n):
            if edge[e, W0] == 0 and edge[e, W1] == 0:
                edge[e, B] = -1
                continue
            if keep != e:
                for c in range(6):
                    edge[keep, c] = edge[e, c]
                bend[keep] = bend[e]
            keep += 1
        for h in range(head[a], head[a + 1]):
            i = rows[h]
            # Edges have moved up over deleted ones; what finds none was deleted.
            b = sub[i, 0] + sub[i, 1] - a
            k = (1 if sub[i, 0] == a else -1) * s[sub[i, 2], K]
            square = (xy[a, 0] - xy[b, 0]) ** 2 + (xy[a, 1] - xy[b, 1]) ** 2
            of[i] = -1
            for e in range(first, keep):
                if edge[e, B] == b and abs(bend[e] - k) * square < 8.0 * merge:
                    of[i] = e
                    break
        n = keep
    return edge[:n], bend, of


@helper
def _turns(e: Any, edge: Any, xy: Any) -> Any:
    """Next half-edge round the face on the left of each half-edge (2 i along edge i, 2 i + 1 against it)."""
    n = len(edge)
    start = np.empty(2 * n, np.int64)
    for i in range(n):
        start[2 * i], start[2 * i + 1] = edge[i, A], edge[i, B]
    head, rows = grouped(start, 1, 2 * n, len(xy))
    key = np.empty(2 * n)
    following = np.empty(2 * n, np.int64)
    for v in range(len(xy)):
        first, last = head[v], head[v + 1]
        if last - first > 2:
            least = np.inf
            for h in range(first, last):
                i = rows[h] // 2
                least = min(least, np.hypot(e[i, X1] - e[i, X0], e[i, Y1] - e[i, Y0]))
            for h in range(first, last):
                i, sign = rows[h] // 2, 1.0 - 2.0 * (rows[h] % 2)
                angle = np.arctan2(sign * (e[i, Y1] - e[i, Y0]), sign * (e[i, X1] - e[i, X0]))
                # Compared as turns of the chord, so that nearly equal directions keep their digits.
                key[rows[h]] = angle + sign * 0.5 * (e[i, K] * least - e[i, SWEEP])
                if key[rows[h]] > np.pi:
                    key[rows[h]] -= 2.0 * np.pi
                elif key[rows[h]] <= -np.pi:
                    key[rows[h]] += 2.0 * np.pi
            sort(rows, key, first, last)
        for h in range(first, last):
            following[rows[h] ^ 1] = rows[h - 1] if h > first else rows[last - 1]
    return following


@helper
def outside(e: Any, w: Any, part: Any, parts: int, x: Any, y: Any, total: Any) -> None:
    """Winding numbers about one point a part, from the edges of all other parts, by rays in bins of y."""
    if parts == 1:
        total[0, 0] = total[0, 1] = 0
        return
    n = len(e)
    lo, hi = np.inf, -np.inf
    for p in range(parts):
        lo, hi = min(lo, y[p]), max(hi, y[p])
    q = bins_per(float(parts), lo, hi)
    bin_of = np.empty(parts, np.int64)
    for p in range(parts):
        bin_of[p] = min(parts - 1, int((y[p] - lo) * q))
        total[p, 0] = total[p, 1] = 0
    head, rows = grouped(bin_of, 1, parts, parts)
    for i in range(n):
        wide, tall = e[i, X1] - e[i, X0], e[i, Y1] - e[i, Y0]
        bulge = 0.14 * abs(e[i, SWEEP]) * np.sqrt(wide * wide + tall * tall)
        low, high = min(e[i, Y0], e[i, Y1]) - bulge, max(e[i, Y0], e[i, Y1]) + bulge
        # Not by the bins: rounding may put the height `hi` itself beyond the last one.
        if high < lo or low > hi:
            continue
        a, b = max(0.0, (low - lo) * q), min(parts - 1.0, (high - lo) * q)
        right = max(e[i, X0], e[i, X1]) + bulge
        for h in range(head[min(parts - 1, int(a))], head[int(b) + 1]):
            p = rows[h]
            if part[i] != p and x[p] <= right:
                turn = round_trip(e, i, x[p], y[p])
                total[p, 0] += turn * w[i, 0]
                total[p, 1] += turn * w[i, 1]


@helper
def _faces(e: Any, edge: Any, following: Any, xy: Any, wind: Any, state: Any) -> None:
    """Faces, genus test, winding numbers on the left of each half-edge."""
    n = len(edge)
    up = np.full(len(xy), -1, np.int64)
    for i in range(n):
        up[edge[i, A]], up[edge[i, B]] = edge[i, A], edge[i, B]
    for i in range(n):
        a, b = _root(up, edge[i, A]), _root(up, edge[i, B])
        up[max(a, b)] = min(a, b)
    number = np.full(len(xy), -1, np.int64)
    parts = nodes = 0
    for v in range(len(xy)):
        if up[v] >= 0:
            nodes += 1
            if up[v] == v:
                number[v] = parts
                parts += 1
    part = np.empty(n, np.int64)
    for i in range(n):
        part[i] = number[_root(up, edge[i, A])]
    face = np.full(2 * n, -1, np.int64)
    faces = 0
    least = np.full(parts, np.inf)
    outer = np.full(parts, -1, np.int64)
    x, y = np.full(parts, np.nan), np.empty(parts)
    weight = np.empty((n, 2), np.int64)
    for i in range(n):
        weight[i, 0], weight[i, 1] = edge[i, W0], edge[i, W1]
        if not x[part[i]] > e[i, X0]:
            x[part[i]], y[part[i]] = e[i, X0], e[i, Y0]
    for h in range(2 * n):
        if face[h] >= 0:
            continue
        p = part[h // 2]
        area, g = 0.0, h
        while face[g] < 0:
            face[g] = faces
            share = green(e, g // 2, x[p], y[p])
            area += share if g % 2 == 0 else -share
            g = following[g]
        faces += 1
        if area < least[p]:
            least[p], outer[p] = area, h
    state[PARTS] = parts
    if nodes - n + faces != 2 * parts:
        state[STATUS] = TWISTED
        return
    total = np.zeros((parts, 2), np.int64)
    if parts:
        outside(e, weight, part, parts, x, y, total)
    known = np.zeros(faces, np.int8)
    stack = np.empty(faces, np.int64)
    for p in range(parts):
        top = 1
        stack[0] = outer[p]
        known[face[outer[p]]] = 1
        w0, w1 = total[p, 0], total[p, 1]
        g = outer[p]
        while True:
            wind[g, 0], wind[g, 1] = w0, w1
            g = following[g]
            if g == outer[p]:
                break
        while top > 0:
            top -= 1
            h = stack[top]
            g = h
            while True:
                sign = 1 if g % 2 == 0 else -1
                w0 = wind[g, 0] - sign * edge[g // 2, W0]
                w1 = wind[g, 1] - sign * edge[g // 2, W1]
                other = g ^ 1
                if known[face[other]] == 0:
                    known[face[other]] = 1
                    stack[top] = other
                    top += 1
                    f = other
                    while True:
                        wind[f, 0], wind[f, 1] = w0, w1
                        f = following[f]
                        if f == other:
                            break
                elif wind[other, 0] != w0 or wind[other, 1] != w1:
                    state[STATUS] = CONFLICT
                    return
                g = following[g]
                if g == h:
                    break


@kernel
def arrange(s: Any, w: Any, eps: float, room: int) -> tuple[Any, Any, Any, Any, Any, Any, Any, Any]:
    """Plane graph of spans with signed counts.

    Parameters
    ----------
    s : (n, 10) float64
        Spans, closed as a whole.
    w : (n, 2) int64
        How often each counts, one column a channel.
    eps : float
        Contact distance, mm; nodes snap within 2.5 times, edges merge within 10 times of it.
    room : int
        For how many nodes besides the ends.

    Returns
    -------
    e : (m, 10) float64
        Edges as spans.
    edge : (m, 6) int64
        Their nodes, counts and sub-edges.
    following : (2 m,) int64
        Next half-edge round the face on the left.
    wind : (2 m, 2) int64
        Winding numbers on the left of each half-edge.
    sub : (k, 3) int64
        Sub-edges: nodes and span.
    of : (k,) int64
        Edge of each sub-edge, -1 where all counts cancel.
    xy : (j, 2) float64
        Places of the nodes.
    state : (3,) int64
        `SOUND`, or what failed: `FULL` (more room), `TWISTED` (genus), `CONFLICT`; components, edges.
    """
    state = np.zeros(3, np.int64)
    xy, cut, at, count = meetings(s, eps, room)
    if count[NODES] > len(xy) or count[CUTS] > len(at):
        state[STATUS] = FULL
        count[NODES] = count[CUTS] = 0
    xy = xy[: count[NODES]]
    up = _snap(xy, len(xy), 2.5 * eps)
    sub = _subs(len(s) if len(xy) else 0, up, cut, at, count[CUTS])
    edge, bend, of = _merge(s, w, xy, sub, 10.0 * eps)
    e = np.empty((len(edge), COLUMNS))
    for i in range(len(edge)):
        a, b = edge[i, A], edge[i, B]
        put(e, i, xy[a, 0], xy[a, 1], xy[b, 0], xy[b, 1], bend[i])
    state[EDGES] = len(edge)
    following = _turns(e, edge, xy)
    wind = np.zeros((2 * len(edge), 2), np.int64)
    if len(edge):
        _faces(e, edge, following, xy, wind, state)
    return e, edge, following, wind, sub, of, xy, state
