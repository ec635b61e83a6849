"""Knots and offsets of a planned chain moved together until what strays most strays least.

The chain is the quadratic spline of `fit_layout`. Where an inner knot moves by x, the step of the second
derivative moves with it: to first order the spline changes by a function with a kink at the knot, which is
``((s - a) / l)^2`` on its left and ``((b - s) / r)^2`` on its right (l, r the arcs' lengths), the B-spline with
that knot doubled. So each place sees three coefficients and two knots, and a Gauss-Newton step is a system of
band width five. Weights ``|offset|^(p - 2)`` with growing p lead from least squares to least maximum [1]_.

References
----------
.. [1] R. Fletcher, J. A. Grant and M. D. Hebden, "The calculation of linear best Lp approximations", The
       Computer Journal 14 (1971) 276-279. :doi:`10.1093/comjnl/14.3.276`
"""

from __future__ import annotations

from typing import Any

from beadwright.arcs._kernels.fit_table import (
    AHEAD,
    BENT_RISE,
    BENT_THETA,
    KAPPA,
    LENGTH,
    RISE,
    SCALE,
    THETA,
)
from beadwright.compiled import helper

# Steps for each power p = 4, 8, 16, 32.
STEPS = 6
POWERS = 4
# Share of the shorter neighbouring arc that a knot may move in one step.
REACH = 0.3
# No arc gets shorter than this share of the mean of those around it: two knots that meet are a corner, which the
# spline may have and a chain of tangent arcs has not.
SHORT, AROUND = 0.15, 3
# Damping of the knots, relative to what the places know of them.
DAMPING = 0.02
# A step that lowers the sum of powers by less than this share is the last one for its power.
GAIN = 0.03
# From the second power on, what strays more than so many times the goal will not come down to it.
HOPELESS = 1.35


@helper
def _span(knots: Any, i: int, n: int) -> tuple[float, float, float, float, float]:
    """Ends and length of a span, and its share of the intervals that it makes with the one before and the one after."""
    a, b = knots[i], knots[i + 1]
    h = b - a
    return a, b, h, h / (b - knots[max(i - 1, 0)]), h / (knots[min(i + 2, n)] - a)


@helper
def _offsets(
    table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, level: int, unit: float, off: Any
) -> tuple[float, float]:
    """Offset of the spline from the curve at each inner row, times its scale; the greatest, the sum of powers.

    The power is ``2^(level + 2)``, of the offset over ``unit``.
    """
    worst = total = 0.0
    p = i0 + 1
    for i in range(n):
        a, b, h, below, above = _span(knots, i, n)
        e0, e1, e2 = below * (c[i] - c[i + 1]), c[i + 1], above * (c[i + 2] - c[i + 1])
        inverse = 1.0 / h
        while p < i1 and (table[p, LENGTH] <= b or i == n - 1):
            u = (table[p, LENGTH] - a) * inverse
            v = 1.0 - u
            e = (e0 * v * v + e1 + e2 * u * u - table[p, RISE]) * table[p, SCALE]
            off[p - i0] = e
            worst = max(worst, abs(e))
            x = (e / unit) ** 2
            x = x * x
            for _ in range(level):
                x *= x
            total += x
            p += 1
    return worst, total


@helper
def _step(
    table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, off: Any, worst: float, level: int,
    band: Any, free: Any, fixed: Any, gain: Any, low: Any, high: Any,
) -> None:  # fmt: skip
    """Gauss-Newton step of coefficients and knots, to column 5 of ``band``: c_j at 2 j, knot j at 2 j + 1."""
    size = 2 * n + 3
    for j in range(size):
        for r in range(6):
            band[j, r] = 0.0
    # What a knot's move by its whole reach changes at the knot.
    gain[0] = gain[n] = 0.0
    for j in range(1, n):
        left, right = knots[j] - knots[j - 1], knots[j + 1] - knots[j]
        before = (c[j] - c[j - 1]) / (knots[j] - knots[max(j - 2, 0)])
        here = (c[j + 1] - c[j]) / (knots[j + 1] - knots[j - 1])
        after = (c[j + 2] - c[j + 1]) / (knots[min(j + 2, n)] - knots[j])
        jump = 2.0 * ((here - before) / left - (after - here) / right)
        gain[j] = 0.0 if fixed[j] else -jump * min(left, right) / (2.0 / left + 2.0 / right)
    # With v = 1 - u, the five functions of a span are combinations of v^2, 1 and u^2: nine sums are enough.
    p = i0 + 1
    for i in range(n):
        a, b, h, below, above = _span(knots, i, n)
        inverse = 1.0 / h
        s00 = s01 = s02 = s11 = s12 = s22 = f0 = f1 = f2 = 0.0
        while p < i1 and (table[p, LENGTH] <= b or i == n - 1):
            u = (table[p, LENGTH] - a) * inverse
            v = 1.0 - u
            e = off[p - i0]
            x = (e / worst) ** 2
            w = x
            for _ in range(level):
                w = w * w * x
            w += 1e-4
            scale = table[p, SCALE]
            u, v = u * u, v * v
            wv, wu = w * scale * scale * v, w * scale * scale * u
            s00 += wv * v
            s01 += wv
            s02 += wv * u
            s11 += w * scale * scale
            s12 += wu
            s22 += wu * u
            f0 += w * scale * e * v
            f1 += w * scale * e
            f2 += w * scale * e * u
            p += 1
        low[0] = below
        low[1], low[2], low[3], low[4] = gain[i], -low[0], 0.0, 0.0
        high[4] = above
        high[0], high[1], high[2], high[3] = 0.0, 0.0, -high[4], gain[i + 1]
        for j in range(5):
            one = 1.0 if j == 2 else 0.0
            t0 = low[j] * s00 + one * s01 + high[j] * s02
            t1 = low[j] * s01 + one * s11 + high[j] * s12
            t2 = low[j] * s02 + one * s12 + high[j] * s22
            for k in range(j, 5):
                band[2 * i + j, k - j] += t0 * low[k] + t2 * high[k]
                if k == 2:
                    band[2 * i + j, k - j] += t1
            band[2 * i + j, 5] -= low[j] * f0 + one * f1 + high[j] * f2
    for j in range(n + 1):
        band[2 * j + 1, 0] = 1.0 if gain[j] == 0.0 else band[2 * j + 1, 0] * (1.0 + DAMPING)
    # What is held does not move.
    for j in range(size):
        if j == 0 or j == size - 1 or (j == 2 and not free[0]) or (j == size - 3 and not free[1]):
            for r in range(1, 5):
                band[j, r] = 0.0
                if j - r >= 0:
                    band[j - r, r] = 0.0
            band[j, 0], band[j, 5] = 1.0, 0.0
        else:
            band[j, 0] += 1e-9 * band[j, 0] + 1e-30
    for j in range(size):
        m = min(4, size - 1 - j)
        for r in range(1, m + 1):
            share = band[j, r] / band[j, 0]
            for t in range(r, m + 1):
                band[j + r, t - r] -= share * band[j, t]
            band[j + r, 5] -= share * band[j, 5]
    for j in range(size - 1, -1, -1):
        value = band[j, 5]
        for r in range(1, min(4, size - 1 - j) + 1):
            value -= band[j, r] * band[j + r, 5]
        band[j, 5] = value / band[j, 0]


@helper
def _moved(n: int, knots: Any, c: Any, band: Any, gain: Any, share: float, fresh: Any, d: Any) -> None:
    """Knots and coefficients after a share of a step: each piece's polar form at its moved ends."""
    fresh[0], fresh[n] = knots[0], knots[n]
    for j in range(1, n):
        left, right = knots[j] - knots[j - 1], knots[j + 1] - knots[j]
        reach = min(left, right)
        lo, hi = max(j - AROUND, 0), min(j + AROUND, n)
        least = SHORT * (knots[hi] - knots[lo]) / (hi - lo)
        u = 0.0 if gain[j] == 0.0 else share * band[2 * j + 1, 5]
        u = min(max(u, -REACH), REACH) * reach
        # Both its knots may come nearer to each other.
        fresh[j] = knots[j] + min(max(u, -0.5 * max(left - least, 0.0)), 0.5 * max(right - least, 0.0))
    d[0], d[n + 1] = c[0], c[n + 1]
    for i in range(n):
        # Bézier ordinates of the piece, its ends raised by what the knots' moves do there.
        a, b = knots[i], knots[i + 1]
        h = b - a
        before, middle, after = (
            c[i] + share * band[2 * i, 5],
            c[i + 1] + share * band[2 * i + 2, 5],
            c[i + 2] + share * band[2 * i + 4, 5],
        )
        begin, stop = before, after
        if i > 0:
            left = a - knots[i - 1]
            begin += left / (left + h) * (middle - before) + (fresh[i] - a) / min(left, h) * gain[i]
        if i < n - 1:
            right = knots[i + 2] - b
            stop = middle + h / (right + h) * (after - middle)
            stop += (fresh[i + 1] - b) / min(h, right) * gain[i + 1]
        u, v = (fresh[i] - a) / h, (fresh[i + 1] - a) / h
        d[i + 1] = (1.0 - u) * ((1.0 - v) * begin + v * middle) + u * ((1.0 - v) * middle + v * stop)


@helper
def polish(
    table: Any,
    i0: int,
    i1: int,
    n: int,
    knots: Any,
    c: Any,
    goal: float,
    free: Any,
    fixed: Any,
    band: Any,
    spare: Any,
) -> float:
    """Move knots and coefficients until all arcs stray at most ``goal``, or as little as they do; the greatest.

    ``fixed`` (n + 1) tells the knots that must stay; ``band`` and the rows of ``spare`` are scratch.
    """
    off, fresh_off, gain, fresh, d = spare[0], spare[1], spare[2], spare[3], spare[4]
    low, high = spare[5], spare[6]
    worst, _ = _offsets(table, i0, i1, n, knots, c, 0, goal, off)
    if worst <= goal:
        return worst
    power = 4.0
    for level in range(POWERS):
        _, total = _offsets(table, i0, i1, n, knots, c, level, worst, off)
        for _ in range(STEPS):
            _step(table, i0, i1, n, knots, c, off, worst, level, band, free, fixed, gain, low, high)
            share = 1.0 if level == 0 else 3.0 / (power - 1.0)
            better = False
            reached = after = 0.0
            for _ in range(4):
                _moved(n, knots, c, band, gain, share, fresh, d)
                reached, after = _offsets(table, i0, i1, n, fresh, d, level, worst, fresh_off)
                if after < total:
                    better = True
                    break
                share *= 0.35
            if not better:
                break
            for j in range(n + 1):
                knots[j] = fresh[j]
            for j in range(n + 2):
                c[j] = d[j]
            for p in range(1, i1 - i0):
                off[p] = fresh_off[p]
            if reached <= goal:
                return reached
            gained = after < (1.0 - GAIN) * total
            total = after * (worst / reached) ** power
            worst = reached
            if not gained:
                break
        if level > 0 and worst > HOPELESS * goal:
            break
        power *= 2.0
    return worst


@helper
def straighten(table: Any, i0: int, i1: int) -> None:
    """Take back what `bend` added."""
    for p in range(i0, i1 + 1):
        table[p, THETA] -= table[p, BENT_THETA]
        table[p, RISE] -= table[p, BENT_RISE]
        table[p, BENT_THETA] = table[p, BENT_RISE] = 0.0


@helper
def bend(table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, d: Any) -> None:
    """Let the chain's own offset d count: beside a curve of curvature kappa it bends by kappa^2 d more."""
    d[0] = d[i1 - i0] = 0.0
    p = i0 + 1
    for i in range(n):
        a, b, h, below, above = _span(knots, i, n)
        while p < i1 and (table[p, LENGTH] <= b or i == n - 1):
            u = (table[p, LENGTH] - a) / h
            v = 1.0 - u
            q = below * (c[i] - c[i + 1]) * v * v + c[i + 1] + above * (c[i + 2] - c[i + 1]) * u * u
            d[p - i0] = q - table[p, RISE]
            p += 1
    # Both integrals; the spline follows by what they change, ordinate by ordinate.
    theta = rise = 0.0
    j = 1
    for p in range(i0, i1):
        h = table[p + 1, LENGTH] - table[p, LENGTH]
        f = table[p, AHEAD] * table[p, AHEAD] * d[p - i0]
        g = table[p + 1, KAPPA] * table[p + 1, KAPPA] * d[p + 1 - i0]
        more_theta, more_rise = theta - table[p, BENT_THETA], rise - table[p, BENT_RISE]
        while j <= n - 1 and (knots[j - 1] <= table[p + 1, LENGTH] or p == i1 - 1):
            c[j] += more_rise + (0.5 * (knots[j - 1] + knots[j]) - table[p, LENGTH]) * more_theta
            j += 1
        table[p, THETA] += more_theta
        table[p, RISE] += more_rise
        table[p, BENT_THETA], table[p, BENT_RISE] = theta, rise
        rise += h * theta + h * h / 6.0 * (2.0 * f + g)
        theta += 0.5 * h * (f + g)
    more_theta, more_rise = theta - table[i1, BENT_THETA], rise - table[i1, BENT_RISE]
    c[n + 1] += more_rise
    if n > 1:
        c[n] += more_rise - 0.5 * (knots[n] - knots[n - 1]) * more_theta
    table[i1, THETA] += more_theta
    table[i1, RISE] += more_rise
    table[i1, BENT_THETA], table[i1, BENT_RISE] = theta, rise
