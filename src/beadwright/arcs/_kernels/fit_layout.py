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

from beadwright.arcs._kernels.fit_polish import bend, polish, straighten
from beadwright.arcs._kernels.fit_table import (
    AHEAD,
    ARCS,
    KAPPA,
    LENGTH,
    RISE,
    SCALE,
    THETA,
    WEIGHT,
)
from beadwright.compiled import helper

# Turn that one arc may take, rad.
MAX_TURN = 1.6
# How often knots are moved for one number of arcs.
ROUNDS = 4
DAMP = 0.6
# How often a chain is polished with its own offset taken into account.
BENDS = 3
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
def _stray(table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, errors: Any) -> float:
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
    worst = 0.0
    for i in range(n):
        worst = max(worst, errors[i])
    return worst


@helper
def spread(n: int, knots: Any, parts: Any, m: int, fresh: Any) -> None:
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
def _snap(table: Any, i0: int, i1: int, n: int, knots: Any, fixed: Any, tolerance: float) -> None:
    """Move a knot to each place where the curvature jumps so much that an arc cannot well pass, and fix it."""
    for j in range(n + 1):
        fixed[j] = False
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
            fixed[nearest] = True


@helper
def _bent(table: Any, i0: int, i1: int, n: int, knots: Any, errors: Any, tolerance: float) -> float:
    """Raise each arc's share of ``errors`` by its turn; how far arcs that turn too much count as straying."""
    worst = 0.0
    for i in range(n):
        a = table[row_before(table, i0, i1, LENGTH, knots[i]), THETA]
        b = table[row_before(table, i0, i1, LENGTH, knots[i + 1]), THETA]
        bend = abs(b - a) / MAX_TURN
        if bend > 1.1:
            worst = max(worst, tolerance * bend * bend * bend)
        errors[i] = max((errors[i] / tolerance) ** (1.0 / 3.0), bend * bend, 0.02)
    return worst


@helper
def relax(
    table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, band: Any, errors: Any, parts: Any,
    fresh: Any, trial: Any, fixed: Any, tilts: Any, free: Any, tolerance: float,
) -> tuple[float, float]:  # fmt: skip
    """Move the knots until n arcs stray about alike or within the tolerance; the greatest, the arcs needed."""
    damp = DAMP
    best = needed_best = np.inf
    for p in range(i0 + 1, i1):
        table[p, WEIGHT] = table[p + 1, ARCS] - table[p - 1, ARCS] + 1e-6
    for j in range(n + 1):
        trial[j] = knots[j]
    for turn in range(ROUNDS):
        _snap(table, i0, i1, n, trial, fixed, tolerance)
        _solve(table, i0, i1, n, trial, c, band, tilts, free)
        worst = _stray(table, i0, i1, n, trial, c, errors)
        needed = 0.0
        for i in range(n):
            needed += (errors[i] / tolerance) ** (1.0 / 3.0)
        worst = max(worst, _bent(table, i0, i1, n, trial, errors, tolerance))
        if worst < best:
            best, needed_best = worst, needed
            for j in range(n + 1):
                knots[j] = trial[j]
            for i in range(n):
                parts[i] = errors[i]
            damp = min(1.2 * damp, 0.8)
        else:
            damp *= 0.5
        # Good, or too far off for moving knots to help.
        if best <= tolerance or (turn >= 2 and needed_best > 1.04 * n + 0.5):
            break
        spread(n, knots, parts, n, fresh)
        for j in range(1, n):
            trial[j] = (1.0 - damp) * knots[j] + damp * fresh[j]
    return best, needed_best


@helper
def refine(
    table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, band: Any, errors: Any, fixed: Any,
    tilts: Any, free: Any, tolerance: float, spare: Any,
) -> tuple[float, bool]:  # fmt: skip
    """Least squares to least maximum, knots and all; how far the chain then strays, each arc's to ``errors``.

    Where arcs turn too much that counts as straying; whether only that is wrong.
    """
    straighten(table, i0, i1)
    _snap(table, i0, i1, n, knots, fixed, tolerance)
    _solve(table, i0, i1, n, knots, c, band, tilts, free)
    worst = np.inf
    # One call of each, for each is compiled where it is called.
    for k in range(2 * BENDS):
        bend(table, i0, i1, n, knots, c, spare[0])
        if k % 2 == 0:
            polish(table, i0, i1, n, knots, c, tolerance, free, fixed, band, spare)
        worst = _stray(table, i0, i1, n, knots, c, errors)
        if worst > 1.02 * tolerance if k % 2 == 0 else worst <= tolerance:
            break
    bent = _bent(table, i0, i1, n, knots, errors, tolerance)
    return max(worst, bent), worst <= tolerance < bent
