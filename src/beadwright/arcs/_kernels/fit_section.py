"""One section of a spline, from a table of places to certified moves."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.fit_bezier import tangent_and_curvature
from beadwright.arcs._kernels.fit_biarc import KINK, bulge_of, hidden_radius, single_arc, try_arc, try_biarc
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
    arc_bound,
)
from beadwright.arcs._kernels.fit_layout import MAX_TURN, rise_at, row_before
from beadwright.arcs._kernels.fit_plan import plan
from beadwright.arcs._kernels.fit_table import (
    ARCS,
    LENGTH,
    PIECE,
    SCALE,
    THETA,
    TX,
    TY,
    T,
    X,
    Y,
    integrate,
    turn_between,
)
from beadwright.compiled import helper

# Columns of a node: row before it, piece, t, x, y, tangent x, y, and the curve's own point there.
N_ROW, N_PIECE, N_T, N_X, N_Y, N_TX, N_TY, N_CX, N_CY, NODE = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9
# Share of the tolerance that the plan may use up; the arcs stray a little more than their plan.
PLANNED = 0.985
# What the certificate need not tell more closely: each bound may be a hundredth above this share of the
# tolerance, and was above the one before where that bound was the measure.
SEED = 0.97
# Below this half of a turn, rad, its tangent is itself.
SMALL = 1e-6
# How often a section is planned again, each time with less.
TIGHTENINGS = 8


@helper
def _place_node(
    table: Any, i0: int, i1: int, knots: Any, c: Any, j: int, node: Any,
    degree: Any, first_control: Any, control: Any, work: Any, out: Any,
) -> None:  # fmt: skip
    """Point and tangent of the chain at an inner knot: the curve's own, moved and turned as planned."""
    p = row_before(table, i0, i1, LENGTH, knots[j])
    h = table[p + 1, LENGTH] - table[p, LENGTH]
    q = int(table[p + 1, PIECE])
    lo = table[p, T] if int(table[p, PIECE]) == q else 0.0
    rate = (table[p + 1, T] - lo) / h if h > 0.0 else 0.0
    t = lo + rate * (knots[j] - table[p, LENGTH])
    x = y = tx = ty = s = 0.0
    for _ in range(3):
        t = min(max(t, lo), table[p + 1, T])
        x, y, tx, ty, _ = tangent_and_curvature(control, first_control[q], degree[q], t, work, out)
        # The length where that place really is: along the row's chord.
        bow = 0.5 * turn_between(table[p, TX], table[p, TY], tx, ty)
        s = table[p, LENGTH] + np.hypot(x - table[p, X], y - table[p, Y]) * (1.0 + bow * bow / 6.0)
        if abs(s - knots[j]) < 1e-6 * h:
            break
        t += rate * (knots[j] - s)
    rise, theta = rise_at(table, p, s)
    left, right = knots[j] - knots[j - 1], knots[j + 1] - knots[j]
    slope = 2.0 * (c[j + 1] - c[j]) / (left + right)
    # The spline at that very length: its slope may be any angle, so that a millionth of a row tells.
    off = (c[j] * right + c[j + 1] * left) / (left + right) + slope * (s - knots[j]) - rise
    tilt = slope - theta
    node[N_ROW], node[N_PIECE], node[N_T] = p, q, t
    node[N_CX], node[N_CY] = x, y
    node[N_X], node[N_Y] = x - off * ty, y + off * tx
    cosine, sine = np.cos(tilt), np.sin(tilt)
    node[N_TX], node[N_TY] = cosine * tx - sine * ty, sine * tx + cosine * ty
    # The curve's place opposite the node is on the chain's normal there.
    for _ in range(2):
        along = (node[N_CX] - node[N_X]) * node[N_TX] + (node[N_CY] - node[N_Y]) * node[N_TY]
        node[N_T] = min(max(node[N_T] - along * rate, 0.0), 1.0)
        x, y, tx, ty, _ = tangent_and_curvature(control, first_control[q], degree[q], node[N_T], work, out)
        node[N_CX], node[N_CY] = x, y


@helper
def _joint_place(
    table: Any, a: Any, b: Any, joint: Any,
    degree: Any, first_control: Any, control: Any, work: Any, out: Any,
) -> tuple[int, float]:  # fmt: skip
    """Piece and t where the curve between two nodes crosses the normal through a biarc's joint."""
    jx, jy, ux, uy = joint[0], joint[1], joint[2], joint[3]
    lo_q, lo_t, f_lo = int(a[N_PIECE]), a[N_T], (a[N_CX] - jx) * ux + (a[N_CY] - jy) * uy
    q, hi, f_hi = int(b[N_PIECE]), b[N_T], (b[N_CX] - jx) * ux + (b[N_CY] - jy) * uy
    for p in range(int(a[N_ROW]) + 1, int(b[N_ROW]) + 1):
        f = (table[p, X] - jx) * ux + (table[p, Y] - jy) * uy
        if f >= 0.0:
            q, hi, f_hi = int(table[p, PIECE]), table[p, T], f
            break
        lo_q, lo_t, f_lo = int(table[p, PIECE]), table[p, T], f
    lo = lo_t if lo_q == q else 0.0
    if f_lo >= 0.0 or f_hi <= 0.0:
        return (lo_q, lo_t) if f_lo >= 0.0 else (q, hi)
    t = lo
    side = 0
    for step in range(60):
        t = (lo * f_hi - hi * f_lo) / (f_hi - f_lo) if step < 40 else 0.5 * (lo + hi)
        t = min(max(t, lo), hi)
        x, y, _, _, _ = tangent_and_curvature(control, first_control[q], degree[q], t, work, out)
        f = (x - jx) * ux + (y - jy) * uy
        if abs(f) < 1e-12 or hi - lo < 1e-16:
            break
        # The Illinois rule: the end that stays loses half its weight.
        if f < 0.0:
            lo, f_lo = t, f
            if side < 0:
                f_hi *= 0.5
            side = -1
        else:
            hi, f_hi = t, f
            if side > 0:
                f_lo *= 0.5
            side = 1
    return q, t


@helper
def _write_move(
    a: Any, b: Any, q: int, t: float, bulge: float, worst: float, curve: int,
    degree: Any, first_control: Any, control: Any, choose: Any, stack: Any, depth: Any, row: Any,
) -> None:  # fmt: skip
    """Fill a move from (x, y, piece, t) to a point and certify it."""
    if abs(bulge) < 1e-12:
        bulge = 0.0
    row[M_X], row[M_Y], row[M_BULGE], row[M_CURVE] = a[0], a[1], bulge, curve
    row[M_Q0], row[M_T0], row[M_Q1], row[M_T1] = a[2], a[3], q, t
    row[M_EX], row[M_EY], row[M_KINK] = b[0], b[1], 0.0
    row[M_BOUND] = arc_bound(degree, first_control, control, row, worst, choose, stack, depth)


@helper
def move_tangent(row: Any, end: int, res: Any, at: int) -> None:
    """Unit tangent at the start (0) or the end (1) of a move, to ``res`` from there on."""
    cx, cy = row[M_EX] - row[M_X], row[M_EY] - row[M_Y]
    chord, b = np.hypot(cx, cy), row[M_BULGE]
    s, c = 2.0 * b / (1.0 + b * b), (1.0 - b) * (1.0 + b) / (1.0 + b * b)
    if end > 0:
        s = -s
    res[at], res[at + 1] = (cx * c + cy * s) / chord, (cy * c - cx * s) / chord


@helper
def _is_ahead(p: float, t: float, q: float, u: float) -> bool:
    """Whether the place (q, u) comes after (p, t) on the curve."""
    return bool(p < q or (p == q and t < u))


@helper
def _tangent_length(n: int, knots: Any, c: Any, i: int) -> float:
    """Distance from the ends of a planned arc to the corner of its tangents."""
    a, b = knots[i], knots[i + 1]
    before = 2.0 * (c[i + 1] - c[i]) / (b - knots[max(i - 1, 0)])
    after = 2.0 * (c[i + 2] - c[i + 1]) / (knots[min(i + 2, n)] - a)
    half = 0.5 * min(abs(after - before), 2.0)
    return float((b - a) * (np.tan(half) / half if half > SMALL else 1.0))


@helper
def _realise(
    table: Any, i0: int, i1: int, count: int, knots: Any, c: Any, start: Any, end: Any, curve: int,
    degree: Any, first_control: Any, control: Any, choose: Any, work: Any, stack: Any, depth: Any,
    moves: Any, n: int, most: float,
) -> tuple[int, float]:  # fmt: skip
    """Moves of a plan: biarcs between every second knot, one arc first if their number is odd."""
    out, joint = np.empty(6), np.empty(4)
    a, b = np.empty(NODE), np.empty(NODE)
    begin, stop = np.empty(4), np.empty(2)
    a[N_ROW], a[N_PIECE], a[N_T] = i0, table[i0, PIECE], table[i0, T]
    a[N_X], a[N_Y], a[N_CX], a[N_CY] = table[i0, X], table[i0, Y], table[i0, X], table[i0, Y]
    a[N_TX], a[N_TY] = start[0], start[1]
    worst = 0.0
    first = n
    done = 0
    while done < count:
        step = 1 if (count - done) % 2 == 1 else 2
        if done + step < count:
            _place_node(table, i0, i1, knots, c, done + step, b, degree, first_control, control, work, out)
            if step == 1:
                # The end tangent as planned; so the chord's direction is known, and the end on the normal.
                half = 0.5 * turn_between(a[N_TX], a[N_TY], b[N_TX], b[N_TY])
                ux, uy = np.cos(half), np.sin(half)
                ux, uy = a[N_TX] * ux - a[N_TY] * uy, a[N_TX] * uy + a[N_TY] * ux
                along = (b[N_CX] - a[N_X]) * b[N_TX] + (b[N_CY] - a[N_Y]) * b[N_TY]
                along /= ux * b[N_TX] + uy * b[N_TY]
                if not along > 0.0:
                    return first, np.inf
                b[N_X], b[N_Y] = a[N_X] + along * ux, a[N_Y] + along * uy
        else:
            b[N_ROW], b[N_PIECE], b[N_T] = i1 - 1, table[i1, PIECE], table[i1, T]
            b[N_X], b[N_Y], b[N_CX], b[N_CY] = table[i1, X], table[i1, Y], table[i1, X], table[i1, Y]
            b[N_TX], b[N_TY] = end[0], end[1]
        begin[0], begin[1], begin[2], begin[3] = a[N_X], a[N_Y], a[N_PIECE], a[N_T]
        if step == 2:
            ratio = _tangent_length(count, knots, c, done) / _tangent_length(count, knots, c, done + 1)
            stray = try_biarc(
                table, int(a[N_ROW]) + 1, int(b[N_ROW]) + 1, a[N_X], a[N_Y], a[N_TX], a[N_TY],
                b[N_X], b[N_Y], b[N_TX], b[N_TY], ratio, most, joint,
            )  # fmt: skip
            if not stray < np.inf:
                return first, np.inf
            q, t = _joint_place(table, a, b, joint, degree, first_control, control, work, out)
            if not _is_ahead(a[N_PIECE], a[N_T], q, t) or not _is_ahead(q, t, b[N_PIECE], b[N_T]):
                return first, np.inf
            stop[0], stop[1] = joint[0], joint[1]
            bulge = bulge_of(a[N_TX], a[N_TY], stop[0] - begin[0], stop[1] - begin[1])
            _write_move(
                begin, stop, q, t, bulge, min(worst, most), curve,
                degree, first_control, control, choose, stack, depth, moves[n],
            )  # fmt: skip
            worst = max(worst, moves[n, M_BOUND])
            n += 1
            begin[0], begin[1], begin[2], begin[3] = stop[0], stop[1], q, t
            # Seen from its end, so that the end's tangent holds to rounding.
            bulge = -bulge_of(-b[N_TX], -b[N_TY], begin[0] - b[N_X], begin[1] - b[N_Y])
        else:
            if not _is_ahead(a[N_PIECE], a[N_T], b[N_PIECE], b[N_T]):
                return first, np.inf
            bulge = bulge_of(a[N_TX], a[N_TY], b[N_X] - begin[0], b[N_Y] - begin[1])
        stop[0], stop[1] = b[N_X], b[N_Y]
        _write_move(
            begin, stop, int(b[N_PIECE]), b[N_T], bulge, min(worst, most), curve,
            degree, first_control, control, choose, stack, depth, moves[n],
        )  # fmt: skip
        worst = max(worst, moves[n, M_BOUND])
        n += 1
        for k in range(NODE):
            a[k] = b[k]
        done += step
    return n, worst


@helper
def _circle_section(
    table: Any, i0: int, i1: int, radius: float, curve: int,
    degree: Any, first_control: Any, control: Any, choose: Any, stack: Any, depth: Any, moves: Any, n: int,
) -> tuple[int, float]:  # fmt: skip
    """Moves of about a quarter turn at most along a circle of known signed radius, from row to row."""
    begin, stop = np.empty(4), np.empty(2)
    worst = 0.0
    p = i0
    while p < i1:
        q = p
        turned = 0.0
        while q < i1:
            step = abs(turn_between(table[q, TX], table[q, TY], table[q + 1, TX], table[q + 1, TY]))
            if q > p and turned + step > MAX_TURN:
                break
            turned += step
            q += 1
        begin[0], begin[1], begin[2], begin[3] = table[p, X], table[p, Y], table[p, PIECE], table[p, T]
        stop[0], stop[1] = table[q, X], table[q, Y]
        chord = np.hypot(stop[0] - begin[0], stop[1] - begin[1])
        root = np.sqrt(max(4.0 * radius * radius - chord * chord, 0.0))
        bulge = chord / (2.0 * abs(radius) + root)
        _write_move(
            begin, stop, int(table[q, PIECE]), table[q, T], bulge if radius > 0.0 else -bulge, worst, curve,
            degree, first_control, control, choose, stack, depth, moves[n],
        )  # fmt: skip
        worst = max(worst, moves[n, M_BOUND])
        n += 1
        p = q
    return n, worst


@helper
def fit_section(
    table: Any, i0: int, i1: int, start: Any, end: Any, free: Any, tolerance: float, force: bool, few: int,
    curve: int, degree: Any, first_control: Any, control: Any, choose: Any, work: Any, stack: Any, depth: Any,
    moves: Any, n: int,
) -> tuple[int, float]:  # fmt: skip
    """Fit one section; the next free row and the greatest bound, which is above the tolerance if it failed.

    ``start`` and ``end`` are the tangents that the chain must have there unless ``free``; then they change.
    More arcs than ``few`` are tried to be made fewer.
    """
    reached = np.inf
    tilts, res = np.empty(2), np.empty(4)
    tilts[0] = tilts[1] = 0.0
    arcs = table[i1, ARCS] - table[i0, ARCS]
    first, last = table[i0], table[i1]
    short = np.hypot(last[X] - first[X], last[Y] - first[Y]) < 0.5 * tolerance
    if arcs < 2.5 or short or i1 - i0 == 1:
        # One arc, if it happens to be tangent where it must.
        bulge, stray = 0.0, np.inf
        if free[0] and free[1]:
            bulge, stray = single_arc(table, i0, i1)
        elif not free[0]:
            stray = try_arc(table, i0, i1, start[0], start[1], res)
            if not free[1] and not abs(turn_between(res[0], res[1], end[0], end[1])) <= KINK:
                stray = np.inf
            bulge = bulge_of(start[0], start[1], last[X] - first[X], last[Y] - first[Y])
        else:
            # From its end backwards.
            bulge = -bulge_of(-end[0], -end[1], first[X] - last[X], first[Y] - last[Y])
            stray = 0.0 if abs(bulge) < 0.5 else np.inf
        if stray <= tolerance:
            begin, stop = np.empty(4), np.empty(2)
            begin[0], begin[1], begin[2], begin[3] = first[X], first[Y], first[PIECE], first[T]
            stop[0], stop[1] = last[X], last[Y]
            _write_move(
                begin, stop, int(last[PIECE]), last[T], bulge, 0.0, curve,
                degree, first_control, control, choose, stack, depth, moves[n],
            )  # fmt: skip
            reached = moves[n, M_BOUND]
            if reached <= tolerance:
                if free[0]:
                    move_tangent(moves[n], 0, start, 0)
                if free[1]:
                    move_tangent(moves[n], 1, end, 0)
                return n + 1, reached
    radius = hidden_radius(table, i0, i1, start, end, free)
    if radius != 0.0:
        m, worst = _circle_section(
            table, i0, i1, radius, curve, degree, first_control, control, choose, stack, depth, moves, n
        )
        if worst <= tolerance:
            return m, worst
    integrate(table, i0, i1)
    if not free[0]:
        tilts[0] = turn_between(first[TX], first[TY], start[0], start[1])
    if not free[1]:
        tilts[1] = turn_between(last[TX], last[TY], end[0], end[1])
    goal = PLANNED * tolerance
    least = 2
    count, knots = np.int64(0), np.empty(0)
    for turn in range(TIGHTENINGS):
        count, knots, c = plan(table, i0, i1, tilts, free, goal, least, few, count, knots)
        if count == 0:
            break
        if free[0]:
            tilt = 2.0 * (c[1] - c[0]) / (knots[1] - knots[0])
            start[0] = first[TX] * np.cos(tilt) - first[TY] * np.sin(tilt)
            start[1] = first[TX] * np.sin(tilt) + first[TY] * np.cos(tilt)
        if free[1]:
            tilt = 2.0 * (c[count + 1] - c[count]) / (knots[count] - knots[count - 1]) - last[THETA]
            end[0] = last[TX] * np.cos(tilt) - last[TY] * np.sin(tilt)
            end[1] = last[TX] * np.sin(tilt) + last[TY] * np.cos(tilt)
        m, worst = _realise(
            table, i0, i1, count, knots, c, start, end, curve, degree, first_control, control,
            choose, work, stack, depth, moves, n, SEED * tolerance,
        )  # fmt: skip
        reached = min(reached, worst)
        if worst <= tolerance:
            return m, worst
        # Where the arcs stray too far, the plan is told so.
        p = i0 + 1
        for i in range(count):
            off = moves[n + i, M_BOUND] / (PLANNED * tolerance)
            while p < i1 and table[p, LENGTH] <= knots[i + 1]:
                if m == n or off > 1.0:
                    table[p, SCALE] *= min(max(1.02 * off, 1.02), 1.5) if m > n else 1.5
                p += 1
        # Offsets as large as the radius are beyond the plan's model: ask it for less.
        if m > n:
            goal *= 0.99
        else:
            goal *= 0.5 if turn == 0 else 0.3
            least, count = count + 1, np.int64(0)
    if not force:
        return n, reached
    # No tangent chain was found: straight from place to place, with kinks, which are counted.
    begin, stop = np.empty(4), np.empty(2)
    worst = 0.0
    for p in range(i0, i1):
        begin[0], begin[1], begin[2], begin[3] = table[p, X], table[p, Y], table[p, PIECE], table[p, T]
        stop[0], stop[1] = table[p + 1, X], table[p + 1, Y]
        _write_move(
            begin, stop, int(table[p + 1, PIECE]), table[p + 1, T], 0.0, worst, curve,
            degree, first_control, control, choose, stack, depth, moves[n],
        )  # fmt: skip
        moves[n, M_KINK] = 1.0
        worst = max(worst, moves[n, M_BOUND])
        n += 1
    return n, worst
