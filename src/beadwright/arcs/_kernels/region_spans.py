"""Moves of paths cut into spans of at most a quarter turn."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.span import COLUMNS, put
from beadwright.compiled import kernel

# Bulge of a quarter turn, with room for rounding.
QUARTER = 0.41421356237309503 * (1.0 + 1e-12)


@kernel
def from_moves(
    points: Any, bulge: Any, first_point: Any, first_move: Any, x: float, y: float
) -> tuple[Any, Any, Any, Any]:
    """Spans of moves; moves of no length are left out, and paths of none but such.

    Parameters
    ----------
    points : (n, 2) float64
        Of all paths, mm.
    bulge : (m,) float64
        Of all moves; a path with as many moves as points is closed.
    first_point, first_move : (paths + 1,) int64
        Where each path begins.
    x, y : float
        Origin, taken from all points.

    Returns
    -------
    rows : (k, 10) float64
        Spans.
    move, after : (k,) int64
        Move of each span, and the span that follows, -1 at an open end.
    heads : (loops + 1,) int64
        First span of each path that has any; empty if a number is not finite or an arc above half a turn.
    """
    rows = np.empty((2 * len(bulge), COLUMNS))
    move = np.empty(2 * len(bulge), np.int64)
    after = np.empty(2 * len(bulge), np.int64)
    heads = np.zeros(len(first_move), np.int64)
    n = loops = 0
    for p in range(len(first_move) - 1):
        begin = n
        count = first_move[p + 1] - first_move[p]
        many = first_point[p + 1] - first_point[p]
        for i in range(count):
            m = first_move[p] + i
            a = first_point[p] + i
            b = first_point[p] + (i + 1) % many
            ax, ay, bx, by = points[a, 0] - x, points[a, 1] - y, points[b, 0] - x, points[b, 1] - y
            g = bulge[m]
            cx, cy = bx - ax, by - ay
            chord = np.hypot(cx, cy)
            if not (chord < np.inf and abs(g) <= 1.0 + 1e-9):
                return rows[:0], move[:0], after[:0], heads[:0]
            if chord == 0.0:
                continue
            k = 4.0 * g / ((1.0 + g * g) * chord)
            if abs(g) > QUARTER:
                # The middle of an arc lies g / 2 of the chord to the right of it.
                mx, my = 0.5 * (ax + bx + g * cy), 0.5 * (ay + by - g * cx)
                put(rows, n, ax, ay, mx, my, k)
                move[n], after[n] = m, n + 1
                n += 1
                ax, ay = mx, my
            put(rows, n, ax, ay, bx, by, k)
            move[n], after[n] = m, n + 1
            n += 1
        if n > begin:
            after[n - 1] = begin if count == many else -1
            loops += 1
            heads[loops] = n
    return rows[:n], move[:n], after[:n], heads[: loops + 1]
