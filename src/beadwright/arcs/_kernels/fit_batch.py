"""All chains of a batch from exact curves to certified lines and arcs, in one call."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.fit_certify import (
    M_BOUND,
    M_BULGE,
    M_CURVE,
    M_EX,
    M_EY,
    M_KINK,
    M_Q0,
    M_Q1,
    M_T0,
    M_T1,
    M_X,
    M_Y,
    MAX_DEPTH,
    MOVE_COLUMNS,
    arc_bound,
)
from beadwright.arcs._kernels.fit_options import helper, kernel
from beadwright.arcs._kernels.fit_section import fit_section
from beadwright.arcs._kernels.fit_table import (
    COLUMNS,
    CORNER,
    TX,
    TY,
    X,
    Y,
    tabulate,
    tilt_at_end,
    turn_between,
)

LINE, CIRCLE, CONNECTOR = 0, 1, 7
# How often a curve is tabulated again, each time finer, where its sections cannot be fitted.
REFINEMENTS = 3


@helper
def _grown(rows: Any, needed: int) -> Any:
    """The same rows with room for ``needed`` and as many again."""
    more = np.empty((2 * needed, rows.shape[1]))
    for i in range(len(rows)):
        for j in range(rows.shape[1]):
            more[i, j] = rows[i, j]
    return more


@helper
def _tabulated(
    first: int, last: int, tolerance: float, density: float, degree: Any, first_control: Any, control: Any,
    work: Any, table: Any, offset: int, breaks: Any, before: int,
) -> Any:  # fmt: skip
    """`tabulate`, with more room where it is needed: the table, the corners, and the ends of both."""
    while True:
        rows, corners = tabulate(
            first, last, tolerance, density, degree, first_control, control, work, table, offset, breaks,
            before,
        )  # fmt: skip
        if rows >= 0:
            return table, breaks, rows, corners
        table = _grown(table, len(table))
        more = np.empty(2 * len(breaks), dtype=np.int64)
        for j in range(len(breaks)):
            more[j] = breaks[j]
        breaks = more


@helper
def _circle_moves(end: Any, circle: Any, curve: int, moves: Any, n: int) -> int:
    """Split a CAD arc into equal moves of at most a quarter turn, each of the CAD's own radius."""
    cx, cy, radius, sweep = circle[0], circle[1], circle[2], circle[3]
    count = max(1, int(np.ceil(abs(sweep) / (0.5 * np.pi) - 1e-9)))
    start = np.arctan2(end[1] - cy, end[0] - cx)
    off = max(
        abs(np.hypot(end[0] - cx, end[1] - cy) - radius), abs(np.hypot(end[2] - cx, end[3] - cy) - radius)
    )
    # Where the arc ends along the circle, against where its sweep says.
    late = np.arctan2(end[3] - cy, end[2] - cx) - start - sweep
    late -= 2.0 * np.pi * np.floor(late / (2.0 * np.pi) + 0.5)
    rounding = 2.0**-50 * (abs(cx) + abs(cy) + radius)
    x, y = end[0], end[1]
    for c in range(count):
        if c == count - 1:
            nx, ny = end[2], end[3]
        else:
            angle = start + sweep * (c + 1.0) / count
            nx, ny = cx + radius * np.cos(angle), cy + radius * np.sin(angle)
        chord = np.hypot(nx - x, ny - y)
        bulge = chord / (2.0 * radius + np.sqrt(max(4.0 * radius * radius - chord * chord, 0.0)))
        row = moves[n + c]
        row[M_X], row[M_Y], row[M_BULGE], row[M_CURVE] = x, y, bulge if sweep > 0.0 else -bulge, curve
        row[M_Q0], row[M_T0], row[M_Q1], row[M_T1] = -1.0, 0.0, -1.0, 0.0
        # An arc of the same radius, its ends off by `off`: moved rigidly, that is at most thrice as much.
        row[M_BOUND] = 3.0 * off + radius * abs(late) + rounding
        row[M_EX], row[M_EY], row[M_KINK] = nx, ny, 0.0
        x, y = nx, ny
    return n + count


@helper
def _straight_move(end: Any, curve: int, q0: int, q1: int, moves: Any, n: int) -> int:
    """One straight move from end to end of a curve."""
    row = moves[n]
    row[M_X], row[M_Y], row[M_BULGE], row[M_CURVE] = end[0], end[1], 0.0, curve
    row[M_Q0], row[M_T0], row[M_Q1], row[M_T1] = q0, 0.0, q1, 1.0
    row[M_BOUND], row[M_EX], row[M_EY], row[M_KINK] = 0.0, end[2], end[3], 0.0
    return n + 1


@helper
def _move_tangents(row: Any, res: Any) -> None:
    """Unit tangents at the start and the end of a move."""
    cx, cy = row[M_EX] - row[M_X], row[M_EY] - row[M_Y]
    chord, b = np.hypot(cx, cy), row[M_BULGE]
    s, c = 2.0 * b / (1.0 + b * b), (1.0 - b) * (1.0 + b) / (1.0 + b * b)
    res[0], res[1] = (cx * c + cy * s) / chord, (cy * c - cx * s) / chord
    res[2], res[3] = (cx * c - cy * s) / chord, (cy * c + cx * s) / chord


@kernel
def fit_batch(
    kind: Any,
    ends: Any,
    circle: Any,
    first_piece: Any,
    degree: Any,
    first_control: Any,
    control: Any,
    first_curve: Any,
    closed: Any,
    choose: Any,
    tolerance: float,
) -> Any:
    """Moves of all chains, where each chain's begin, its bound, and the curve where it failed or -1."""
    order = len(choose) // 2 + 2
    work = np.empty((order, 3))
    stack = np.empty((MAX_DEPTH + 3, max(order, 4), 3))
    depth = np.empty(MAX_DEPTH + 3, dtype=np.int64)
    table, moves = np.empty((512, COLUMNS)), np.empty((256, MOVE_COLUMNS))
    breaks = np.empty(64, dtype=np.int64)
    chains = len(closed)
    first_move = np.zeros(chains + 1, dtype=np.int64)
    bound, failed = np.zeros(chains), np.empty(chains, dtype=np.int64)
    pair, start, end = np.empty(4), np.empty(2), np.empty(2)
    open_ends = np.empty(2, dtype=np.bool_)
    n = 0
    for chain in range(chains):
        lo, hi = first_curve[chain], first_curve[chain + 1]
        failed[chain] = -1
        # What each curve is here (0 nothing, 1 moves as they are, 2 a spline), its rows, its end tangents
        # (start x, y, end x, y; raw, then as the chain has them), the tilts that knots there would take,
        # and whether the chain's tangents are free.
        what = np.zeros(hi - lo, dtype=np.int64)
        raw, laid, tilts = np.zeros((hi - lo, 4)), np.zeros((hi - lo, 4)), np.zeros((hi - lo, 2))
        free = np.ones((hi - lo, 2), dtype=np.bool_)
        # Rows of each spline's table and its corners in `breaks`.
        spot = np.zeros((hi - lo, 4), dtype=np.int64)
        used = known = 0
        for c in range(lo, hi):
            moved = ends[c, 0] != ends[c, 2] or ends[c, 1] != ends[c, 3]
            if len(moves) < n + 16:
                moves = _grown(moves, n + 16)
            m = n
            if kind[c] == LINE or kind[c] == CONNECTOR:
                if moved:
                    m = _straight_move(ends[c], c, -1, -1, moves, n)
            elif kind[c] == CIRCLE:
                if circle[c, 3] != 0.0:
                    m = _circle_moves(ends[c], circle[c], c, moves, n)
            else:
                table, breaks, rows, corners = _tabulated(
                    first_piece[c], first_piece[c + 1], tolerance, 1.0, degree, first_control, control, work,
                    table, used, breaks, known,
                )  # fmt: skip
                if rows >= used + 2:
                    what[c - lo] = 2
                    begin, last = used, rows - 1
                    spot[c - lo, 0], spot[c - lo, 1], spot[c - lo, 2], spot[c - lo, 3] = (
                        used,
                        rows,
                        known,
                        corners,
                    )
                    raw[c - lo, 0], raw[c - lo, 1] = table[begin, TX], table[begin, TY]
                    raw[c - lo, 2], raw[c - lo, 3] = table[last, TX], table[last, TY]
                    near, far = last, begin
                    if corners > known:
                        near, far = breaks[known], breaks[corners - 1] + 1
                    tilts[c - lo, 0] = tilt_at_end(table, begin, near, False, tolerance)
                    tilts[c - lo, 1] = tilt_at_end(table, far, last, True, tolerance)
                    used, known = rows, corners
                elif moved:
                    m = _straight_move(ends[c], c, first_piece[c], first_piece[c + 1] - 1, moves, n)
            if m > n:
                what[c - lo] = 1
                _move_tangents(moves[n], pair)
                raw[c - lo, 0], raw[c - lo, 1] = pair[0], pair[1]
                _move_tangents(moves[m - 1], pair)
                raw[c - lo, 2], raw[c - lo, 3] = pair[2], pair[3]
        _join(what, raw, laid, tilts, free, closed[chain])
        for c in range(lo, hi):
            if len(moves) < n + 16:
                moves = _grown(moves, n + 16)
            i = c - lo
            first = n
            if what[i] == 2:
                density = 1.0
                begin, rows, b0, corners = spot[i, 0], spot[i, 1], spot[i, 2], spot[i, 3]
                for attempt in range(REFINEMENTS + 1):
                    n = first
                    if attempt > 0:
                        density *= 3.0
                        begin, b0 = used, known
                        table, breaks, rows, corners = _tabulated(
                            first_piece[c], first_piece[c + 1], tolerance, density, degree, first_control,
                            control, work, table, used, breaks, known,
                        )  # fmt: skip
                    table[begin, X], table[begin, Y] = ends[c, 0], ends[c, 1]
                    table[rows - 1, X], table[rows - 1, Y] = ends[c, 2], ends[c, 3]
                    if len(moves) < n + 3 * (rows - begin) + 16:
                        moves = _grown(moves, n + 3 * (rows - begin) + 16)
                    worst = 0.0
                    for s in range(b0, corners + 1):
                        stop = breaks[s] if s < corners else rows - 1
                        start[0], start[1], end[0], end[1] = laid[i, 0], laid[i, 1], laid[i, 2], laid[i, 3]
                        if stop > begin:
                            open_ends[0] = s > b0 or free[i, 0]
                            open_ends[1] = s < corners or free[i, 1]
                            n, reached = fit_section(
                                table, begin, stop, start, end, open_ends, tolerance,
                                attempt == REFINEMENTS, c, degree, first_control, control,
                                choose, work, stack, depth, moves, n,
                            )  # fmt: skip
                            worst = max(worst, reached)
                        begin = stop + 1
                        if worst > tolerance:
                            break
                    if worst <= tolerance:
                        break
                bound[chain] = max(bound[chain], worst)
                if worst > tolerance and failed[chain] < 0:
                    failed[chain] = c
            elif what[i] == 1:
                if kind[c] == CIRCLE:
                    n = _circle_moves(ends[c], circle[c], c, moves, n)
                elif kind[c] == LINE or kind[c] == CONNECTOR:
                    n = _straight_move(ends[c], c, -1, -1, moves, n)
                else:
                    n = _straight_move(ends[c], c, first_piece[c], first_piece[c + 1] - 1, moves, n)
            if what[i] < 2 and kind[c] != CIRCLE and kind[c] != LINE and kind[c] != CONNECTOR:
                # Nothing but a place, or too short to have a direction: a straight move, certified.
                _straight_move(ends[c], c, first_piece[c], first_piece[c + 1] - 1, moves, n)
                reached = arc_bound(degree, first_control, control, moves[n], 0.0, choose, stack, depth)
                bound[chain] = max(bound[chain], reached)
                if n > first:
                    moves[first, M_BOUND] = reached
            for m in range(first, n):
                bound[chain] = max(bound[chain], moves[m, M_BOUND])
            if bound[chain] > tolerance and failed[chain] < 0:
                failed[chain] = c
        first_move[chain + 1] = n
    return moves[:n], first_move, bound, failed


@helper
def _join(what: Any, raw: Any, laid: Any, tilts: Any, free: Any, is_closed: bool) -> None:
    """Settle the tangents where curves of a chain meet smoothly; all others stay free."""
    previous = -1
    n = len(what)
    for step in range(2 * n if is_closed else n):
        i = step % n
        if what[i] == 0:
            continue
        if previous >= 0:
            ax, ay, bx, by = raw[previous, 2], raw[previous, 3], raw[i, 0], raw[i, 1]
            if abs(turn_between(ax, ay, bx, by)) <= CORNER:
                if what[previous] == 2 and what[i] == 2:
                    half = 0.5 * (turn_between(ax, ay, bx, by) + tilts[previous, 1] + tilts[i, 0])
                    tx = ax * np.cos(half) - ay * np.sin(half)
                    ty = ax * np.sin(half) + ay * np.cos(half)
                elif what[i] == 2:
                    tx, ty = ax, ay
                else:
                    tx, ty = bx, by
                if what[previous] == 2:
                    laid[previous, 2], laid[previous, 3] = tx, ty
                    free[previous, 1] = False
                if what[i] == 2:
                    laid[i, 0], laid[i, 1] = tx, ty
                    free[i, 0] = False
        if step >= n:
            break
        previous = i
