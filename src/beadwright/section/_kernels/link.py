"""Segments in the order in which they close chains."""

from __future__ import annotations

from math import atan2
from typing import Any

import numpy as np

from beadwright.compiled import kernel


@kernel
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
    """Chains: their count, segments in order, first of each, closed, first chain of each plane."""
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
