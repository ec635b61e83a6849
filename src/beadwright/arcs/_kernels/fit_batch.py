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
    MOVE_COLUMNS,
    arc_bound,
)
from beadwright.arcs._kernels.fit_joints import (
    BREAK,
    BREAKS,
    COUNT,
    HELD,
    LAID,
    ROW,
    ROWS,
    TILT,
    WHAT,
    mend_joints,
)
from beadwright.arcs._kernels.fit_seam import LEAST_CLOSED, begin_elsewhere
from beadwright.arcs._kernels.fit_section import fit_section, move_tangent
from beadwright.arcs._kernels.fit_table import (
    COLUMNS,
    CORNER,
    TX,
    X,
    few_arcs,
    tabulate,
    tilt_at_end,
    turn_between,
)
from beadwright.compiled import helper, kernel

LINE, CIRCLE, CONNECTOR = 0, 1, 7
# 3 + 2 sqrt 2, and what a quarter turn's rounding may add: see `_circle_moves`.
SHIFTED = 5.83
# A quarter of a turn, rad, and a half, in halves, stay so in spite of rounding.
QUARTER_SLACK, HALF_SLACK = 1e-9, 1e-12
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
    """Split a CAD arc into as few equal moves as turn by at most a half: two are a circle.

    Up to a quarter turn each has the CAD's own radius. A move and its part of the CAD arc, two arcs of one
    radius whose ends lie within ``off`` of each other, are then at most (3 + 2 sqrt 2) off apart. Shift the part
    by at most ``off`` so that the starts agree: the ends then lie within 2 off. Turn the one with the shorter
    chord about the start until the chords agree in direction, which moves it by no more than the ends were
    apart, 2 off. The chords then differ by as much at most; a place at the share t of a sweep a,
    2 R sin(t a / 2) along the chord turned by (t - 1) a / 2, moves by R or less a radian of a, the chord by
    R cos(a / 2) >= R / sqrt 2: at most 2 sqrt 2 off.

    Beyond that the ends say little of the radius (at half a turn nothing: its square is lost in rounding), so a
    move has its part's own sweep s. At the share t it is p + (q - p) f, f = exp(i (t - 1) s / 2) sin(t s / 2) /
    sin(s / 2), linear in its ends, and |1 - f| + |f| <= 1 / cos(s / 4) <= sqrt 2. A sweep that rounding has
    beyond half a turn is taken as that, which moves no place by more than the chord times the bulge's excess.
    """
    cx, cy, radius, sweep = circle[0], circle[1], circle[2], circle[3]
    count = max(1, int(np.ceil(abs(sweep) / np.pi - HALF_SLACK)))
    start = np.arctan2(end[1] - cy, end[0] - cx)
    off = max(
        abs(np.hypot(end[0] - cx, end[1] - cy) - radius), abs(np.hypot(end[2] - cx, end[3] - cy) - radius)
    )
    # Where the arc ends along the circle, against where its sweep says.
    late = np.arctan2(end[3] - cy, end[2] - cx) - start - sweep
    late -= 2.0 * np.pi * np.floor(late / (2.0 * np.pi) + 0.5)
    rounding = 2.0**-50 * (abs(cx) + abs(cy) + radius)
    part = abs(sweep) / count
    wide = part > 0.5 * np.pi + QUARTER_SLACK
    own = np.tan(0.25 * part)
    x, y = end[0], end[1]
    for c in range(count):
        if c == count - 1:
            nx, ny = end[2], end[3]
        else:
            angle = start + sweep * (c + 1.0) / count
            nx, ny = cx + radius * np.cos(angle), cy + radius * np.sin(angle)
        chord = np.hypot(nx - x, ny - y)
        row = moves[n + c]
        row[M_BOUND] = SHIFTED * off + radius * abs(late) + rounding
        if wide:
            bulge = min(own, 1.0)
            row[M_BOUND] += radius * abs(late) + chord * (own - bulge)
        else:
            bulge = chord / (2.0 * radius + np.sqrt(max(4.0 * radius * radius - chord * chord, 0.0)))
        row[M_X], row[M_Y], row[M_BULGE], row[M_CURVE] = x, y, bulge if sweep > 0.0 else -bulge, curve
        row[M_Q0], row[M_T0], row[M_Q1], row[M_T1] = -1.0, 0.0, -1.0, 0.0
        row[M_EX], row[M_EY], row[M_KINK] = nx, ny, 0.0
        x, y = nx, ny
    return n + count


@helper
def _straight_move(end: Any, curve: int, first_piece: Any, moves: Any, n: int) -> int:
    """One straight move from end to end of a curve, which has Bézier pieces or none."""
    row = moves[n]
    q0, q1 = first_piece[curve], first_piece[curve + 1] - 1
    if q1 < q0:
        q0 = q1 = -1
    row[M_X], row[M_Y], row[M_BULGE], row[M_CURVE] = end[0], end[1], 0.0, curve
    row[M_Q0], row[M_T0], row[M_Q1], row[M_T1] = q0, 0.0, q1, 0.0 if q1 < 0 else 1.0
    row[M_BOUND], row[M_EX], row[M_EY], row[M_KINK] = 0.0, end[2], end[3], 0.0
    return n + 1


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
    tolerances: Any,
    stack: Any,
    depth: Any,
    marks: Any,
    tangents: Any,
    first_move: Any,
    bound: Any,
    failed: Any,
) -> Any:
    """Moves of all chains, each within its tolerance; where its moves begin, its bound, where it failed or -1.

    Scratch comes from the caller, for each array made here takes its time to compile: ``stack`` and
    ``depth`` as `arc_bound` has them, ``marks`` (n, MARKS) and ``tangents`` (n, TANGENTS), zero.
    """
    work = np.empty((stack.shape[1], 3))
    table, moves = np.empty((512, COLUMNS)), np.empty((256, MOVE_COLUMNS))
    breaks = np.empty(64, dtype=np.int64)
    open_ends = np.empty(2, dtype=np.int64)
    start, end = np.empty(2), np.empty(2)
    # Not a literal 0: numba would compile all that it is handed to a second time.
    n = np.int64(0)
    for chain in range(len(closed)):
        lo, hi = first_curve[chain], first_curve[chain + 1]
        failed[chain] = -1
        tolerance = tolerances[chain]
        used = known = np.int64(0)
        for c in range(lo, hi):
            if len(moves) < n + 16:
                moves = _grown(moves, n + 16)
            if kind[c] != LINE and kind[c] != CONNECTOR and kind[c] != CIRCLE:
                table, breaks, rows, corners = _tabulated(
                    first_piece[c], first_piece[c + 1], tolerance, 1.0, degree, first_control, control, work,
                    table, used, breaks, known,
                )  # fmt: skip
                if rows >= used + 2:
                    last = rows - 1
                    marks[c, WHAT] = 2
                    marks[c, ROW], marks[c, ROWS] = used, rows
                    marks[c, BREAK], marks[c, BREAKS] = known, corners
                    near, far = last, used
                    if corners > known:
                        near, far = breaks[known], breaks[corners - 1] + 1
                    for k in range(2):
                        tangents[c, k] = table[used, TX + k]
                        tangents[c, 2 + k] = table[last, TX + k]
                    tangents[c, TILT] = tilt_at_end(table, used, near, tolerance)
                    tangents[c, TILT + 1] = tilt_at_end(table, last, far, tolerance)
                    used, known = rows, corners
                    continue
            m = _plain_moves(kind[c], ends[c], circle[c], c, first_piece, moves, n)
            if m > n:
                marks[c, WHAT] = 1
                move_tangent(moves[n], 0, tangents[c], 0)
                move_tangent(moves[m - 1], 1, tangents[c], 2)
        _join(lo, hi, marks, tangents, closed[chain])
        for c in range(lo, hi):
            first = n
            if len(moves) < n + 16:
                moves = _grown(moves, n + 16)
            if marks[c, WHAT] == 2:
                density = 1.0
                begin, rows, b0, corners = marks[c, ROW], marks[c, ROWS], marks[c, BREAK], marks[c, BREAKS]
                worst = np.inf
                attempt = 0
                while True:
                    n = first
                    if attempt > 0:
                        density *= 3.0
                        begin, b0 = used, known
                        table, breaks, rows, corners = _tabulated(
                            first_piece[c], first_piece[c + 1], tolerance, density, degree, first_control,
                            control, work, table, used, breaks, known,
                        )  # fmt: skip
                    for k in range(2):
                        table[begin, X + k], table[rows - 1, X + k] = ends[c, k], ends[c, 2 + k]
                    if len(moves) < n + 3 * (rows - begin) + 16:
                        moves = _grown(moves, n + 3 * (rows - begin) + 16)
                    worst = 0.0
                    row = begin
                    for s in range(b0, corners + 1):
                        stop = breaks[s] if s < corners else rows - 1
                        for k in range(2):
                            start[k], end[k] = tangents[c, LAID + k], tangents[c, LAID + 2 + k]
                        if stop > row:
                            open_ends[0] = s > b0 or marks[c, HELD] == 0
                            open_ends[1] = s < corners or marks[c, HELD + 1] == 0
                            n, reached = fit_section(
                                table, row, stop, start, end, open_ends, tolerance,
                                attempt == REFINEMENTS, few_arcs(table, row, stop, tolerance), c,
                                degree, first_control, control, choose, work, stack, depth, moves, n,
                            )  # fmt: skip
                            worst = max(worst, reached)
                        row = stop + 1
                        if worst > tolerance:
                            break
                    if worst <= tolerance:
                        if hi - lo == 1 and corners == b0 and marks[c, HELD] == 1 and (
                            n - first > max(few_arcs(table, begin, rows - 1, tolerance), LEAST_CLOSED)
                        ):  # fmt: skip
                            if len(moves) < n + 3 * (rows - begin) + 16:
                                moves = _grown(moves, n + 3 * (rows - begin) + 16)
                            n, worst = begin_elsewhere(
                                table, begin, rows - 1, tolerance, c, first_piece[c],
                                first_piece[c + 1] - first_piece[c], degree, first_control, control, choose,
                                work, stack, depth, moves, first, n, worst,
                            )  # fmt: skip
                        break
                    if attempt == REFINEMENTS:
                        break
                    attempt += 1
                bound[chain] = max(bound[chain], worst)
            else:
                n = _plain_moves(kind[c], ends[c], circle[c], c, first_piece, moves, n)
                if first_piece[c + 1] > first_piece[c]:
                    # Nothing but a place, or too short to have a direction: a straight move, certified.
                    _straight_move(ends[c], c, first_piece, moves, first)
                    moves[first, M_BOUND] = arc_bound(
                        degree, first_control, control, moves[first], 0.0, choose, stack, depth
                    )
                    bound[chain] = max(bound[chain], moves[first, M_BOUND])
            marks[c, COUNT] = n - first
            for m in range(first, n):
                bound[chain] = max(bound[chain], moves[m, M_BOUND])
            if bound[chain] > tolerance and failed[chain] < 0:
                failed[chain] = c
        if hi - lo > 1 and failed[chain] < 0:
            if len(moves) < n + 3 * used + 32:
                moves = _grown(moves, n + 3 * used + 32)
            first = first_move[chain]
            m = mend_joints(
                table, marks, tangents, lo, hi, closed[chain], tolerance,
                degree, first_control, control, choose, work, stack, depth, moves, first, n,
            )  # fmt: skip
            if m < n:
                n = m
                bound[chain] = 0.0
                for m in range(first, n):
                    bound[chain] = max(bound[chain], moves[m, M_BOUND])
        first_move[chain + 1] = n
    return moves[:n]


@helper
def _plain_moves(
    kind: int, end: Any, circle: Any, curve: int, first_piece: Any, moves: Any, n: int
) -> int:  # fmt: skip
    """Moves of a curve that is a line or a circle, or is taken as a line; the next free row."""
    if kind == CIRCLE:
        return n if circle[3] == 0.0 else _circle_moves(end, circle, curve, moves, n)
    if end[0] == end[2] and end[1] == end[3]:
        return n
    return _straight_move(end, curve, first_piece, moves, n)


@helper
def _join(lo: int, hi: int, marks: Any, tangents: Any, is_closed: bool) -> None:
    """Settle the tangents where curves of a chain meet smoothly; all others stay free."""
    previous = -1
    n = hi - lo
    for step in range(2 * n if is_closed else n):
        i = lo + step % n
        if marks[i, WHAT] == 0:
            continue
        if previous >= 0:
            tx, ty, bx, by = tangents[previous, 2], tangents[previous, 3], tangents[i, 0], tangents[i, 1]
            turn = turn_between(tx, ty, bx, by)
            if abs(turn) <= CORNER:
                if marks[previous, WHAT] == 2 and marks[i, WHAT] == 2:
                    half = 0.5 * (turn + tangents[previous, TILT + 1] + tangents[i, TILT])
                    cosine, sine = np.cos(half), np.sin(half)
                    tx, ty = tx * cosine - ty * sine, tx * sine + ty * cosine
                elif marks[i, WHAT] != 2:
                    tx, ty = bx, by
                tangents[previous, LAID + 2], tangents[previous, LAID + 3] = tx, ty
                tangents[i, LAID], tangents[i, LAID + 1] = tx, ty
                marks[previous, HELD + 1] = marks[i, HELD] = 1
        if step >= n:
            break
        previous = i
