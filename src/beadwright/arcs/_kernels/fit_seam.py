"""Where a smooth closed curve begins: nothing of the CAD lies there, so its chain may begin elsewhere.

A chain of fewest arcs has its knots where the curve asks for them. A knot held at the place, and with the
tangent, where a closed curve happens to begin costs up to an arc or two, which tells where arcs are few.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.fit_certify import M_Q0, M_Q1, MOVE_COLUMNS
from beadwright.arcs._kernels.fit_layout import row_before
from beadwright.arcs._kernels.fit_plan import GOLDEN
from beadwright.arcs._kernels.fit_section import fit_section
from beadwright.arcs._kernels.fit_table import (
    AHEAD,
    ARCS,
    COLUMNS,
    KAPPA,
    LENGTH,
    PIECE,
    TX,
    TY,
    few_arcs,
    tilt_at_end,
)
from beadwright.compiled import helper

# No closed chain of tangent arcs but a circle has fewer arcs: its curvature has at least four extrema (the
# four-vertex theorem, for such chains by S. B. Jackson, Bulletin of the American Mathematical Society 50
# (1944) 564-578), each of them an arc. A circle that a file gives as a spline takes four, too.
LEAST_CLOSED = 4
# Beginnings that are tried, the curve's own first.
BEGINNINGS = 12
# The error of that spline is Bernoulli's polynomial of degree 3, whose slope is 1/2 at knots, -1/4 between them.
AT_MIDDLE = -0.5


@helper
def _steepest(table: Any, begin: int, stop: int) -> int:
    """Row where the curvature changes most: about its turning points arcs go on, between them they change."""
    at, most = begin, -1.0
    for p in range(begin, stop):
        length = table[p + 1, LENGTH] - table[p, LENGTH]
        slope = abs(table[p + 1, KAPPA] - table[p, AHEAD]) / length if length > 0.0 else 0.0
        if slope > most:
            at, most = p, slope
    return at


@helper
def _turned(table: Any, begin: int, stop: int, at: int, first: int, count: int, wide: Any) -> None:
    """Rows ``begin`` to ``stop`` of a closed curve as they are from row ``at`` on, to ``wide``.

    Its pieces, from ``first`` on, count from 0, and on beyond ``count`` where the curve is begun anew.
    """
    n = stop - begin
    arcs, length = table[stop, ARCS] - table[begin, ARCS], table[stop, LENGTH] - table[begin, LENGTH]
    for i in range(n + 1):
        p = at + i
        again = p > stop
        if again:
            p -= n
        row = wide[i]
        for column in range(COLUMNS):
            row[column] = table[p, column]
        if p == stop:
            row[AHEAD] = table[begin, AHEAD]
        row[PIECE] += (count if again else 0) - first
        row[ARCS] += (arcs if again else 0.0) - table[at, ARCS]
        row[LENGTH] += (length if again else 0.0) - table[at, LENGTH]


@helper
def begin_elsewhere(
    table: Any, begin: int, stop: int, tolerance: float, curve: int, first: int, count: int,
    degree: Any, first_control: Any, control: Any, choose: Any, work: Any, stack: Any, depth: Any,
    moves: Any, kept: int, n: int, worst: float,
) -> tuple[int, float]:  # fmt: skip
    """Moves [kept, n) of a smooth closed curve, or fewer from another beginning; the next free row, the bound.

    Held at each beginning is the tangent that the best arc spline of a steady curve has at a knot, then that in
    the middle of an arc, which may as well be two of one radius, then the mean of those that free ends would take.
    """
    wide_degree, wide_first = np.empty(2 * count, dtype=np.int64), np.empty(2 * count, dtype=np.int64)
    for q in range(2 * count):
        wide_degree[q], wide_first[q] = degree[first + q % count], first_control[first + q % count]
    wide = np.empty((stop - begin + 1, COLUMNS))
    steepest = _steepest(table, begin, stop)
    start, end = table[begin, TX : TX + 2].copy(), table[begin, TX : TX + 2].copy()
    free = np.empty(2, dtype=np.int64)
    few, at, last = max(few_arcs(table, begin, stop, tolerance), LEAST_CLOSED), begin, stop - begin
    arcs = table[stop, ARCS] - table[begin, ARCS]
    for turn in range(1, 4 * BEGINNINGS):
        way = turn % 4
        if way < 3 and n - kept <= few:
            break
        if way == 0:
            share = turn // 4 * GOLDEN
            goal = table[begin, ARCS] + (share - np.floor(share)) * arcs
            at = steepest if turn == 4 else row_before(table, begin, stop, ARCS, goal)
        if turn == 1 or way == 0:
            _turned(table, begin, stop, at, first, count, wide)
        if way < 2:
            tilt = tilt_at_end(wide, 0, last, tolerance) + tilt_at_end(wide, last, 0, tolerance)
            tilt *= 0.5 if way == 0 else 0.5 * AT_MIDDLE
            cosine, sine = np.cos(tilt), np.sin(tilt)
            start[0] = wide[0, TX] * cosine - wide[0, TY] * sine
            start[1] = wide[0, TX] * sine + wide[0, TY] * cosine
        elif way == 3:
            tx, ty = start[0] + end[0], start[1] + end[1]
            size = np.hypot(tx, ty)
            start[0], start[1] = tx / size, ty / size
        if way != 2:
            end[0], end[1] = start[0], start[1]
        free[0] = free[1] = way == 2
        m, reached = fit_section(
            wide, 0, last, start, end, free, tolerance, False, few, curve, wide_degree, wide_first,
            control, choose, work, stack, depth, moves, n,
        )  # fmt: skip
        if way == 2 or reached > tolerance or m - n >= n - kept:
            continue
        for i in range(m - n):
            for k in range(MOVE_COLUMNS):
                moves[kept + i, k] = moves[n + i, k]
            for k in (M_Q0, M_Q1):
                moves[kept + i, k] = first + moves[kept + i, k] % count
        n, worst = kept + m - n, reached
    return n, worst
