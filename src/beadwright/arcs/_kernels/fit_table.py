"""A spline as a table of places, dense enough to lay arcs out on.

Columns: piece, t, x, y, unit tangent x, y, curvature, length so far, arcs so far (the integral of the
density that the best arc spline has), the tangent's angle without jumps, its integral, the
curvature just ahead (another one where it jumps), how many times more arcs stray here than planned,
how much the place weighs, and what a chain's own offset adds to the angle and its integral.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.fit_bezier import tangent_and_curvature
from beadwright.compiled import helper

PIECE, T, X, Y, TX, TY, KAPPA, LENGTH, ARCS, THETA, RISE = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
AHEAD, SCALE, WEIGHT, BENT_THETA, BENT_RISE, COLUMNS = 11, 12, 13, 14, 15, 16
# An arc over length L where the curvature has slope c strays by |c| L^3 / (72 sqrt 3) at best.
BEST = 72.0 * np.sqrt(3.0)
# Few arcs are so many times the best arc spline's at most, or two more where these are few themselves.
MANY = 1.15
# What a sum over rows is above the integral, arcs: the cube root of a mean is above the mean of cube roots, which
# tells in the rows beside a turning point of the curvature.
SURPLUS = 0.06
# Turn, rad, that counts as a corner; below, the joint is smooth.
CORNER = 1e-4
# Turn, rad, over less than `MICRO` tolerances that counts as one too: a cusp, a needle's tip.
MICRO_TURN = 0.7
MICRO = 0.05
# Places an arc, and the turn between neighbouring places, rad.
PLACES = 9.0
TURN = 0.15
# Turn that one arc may take, rad; it sets the least density of arcs.
ARC_TURN = 1.4
# Share of the best arc spline's tilt that is held where a knot must be. Held at all of it, a chain within the
# tolerance would need arcs just as long as the best, which only a whole number of them would give; less leaves room.
HELD_TILT = 0.8


@helper
def turn_between(ax: float, ay: float, bx: float, by: float) -> float:
    """Angle from one unit vector to another, rad, signed."""
    return float(np.arctan2(ax * by - ay * bx, ax * bx + ay * by))


@helper
def _place(
    row: Any, q: int, t: float, degree: Any, first_control: Any, control: Any, work: Any, out: Any
) -> None:
    """Fill piece, t, point, tangent and curvature of a row."""
    x, y, tx, ty, k = tangent_and_curvature(control, first_control[q], degree[q], t, work, out)
    row[PIECE], row[T], row[X], row[Y], row[TX], row[TY], row[KAPPA] = q, t, x, y, tx, ty, k


@helper
def _is_coarse(a: Any, kappa: float, b: Any, scale: float) -> bool:
    """Whether two neighbouring places, the first with curvature ``kappa`` ahead, lie too far apart to plan with."""
    chord = np.hypot(b[X] - a[X], b[Y] - a[Y])
    # A chord that leaves at another angle than it arrives hides an inflection or a loop.
    bow = 0.0
    if chord > 0.0:
        cx, cy = (b[X] - a[X]) / chord, (b[Y] - a[Y]) / chord
        bow = abs(turn_between(a[TX], a[TY], cx, cy)) + abs(turn_between(cx, cy, b[TX], b[TY]))
    arcs = abs(b[KAPPA] - kappa) ** (1.0 / 3.0) * chord ** (2.0 / 3.0) * scale
    return bool(arcs * PLACES > 1.0 or bow > TURN)


@helper
def _append(table: Any, n: int, here: Any, kappa: float, scale: float) -> None:
    """Enter a place as row n; ``kappa`` is the curvature just after the row before."""
    row = table[n - 1]
    chord = np.hypot(here[X] - row[X], here[Y] - row[Y])
    turn = turn_between(row[TX], row[TY], here[TX], here[TY])
    half = 0.5 * min(abs(turn), 3.0)
    arcs = abs(here[KAPPA] - kappa) ** (1.0 / 3.0) * chord ** (2.0 / 3.0) * scale
    for column in range(LENGTH):
        table[n, column] = here[column]
    table[n, LENGTH] = row[LENGTH] + chord * (1.0 + half * half / 6.0)
    table[n, ARCS] = row[ARCS] + max(arcs, abs(turn) / ARC_TURN)
    table[n, AHEAD] = here[KAPPA]


@helper
def tabulate(
    first: int,
    last: int,
    tolerance: float,
    density: float,
    degree: Any,
    first_control: Any,
    control: Any,
    work: Any,
    table: Any,
    offset: int,
    breaks: Any,
    before: int,
) -> tuple[int, int]:
    """Tabulate the pieces ``first`` up to ``last`` from row ``offset`` on.

    The row after the last one used and the number of corners, on top of those ``before``; or -1 if there
    are too few rows.

    A corner between rows i and i + 1 (the same place, or next to it) is entered in ``breaks`` as i.
    ``density`` multiplies the number of places.
    """
    n, corners = offset, before
    waiting = np.empty((64, COLUMNS))
    out = np.empty(6)
    scale = 1.0 / (BEST * tolerance) ** (1.0 / 3.0)
    for q in range(first, last):
        d, base = degree[q], first_control[q]
        extent = 0.0
        x0, y0 = control[base, 0] / control[base, 2], control[base, 1] / control[base, 2]
        for j in range(d + 1):
            w = control[base + j, 2]
            extent = max(extent, abs(control[base + j, 0] / w - x0) + abs(control[base + j, 1] / w - y0))
        if extent < 1e-9:
            continue
        if n + 3 > len(table):
            return -1, 0
        _place(table[n], q, 0.0, degree, first_control, control, work, out)
        if n == offset:
            table[n, LENGTH] = table[n, ARCS] = 0.0
            n += 1
        else:
            turn = turn_between(table[n - 1, TX], table[n - 1, TY], table[n, TX], table[n, TY])
            if abs(turn) > CORNER:
                if corners == len(breaks):
                    return -1, 0
                breaks[corners] = n - 1
                corners += 1
                table[n, LENGTH], table[n, ARCS] = table[n - 1, LENGTH], table[n - 1, ARCS]
                n += 1
        kappa = table[n - 1, KAPPA]
        if table[n - 1, T] == 1.0:
            # The place is kept once; its curvature may jump, so take this side's for what follows.
            _place(waiting[0], q, 0.0, degree, first_control, control, work, out)
            kappa = waiting[0, KAPPA]
        table[n - 1, AHEAD] = kappa
        least = 1 if d <= 5 else (2 if d <= 10 else 4)
        _place(waiting[0], q, 1.0, degree, first_control, control, work, out)
        top = 0
        start = 0.0
        while top >= 0:
            here = waiting[top]
            row = table[n - 1]
            step = here[T] - start
            chord = np.hypot(here[X] - row[X], here[Y] - row[Y])
            # Its middle too: about a turning point of the curvature both ends have the same.
            _place(waiting[top + 1], q, start + 0.5 * step, degree, first_control, control, work, out)
            middle = waiting[top + 1]
            coarse = step > 1.001 * 2.0**-least or _is_coarse(row, kappa, middle, scale * density)
            coarse = coarse or _is_coarse(middle, middle[KAPPA], here, scale * density)
            if (
                coarse
                and step > 2.0**-48
                and (chord > 0.5 * MICRO * tolerance or step > 2.0**-least)
                and top < 61
            ):
                top += 1
                continue
            if n + 4 > len(table):
                return -1, 0
            turn = turn_between(row[TX], row[TY], here[TX], here[TY])
            if abs(turn) > MICRO_TURN and chord < MICRO * tolerance:
                if corners == len(breaks):
                    return -1, 0
                breaks[corners] = n - 1
                corners += 1
                # The next section starts at the corner, with the tangent it leaves with.
                for column in range(COLUMNS):
                    table[n, column] = table[n - 1, column]
                table[n, TX], table[n, TY], table[n, KAPPA] = here[TX], here[TY], here[KAPPA]
                table[n, AHEAD] = kappa = here[KAPPA]
                n += 1
            elif not coarse:
                _append(table, n, middle, kappa, scale)
                kappa = middle[KAPPA]
                n += 1
            _append(table, n, here, kappa, scale)
            start, kappa = here[T], here[KAPPA]
            n += 1
            top -= 1
    return n, corners


@helper
def best_arcs(table: Any, i0: int, i1: int, tolerance: float) -> float:
    """The integral of the best arc spline's density between two rows, hardly more."""
    total = 0.0
    scale = 1.0 / (BEST * tolerance) ** (1.0 / 3.0)
    for p in range(i0, i1):
        chord = np.hypot(table[p + 1, X] - table[p, X], table[p + 1, Y] - table[p, Y])
        total += abs(table[p + 1, KAPPA] - table[p, AHEAD]) ** (1.0 / 3.0) * chord ** (2.0 / 3.0) * scale
    return total


@helper
def few_of(total: float) -> int:
    """Most arcs that are few where the best arc spline has so many."""
    return int(max(MANY * total, total + 2.0) - SURPLUS)


@helper
def few_arcs(table: Any, i0: int, i1: int, tolerance: float) -> int:
    """Most arcs that are few between two rows."""
    return few_of(best_arcs(table, i0, i1, tolerance))


@helper
def integrate(table: Any, i0: int, i1: int) -> None:
    """Angle and its integral along a section, by the trapezoid rule with its end correction."""
    table[i0, THETA] = table[i0, RISE] = table[i0, BENT_THETA] = table[i0, BENT_RISE] = 0.0
    table[i0, SCALE] = 1.0
    for i in range(i0, i1):
        a, b = table[i], table[i + 1]
        h = b[LENGTH] - a[LENGTH]
        b[SCALE] = 1.0
        b[BENT_THETA] = b[BENT_RISE] = 0.0
        b[THETA] = a[THETA] + turn_between(a[TX], a[TY], b[TX], b[TY])
        b[RISE] = a[RISE] + 0.5 * h * (a[THETA] + b[THETA]) + h * h / 12.0 * (a[AHEAD] - b[KAPPA])


@helper
def tilt_at_end(table: Any, end: int, other: int, tolerance: float) -> float:
    """Turn of the tangent to hold at a knot at the section's end: most of -kappa' L^2 / 12, the best arc spline's.

    The section's rows lie from ``end`` to ``other``, in either direction.
    """
    step = 1 if other > end else -1
    i = end + step
    while i != other and abs(table[i, ARCS] - table[end, ARCS]) < 1.0:
        i += step
    lo, hi = min(i, end), max(i, end)
    length = table[hi, LENGTH] - table[lo, LENGTH]
    # Curvatures as they are between the two, so that the way back gets the same where they jump.
    slope = (table[hi, KAPPA] - table[lo, AHEAD]) / length if length > 0.0 else 0.0
    if slope == 0.0:
        return 0.0
    reach = min((BEST * tolerance / abs(slope)) ** (1.0 / 3.0), length)
    return float(min(max(-HELD_TILT * slope * reach * reach / 12.0, -0.2), 0.2))
