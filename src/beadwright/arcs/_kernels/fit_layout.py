"""Where the knots of the fewest arcs lie: a quadratic spline with free knots.

Written over the length s, the offset of an arc chain from the curve has the second derivative k - kappa
with k constant on each arc. So with g the double integral of kappa, the chain is a quadratic spline q of
continuous slope, its offset is q - g and its tangent is turned by q' - g'. For given knots the least squares
spline is a banded system; where kappa' is steady it is the best one too: the error is a Bernoulli polynomial
of degree 3, 0 at the knots and at most |kappa'| L^3 / (72 sqrt 3). Knots are then moved until all arcs stray
alike. Nothing here has to be exact: the certificate looks at the arcs that come of it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.fit_table import AHEAD, ARCS, KAPPA, LENGTH, RISE, SCALE, THETA, WEIGHT
from beadwright.compiled import helper

# Turn that one arc may take, rad.
MAX_TURN = 1.6
# How often knots are moved for one number of arcs, and how many numbers of arcs are tried.
ROUNDS, TRIALS = 12, 60
DAMP = 0.6
LAWSON = 6
# A jump of curvature over an arc makes it stray by about this share of jump times length squared; where
# that is above this share of the tolerance, a knot is put there.
JUMP, JUMP_SHARE = 1.0 / 64.0, 0.15


@helper
def rise_at(table: Any, p: int, s: float) -> tuple[float, float]:
    """The integral g of the angle, and g', at length s, which lies between the rows p and p + 1."""
    a, b = table[p], table[p + 1]
    h = b[LENGTH] - a[LENGTH]
    if h <= 0.0:
        return a[RISE], a[THETA]
    x = s - a[LENGTH]
    u = x / h
    # g' as the cubic with the right values and slopes at both rows; g its integral.
    d = b[THETA] - a[THETA]
    c2 = 3.0 * d - h * (2.0 * a[AHEAD] + b[KAPPA])
    c3 = h * (a[AHEAD] + b[KAPPA]) - 2.0 * d
    theta = a[THETA] + u * (h * a[AHEAD] + u * (c2 + u * c3))
    rise = a[RISE] + x * (a[THETA] + u * (0.5 * h * a[AHEAD] + u * (c2 / 3.0 + u * 0.25 * c3)))
    return rise, theta


@helper
def row_before(table: Any, lo: int, hi: int, column: int, value: float) -> int:
    """Row p in [lo, hi - 1] with column value at p <= ``value`` and at p + 1 not less."""
    hi -= 1
    while lo < hi:
        p = (lo + hi + 1) // 2
        if table[p, column] <= value:
            lo = p
        else:
            hi = p - 1
    return lo


@helper
def _solve(
    table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, band: Any, tilts: Any, free: Any
) -> None:
    """Coefficients ``c`` (n + 2) of the least squares spline on the knots, its ends held."""
    s0, s1 = knots[0], knots[n]
    for j in range(n + 2):
        a = knots[max(j - 1, 0)]
        b = knots[min(j, n)]
        p = row_before(table, i0, i1, LENGTH, a)
        rise, theta = rise_at(table, p, a)
        c[j] = rise + 0.5 * (b - a) * theta
    c[0], c[n + 1] = table[i0, RISE], table[i1, RISE]
    first, last = 1, n
    if not free[0]:
        c[1] = c[0] + 0.5 * (knots[1] - s0) * (table[i0, THETA] + tilts[0])
        first = 2
    if not free[1]:
        c[n] = c[n + 1] - 0.5 * (s1 - knots[n - 1]) * (table[i1, THETA] + tilts[1])
        last = n - 1
    if last < first:
        return
    for j in range(n + 2):
        for r in range(4):
            band[j, r] = 0.0
    i = 0
    for p in range(i0 + 1, i1):
        s = table[p, LENGTH]
        while i < n - 1 and s > knots[i + 1]:
            i += 1
        h = knots[i + 1] - knots[i]
        x, y = s - knots[i], knots[i + 1] - s
        b0 = y * y / (h * (knots[i + 1] - knots[max(i - 1, 0)]))
        b2 = x * x / (h * (knots[min(i + 2, n)] - knots[i]))
        b1 = 1.0 - b0 - b2
        off = table[p, RISE] - (b0 * c[i] + b1 * c[i + 1] + b2 * c[i + 2])
        weight = table[p, WEIGHT]
        w0, w1, w2 = weight * b0, weight * b1, weight * b2
        band[i, 0] += w0 * b0
        band[i, 1] += w0 * b1
        band[i, 2] += w0 * b2
        band[i + 1, 0] += w1 * b1
        band[i + 1, 1] += w1 * b2
        band[i + 2, 0] += w2 * b2
        band[i, 3] += w0 * off
        band[i + 1, 3] += w1 * off
        band[i + 2, 3] += w2 * off
    # L D L^T with two off diagonals; what is held drops out of the system.
    for j in range(first, last + 1):
        band[j, 0] += 1e-9
    for j in range(first, last + 1):
        d = band[j, 0]
        l1 = band[j, 1] / d if j + 1 <= last else 0.0
        l2 = band[j, 2] / d if j + 2 <= last else 0.0
        if j + 1 <= last:
            band[j + 1, 0] -= l1 * band[j, 1]
            band[j + 1, 3] -= l1 * band[j, 3]
            if j + 2 <= last:
                band[j + 1, 1] -= l1 * band[j, 2]
                band[j + 2, 0] -= l2 * band[j, 2]
                band[j + 2, 3] -= l2 * band[j, 3]
        band[j, 1], band[j, 2] = l1, l2
        band[j, 3] /= d
    for j in range(last, first - 1, -1):
        if j + 1 <= last:
            band[j, 3] -= band[j, 1] * band[j + 1, 3]
        if j + 2 <= last:
            band[j, 3] -= band[j, 2] * band[j + 2, 3]
        c[j] += band[j, 3]


@helper
def _stray(table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, errors: Any, sharpen: float) -> float:
    """Greatest offset from the curve on each arc, to ``errors``, and of all."""
    errors[:n] = 0.0
    i = 0
    for p in range(i0 + 1, i1):
        s = table[p, LENGTH]
        while i < n - 1 and s > knots[i + 1]:
            i += 1
        h = knots[i + 1] - knots[i]
        x, y = s - knots[i], knots[i + 1] - s
        b0 = y * y / (h * (knots[i + 1] - knots[max(i - 1, 0)]))
        b2 = x * x / (h * (knots[min(i + 2, n)] - knots[i]))
        off = b0 * c[i] + (1.0 - b0 - b2) * c[i + 1] + b2 * c[i + 2] - table[p, RISE]
        off = abs(off) * table[p, SCALE]
        errors[i] = max(errors[i], off)
        if sharpen > 0.0:
            table[p, WEIGHT] *= 0.1 + off / sharpen
    worst = 0.0
    for i in range(n):
        worst = max(worst, errors[i])
    return worst


@helper
def _spread(n: int, knots: Any, parts: Any, m: int, fresh: Any) -> None:
    """Place the inner ones of m + 1 knots at equal shares of ``parts``, the weights of n arcs."""
    total = 0.0
    for i in range(n):
        total += parts[i]
    fresh[0], fresh[m] = knots[0], knots[n]
    i = 0
    before = 0.0
    for j in range(1, m):
        goal = total * j / m
        while i < n - 1 and before + parts[i] < goal:
            before += parts[i]
            i += 1
        share = min(max((goal - before) / parts[i], 0.0), 1.0)
        fresh[j] = knots[i] + share * (knots[i + 1] - knots[i])


@helper
def _snap(table: Any, i0: int, i1: int, n: int, knots: Any, tolerance: float) -> None:
    """Move a knot to each place where the curvature jumps so much that an arc cannot well pass."""
    i = 0
    for p in range(i0 + 1, i1):
        jump = abs(table[p, AHEAD] - table[p, KAPPA])
        if jump == 0.0:
            continue
        s = table[p, LENGTH]
        while i < n - 1 and knots[i + 1] < s:
            i += 1
        length = knots[i + 1] - knots[i]
        if jump * JUMP * length * length < JUMP_SHARE * tolerance:
            continue
        nearest = i if s - knots[i] < knots[i + 1] - s else i + 1
        if nearest == 0:
            nearest = 1
        if nearest == n:
            nearest = n - 1
        if 0 < nearest < n and knots[nearest - 1] < s < knots[nearest + 1]:
            knots[nearest] = s


@helper
def _relax(
    table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, band: Any, errors: Any, parts: Any,
    fresh: Any, trial: Any, tilts: Any, free: Any, tolerance: float,
) -> tuple[float, float]:  # fmt: skip
    """Move the knots until n arcs stray alike or within the tolerance; the greatest, and the arcs needed."""
    damp = DAMP
    best = needed_best = np.inf
    for p in range(i0 + 1, i1):
        table[p, WEIGHT] = table[p + 1, ARCS] - table[p - 1, ARCS] + 1e-6
    for j in range(n + 1):
        trial[j] = knots[j]
    for turn in range(ROUNDS):
        _snap(table, i0, i1, n, trial, tolerance)
        _solve(table, i0, i1, n, trial, c, band, tilts, free)
        worst = _stray(table, i0, i1, n, trial, c, errors, 0.0)
        needed = 0.0
        for i in range(n):
            needed += (errors[i] / tolerance) ** (1.0 / 3.0)
        for i in range(n):
            a = table[row_before(table, i0, i1, LENGTH, trial[i]), THETA]
            b = table[row_before(table, i0, i1, LENGTH, trial[i + 1]), THETA]
            bend = abs(b - a) / MAX_TURN
            if bend > 1.1:
                worst = max(worst, tolerance * bend * bend * bend)
            errors[i] = max((errors[i] / tolerance) ** (1.0 / 3.0), bend * bend, 0.02)
        if worst < best:
            best, needed_best = worst, needed
            for j in range(n):
                knots[j], parts[j] = trial[j], errors[j]
            damp = min(1.2 * damp, 0.8)
        else:
            damp *= 0.5
        # Good, or too far off for moving knots to help.
        if best <= tolerance or (turn >= 2 and needed_best > 1.04 * n + 0.5):
            break
        _spread(n, knots, parts, n, fresh)
        for j in range(1, n):
            trial[j] = (1.0 - damp) * knots[j] + damp * fresh[j]
    if tolerance < best < 1.5 * tolerance:
        # Least squares to least maximum: what strays most weighs more.
        for j in range(n + 1):
            trial[j] = knots[j]
        _solve(table, i0, i1, n, trial, c, band, tilts, free)
        for _ in range(LAWSON):
            _stray(table, i0, i1, n, trial, c, errors, best)
            _solve(table, i0, i1, n, trial, c, band, tilts, free)
            worst = _stray(table, i0, i1, n, trial, c, errors, 0.0)
            if worst < best:
                best = worst
                if best <= tolerance:
                    break
    return best, needed_best


@helper
def plan(
    table: Any, i0: int, i1: int, tilts: Any, free: Any, tolerance: float, least: int
) -> tuple[int, Any, Any]:
    """Number of arcs, at least ``least``, their knots (lengths) and spline coefficients for one section.

    The number is 0 if no number of arcs that the table can tell apart keeps the tolerance.
    """
    rows = i1 - i0
    arcs = table[i1, ARCS] - table[i0, ARCS]
    held = 2 - int(free[0]) - int(free[1])
    least = max(least, held, 1)
    limit = max(2 * rows + 4, least + 2)
    knots, fresh, best = np.empty(limit + 2), np.empty(limit + 2), np.empty(limit + 2)
    c, errors, parts = np.empty(limit + 2), np.empty(limit + 2), np.empty(limit + 2)
    trial, best_c = np.empty(limit + 2), np.empty(limit + 2)
    band = np.empty((limit + 2, 4))
    n = min(max(least, int(np.ceil(arcs + 0.3 * held - 0.2))), limit)
    # Knots at equal counts of arcs to begin with.
    knots[0], knots[n] = table[i0, LENGTH], table[i1, LENGTH]
    for j in range(1, n):
        goal = table[i0, ARCS] + arcs * j / n
        p = row_before(table, i0, i1, ARCS, goal)
        step = table[p + 1, ARCS] - table[p, ARCS]
        share = (goal - table[p, ARCS]) / step if step > 0.0 else 0.5
        if arcs <= 0.0:
            knots[j] = knots[0] + (knots[n] - knots[0]) * j / n
        else:
            knots[j] = table[p, LENGTH] + min(max(share, 0.0), 1.0) * (
                table[p + 1, LENGTH] - table[p, LENGTH]
            )
    found = 0
    going_up = False
    for _ in range(TRIALS):
        worst, needed = _relax(
            table, i0, i1, n, knots, c, band, errors, parts, fresh, trial, tilts, free, tolerance
        )
        if worst <= tolerance:
            found = n
            for j in range(n + 1):
                best[j] = knots[j]
            for j in range(n + 2):
                best_c[j] = c[j]
            if going_up or n <= least:
                break
            m = max(least, min(n - 1, int(np.ceil(needed + 0.1))))
        else:
            if found > 0:
                break
            going_up = True
            m = max(n + 1, int(np.floor(needed)))
            if m > limit:
                break
        _spread(n, knots, parts, m, fresh)
        for j in range(m + 1):
            knots[j] = fresh[j]
        n = m
    return found, best, best_c
