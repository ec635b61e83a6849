"""Nodes on branches, and which start belongs to which end."""

from __future__ import annotations

from math import atan2, hypot, pi
from typing import Any

import numpy as np
from numba import njit

from beadwright.section._kernels.codes import B_ANGLE, B_CIRCLE, B_FREE, B_LEVEL, B_LINE, B_PUSHED
from beadwright.section._kernels.level import point

TURN = 2.0 * pi
NEAR = 1e-6
LOCATE_SAMPLES = 24


@njit(cache=True)
def period(kind: int, closed: int, par: Any, ends: Any, first: int, last: int) -> float:
    """Length of the parameter of a closed branch."""
    if kind == B_PUSHED:
        return ends[last - 1, 1] - ends[first, 0]
    return TURN


@njit(cache=True)
def span_of(kind: int, par: Any, ends: Any, first: int, last: int) -> Any:
    """Least and greatest parameter of a branch."""
    if kind == B_PUSHED:
        if par[1] > 0.0:
            return ends[first, 0], ends[last - 1, 1]
        return -ends[last - 1, 1], -ends[first, 0]
    if kind == B_LEVEL:
        if par[0] == 1.0 or par[0] == 2.0:
            return -1.0, 1.0
        if par[0] == 3.0:
            return 0.0, par[2] - par[1]
        return 0.0, TURN
    if kind == B_ANGLE and par[11] > 0.0:
        # the sense turned the angle round
        c = par[10]
        return c - par[11], c + par[11]
    return 0.0, TURN


@njit(cache=True)
def locate(
    kind: int,
    closed: int,
    par: Any,
    face_kind: int,
    fpar: Any,
    first: int,
    last: int,
    spans: Any,
    x: float,
    y: float,
    work: Any,
    out: Any,
) -> Any:
    """Parameter of the branch's point nearest to (x, y) in the plane, and its distance."""
    if kind == B_LINE:
        dx, dy = x - par[0], y - par[1]
        return dx * par[2] + dy * par[3], abs(dx * par[3] - dy * par[2])
    if kind == B_CIRCLE:
        dx, dy = x - par[0], y - par[1]
        s = atan2(par[3] * dy, dx)
        return (s if s >= 0.0 else s + TURN), abs(hypot(dx, dy) - par[2])
    low, high = span_of(kind, par, spans[0], first, last)
    parts, step = 0, 1e-6
    s = low
    if kind == B_ANGLE:
        # invert the linear map (1, cos, sin) -> (x W, y W, W) at the point, roughly
        a1, b1 = par[1] - x * par[7], par[2] - x * par[8]
        a2, b2 = par[4] - y * par[7], par[5] - y * par[8]
        c1, c2 = x * par[6] - par[0], y * par[6] - par[3]
        det = a1 * b2 - a2 * b1
        c, d = (c1 * b2 - c2 * b1), (a1 * c2 - a2 * c1)
        sign = 1.0 if det > 0.0 else -1.0
        s = atan2(par[9] * sign * d, sign * c)
        if closed == 0:
            low, high = low + 1e-12, high - 1e-12
            mid = par[10]
            s = mid + (s - mid - TURN * np.floor((s - mid) / TURN + 0.5))
            s = min(high, max(low, s))
    else:
        parts = LOCATE_SAMPLES if kind == B_LEVEL else max(LOCATE_SAMPLES, 4 * (last - first))
        step = 1e-5 * (high - low)
    # One call of `point` serves the scan, the two neighbours for the tangent and the trials: phases 0 to 3.
    reach = 0.25 * (high - low)
    best, gx, gy = 1e300, 0.0, 0.0
    phase, i, halvings, rounds = 0, 0, 0, 0
    t, ta, ax, ay, move = s, s, 0.0, 0.0, 0.0
    while rounds < 12:
        point(kind, par, face_kind, fpar, first, last, spans, t, work, out)
        px, py = out[2], out[3]
        if phase == 0:
            d = hypot(px - x, py - y)
            if d < best:
                best, s, gx, gy = d, t, x - px, y - py
            i += 1
            if i <= parts:
                t = low + (high - low) * i / parts
                continue
            phase = 1
        elif phase == 1:
            ax, ay, ta = px, py, t
            t = s + step
            if closed == 0:
                t = min(high, t)
            phase = 2
            continue
        elif phase == 2:
            tx, ty = (px - ax) / (t - ta), (py - ay) / (t - ta)
            speed = tx * tx + ty * ty
            if speed == 0.0:
                break
            move = min(reach, max(-reach, (gx * tx + gy * ty) / speed))
            halvings = 0
            phase = 3
        else:
            d = hypot(px - x, py - y)
            if d < best:
                gain = best - d
                best, s, gx, gy = d, t, x - px, y - py
                rounds += 1
                if gain < 1e-13 * (1.0 + abs(x) + abs(y)):
                    break
                phase = 1
            else:
                halvings += 1
                if halvings == 6:
                    break
                move *= 0.25
        if phase == 1:
            t = s - step
            if closed == 0:
                t = max(low, t)
        else:
            t = s + move
            if closed == 0:
                t = min(high, max(low, t))
    if closed == 1:
        turn = high - low
        s = s - turn * np.floor((s - low) / turn)
    return s, best


@njit(cache=True)
def collect(
    use_face: Any,
    use_piece: Any,
    use_sense: Any,
    rising: Any,
    low: Any,
    high: Any,
    first_node: Any,
    first_pair: Any,
    pair_low: Any,
    n_pairs: int,
) -> Any:
    """Node uses of every pair (face, plane): ``first`` (pairs + 1), ``node``, ``start``."""
    first = np.zeros(n_pairs + 1, np.int64)
    for u in range(len(use_face)):
        i, f = use_piece[u], use_face[u]
        base = first_pair[f] - pair_low[f]
        for k in range(low[i], high[i]):
            first[base + k + 1] += 1
    for p in range(n_pairs):
        first[p + 1] += first[p]
    node = np.empty(first[n_pairs], np.int64)
    start = np.empty(first[n_pairs], np.int64)
    at = np.empty(n_pairs, np.int64)
    for p in range(n_pairs):
        at[p] = first[p]
    for u in range(len(use_face)):
        i, f = use_piece[u], use_face[u]
        base = first_pair[f] - pair_low[f]
        # an oriented use that goes down through the plane is a start
        down = 1 if (rising[i] == 1) != (use_sense[u] == 1) else 0
        for k in range(low[i], high[i]):
            p = base + k
            node[at[p]] = first_node[i] + k - low[i]
            start[at[p]] = down
            at[p] += 1
    return first, node, start


@njit(cache=True)
def locate_all(
    first_use: Any,
    use_node: Any,
    points: Any,
    first_branch: Any,
    table: Any,
    par: Any,
    pair_face: Any,
    face_kind: Any,
    fpar: Any,
    first_span: Any,
    spans: Any,
) -> Any:
    """Nearest branch, parameter and distance of every node use; free faces are left at -1."""
    n = len(use_node)
    branch = np.full(n, -1, np.int64)
    s = np.zeros(n)
    distance = np.zeros(n)
    most = 2
    for i in range(len(spans[1])):
        most = max(most, spans[1][i])
    work = np.empty((most + 3, 4))
    out = np.empty(5)
    for p in range(len(pair_face)):
        f = pair_face[p]
        a, b = first_branch[p], first_branch[p + 1]
        for u in range(first_use[p], first_use[p + 1]):
            x, y = points[use_node[u], 0], points[use_node[u], 1]
            best = 1e300
            for r in range(a, b):
                if table[r, 0] == B_FREE:
                    continue
                t, d = locate(
                    table[r, 0],
                    table[r, 1],
                    par[r],
                    face_kind[f],
                    fpar[f],
                    first_span[f],
                    first_span[f + 1],
                    spans,
                    x,
                    y,
                    work,
                    out,
                )
                if d < best:
                    best = d
                    branch[u], s[u], distance[u] = r, t, d
    return branch, s, distance


@njit(cache=True)
def before(start: Any, s: Any, i: int, j: int) -> bool:
    """Order on a branch: by parameter; ties put the end first."""
    if s[i] != s[j]:
        return s[i] < s[j]
    return start[i] < start[j]


@njit(cache=True)
def mismatches(order: Any, a: int, b: int, start: Any, shift: int) -> int:
    """How many of a branch's nodes break the alternation start, end, ... when begun `shift` later."""
    n = b - a
    bad = 0
    for i in range(n):
        want = 1 if i % 2 == 0 else 0
        if start[order[a + (i + shift) % n]] != want:
            bad += 1
    return bad


@njit(cache=True)
def near(i: int, j: int, node: Any, points: Any, distance: Any) -> bool:
    """Whether two nodes are so close that their order on the branch is open."""
    d = hypot(
        points[node[i], 0] - points[node[j], 0],
        points[node[i], 1] - points[node[j], 1],
    )
    return d < NEAR + 2.0 * (distance[i] + distance[j])


@njit(cache=True)
def match(
    first_use: Any,
    node: Any,
    start: Any,
    branch: Any,
    s: Any,
    distance: Any,
    points: Any,
    first_branch: Any,
    table: Any,
) -> Any:
    """Pair starts with ends on each branch of each pair (face, plane).

    Returns
    -------
    segments : (k, 5) int64
        Pair, branch (-1: straight), use at the start, use at the end (-1: a whole closed branch, to be
        tested against the face), doubtful.
    counts : (4,) int64
        Swaps, straight connectors, doubtful loops, uses left over.
    """
    n_pairs = len(first_use) - 1
    segments = np.empty((len(node) + first_branch[-1] + 1, 5), np.int64)
    counts = np.zeros(4, np.int64)
    k = 0
    most = 1
    for p in range(n_pairs):
        most = max(most, first_use[p + 1] - first_use[p])
    order = np.empty(most, np.int64)
    loose = np.empty(most, np.int64)
    for p in range(n_pairs):
        n_loose = 0
        a, b = first_use[p], first_use[p + 1]
        for u in range(a, b):
            if branch[u] < 0:
                loose[n_loose] = u
                n_loose += 1
        for r in range(first_branch[p], first_branch[p + 1]):
            n = 0
            for u in range(a, b):
                if branch[u] == r:
                    j = n
                    while j > 0 and before(start, s, u, order[j - 1]):
                        order[j] = order[j - 1]
                        j -= 1
                    order[j] = u
                    n += 1
            if n == 0:
                if table[r, 1] == 1:
                    segments[k, 0], segments[k, 1], segments[k, 2] = p, r, -1
                    segments[k, 3], segments[k, 4] = -1, 0
                    k += 1
                continue
            closed = table[r, 1] == 1
            shift = 0
            if closed and start[order[0]] == 0:
                shift = 1
            if closed:
                while shift < n and start[order[shift]] == 0:
                    shift += 1
                shift = shift % n
            bad = mismatches(order, 0, n, start, shift)
            if bad > 0 or n % 2 == 1:
                # swap near neighbours that stand in the wrong order
                for i in range(n - 1 if not closed else n):
                    u, v = order[i], order[(i + 1) % n]
                    if start[u] != start[v] and near(u, v, node, points, distance):
                        order[i], order[(i + 1) % n] = v, u
                        trial_shift = 0
                        if closed:
                            while trial_shift < n and start[order[trial_shift]] == 0:
                                trial_shift += 1
                            trial_shift = trial_shift % n
                        trial = mismatches(order, 0, n, start, trial_shift)
                        if trial < bad:
                            bad, shift = trial, trial_shift
                            counts[0] += 1
                            # equal parameters: what was swapped runs no way
                            t = max(s[u], s[v])
                            s[u], s[v] = t, t
                        else:
                            order[i], order[(i + 1) % n] = u, v
            held = -1
            for i in range(n):
                u = order[(i + shift) % n]
                if start[u] == 1:
                    if held >= 0:
                        loose[n_loose] = held
                        n_loose += 1
                    held = u
                elif held >= 0:
                    doubtful = 0
                    if closed and n == 2 and node[held] != node[u] and near(held, u, node, points, distance):
                        doubtful = 1
                        counts[2] += 1
                    segments[k, 0], segments[k, 1], segments[k, 2] = p, r, held
                    segments[k, 3], segments[k, 4] = u, doubtful
                    k += 1
                    held = -1
                else:
                    loose[n_loose] = u
                    n_loose += 1
            if held >= 0:
                loose[n_loose] = held
                n_loose += 1
        # straight connectors, nearest first
        while n_loose > 0:
            best = 1e300
            bi, bj = -1, -1
            for i in range(n_loose):
                if start[loose[i]] == 0:
                    continue
                for j in range(n_loose):
                    if start[loose[j]] == 1:
                        continue
                    u, v = node[loose[i]], node[loose[j]]
                    d = hypot(points[u, 0] - points[v, 0], points[u, 1] - points[v, 1])
                    if d < best:
                        best, bi, bj = d, i, j
            if bi < 0:
                counts[3] += n_loose
                break
            segments[k, 0], segments[k, 1], segments[k, 2] = p, -1, loose[bi]
            segments[k, 3], segments[k, 4] = loose[bj], 0
            k += 1
            counts[1] += 1
            hi, lo = max(bi, bj), min(bi, bj)
            for i in (hi, lo):
                n_loose -= 1
                loose[i] = loose[n_loose]
    return k, segments, counts


@njit(cache=True)
def link(
    order: Any,
    seg_from: Any,
    seg_to: Any,
    seg_shell: Any,
    seg_plane: Any,
    n_nodes: int,
    n_planes: int,
    directions: Any,
) -> Any:
    """Order segments into chains: ``chain`` (segments in order), ``first`` of each chain, ``closed``, ``first_chain``."""
    n = len(seg_from)
    head = np.full(n_nodes, -1, np.int64)
    follow = np.full(n, -1, np.int64)
    comes = np.zeros(n_nodes, np.int64)
    for j in range(n - 1, -1, -1):
        i = order[j]
        if seg_from[i] >= 0:
            follow[i] = head[seg_from[i]]
            head[seg_from[i]] = i
            comes[seg_to[i]] += 1
    goes = np.zeros(n_nodes, np.int64)
    for i in range(n):
        if seg_from[i] >= 0:
            goes[seg_from[i]] += 1
    chain = np.empty(n, np.int64)
    first = np.empty(n + 1, np.int64)
    closed = np.empty(n, np.int64)
    first_chain = np.zeros(n_planes + 1, np.int64)
    used = np.zeros(n, np.int64)
    at, chains = 0, 0
    j = 0
    for plane in range(n_planes):
        j_end = j
        while j_end < n and seg_plane[order[j_end]] == plane:
            j_end += 1
        for turn in range(2):
            for m in range(j, j_end):
                i = order[m]
                if used[i] == 1:
                    continue
                if turn == 0 and (seg_from[i] < 0 or comes[seg_from[i]] >= goes[seg_from[i]]):
                    continue
                first[chains] = at
                closed[chains] = 0
                if seg_from[i] < 0:
                    used[i] = 1
                    chain[at] = i
                    at += 1
                    closed[chains] = 1
                    chains += 1
                    continue
                if turn == 0:
                    goes[seg_from[i]] -= 1
                current = i
                while True:
                    used[current] = 1
                    chain[at] = current
                    at += 1
                    node = seg_to[current]
                    choice = -1
                    best = -1e300
                    c = head[node]
                    if turn == 1 and node == seg_from[i]:
                        # come back: go on only if another way is better than closing here
                        closed[chains] = 1
                        break
                    while c >= 0:
                        if used[c] == 0:
                            # same shell first, then the sharpest turn towards the material
                            score = 10.0 if seg_shell[c] == seg_shell[current] else 0.0
                            ux, uy = directions[current, 2], directions[current, 3]
                            vx, vy = directions[c, 0], directions[c, 1]
                            score += atan2(ux * vy - uy * vx, ux * vx + uy * vy)
                            if score > best:
                                best, choice = score, c
                        c = follow[c]
                    if choice < 0:
                        break
                    current = choice
                chains += 1
        j = j_end
        first_chain[plane + 1] = chains
    first[chains] = at
    return chains, chain, first, closed, first_chain
