"""Which start belongs to which end."""

from __future__ import annotations

from math import hypot
from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel

NEAR = 1e-6


@kernel
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


@helper
def before(start: Any, s: Any, i: int, j: int) -> Any:
    """Order on a branch: by parameter; ties put the end first."""
    if s[i] != s[j]:
        return s[i] < s[j]
    return start[i] < start[j]


@helper
def mismatches(order: Any, a: int, b: int, start: Any, shift: int) -> int:
    """How many of a branch's nodes break the alternation start, end, ... when begun `shift` later."""
    n = b - a
    bad = 0
    for i in range(n):
        want = 1 if i % 2 == 0 else 0
        if start[order[a + (i + shift) % n]] != want:
            bad += 1
    return bad


@helper
def near(i: int, j: int, node: Any, points: Any, distance: Any) -> Any:
    """Whether two nodes are so close that their order on the branch is open."""
    d = hypot(
        points[node[i], 0] - points[node[j], 0],
        points[node[i], 1] - points[node[j], 1],
    )
    return d < NEAR + 2.0 * (distance[i] + distance[j])


@kernel
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
    pair_plane: Any,
    n_planes: int,
) -> Any:
    """Pair starts with ends on each branch of each pair (face, plane).

    Returns
    -------
    segments : (k, 5) int64
        Pair, branch, use at the start, use at the end (-1: a whole closed branch, to be tested against
        the face), doubtful.
    counts : (planes, 4) int64
        Swaps, 0, doubtful loops, 0: the others are counted by `rescue`.
    spare : (l, 2) int64
        Pair and use of the nodes left over, pair by pair.
    """
    n_pairs = len(first_use) - 1
    segments = np.empty((len(node) + first_branch[-1] + 1, 5), np.int64)
    counts = np.zeros((n_planes, 4), np.int64)
    k = 0
    most = 1
    for p in range(n_pairs):
        most = max(most, first_use[p + 1] - first_use[p])
    order = np.empty(most, np.int64)
    loose = np.empty(most, np.int64)
    spare = np.empty((len(node), 2), np.int64)
    n_spare = 0
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
                            counts[pair_plane[p], 0] += 1
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
                        counts[pair_plane[p], 2] += 1
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
        for i in range(n_loose):
            spare[n_spare, 0], spare[n_spare, 1] = p, loose[i]
            n_spare += 1
    return k, segments, counts, spare[:n_spare]
