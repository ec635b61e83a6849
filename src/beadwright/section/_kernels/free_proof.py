"""How far a quintic can lie beside the level curve of a free-form face: a bound for all of it, from three places.

What a smooth function differs from its Hermite interpolation by is Cauchy's integral over any circle on whose disc it
is analytic (P. Davis, Interpolation and Approximation, 1963, section 3.6). The function here is S(u(t), v(t)) with a
quintic (u(t), v(t)); its greatest value on the disc is bounded by the absolute values of its Taylor coefficients.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper
from beadwright.section._kernels.bernstein import evaluate

PLACES = (0.3, 0.5, 0.7)
"""Where a piece is compared with the surface: here few values say most of all between them."""
BETWEEN = 1.42
"""max sum |l_k| of the polynomials l_k of degree 8 that vanish three times at 0 and 1 and are 1 at one place."""
REST = 6.5e-5
"""max t^3 (1 - t)^3 |(t - 0.3) (t - 0.5) (t - 0.7)|."""
ORDER = 9
"""Conditions that the interpolation at `PLACES` and both ends, three times each, obeys."""
DISCS = 6
WIDER = 1.5
"""Radii tried, each that much wider than the one before, for the least of Cauchy's bounds."""
SMALL = 0.05
"""Part of the tolerance below which a lesser one is not looked for."""


@helper
def taylor(row: Any, n: Any, t: Any) -> Any:
    """Taylor coefficients at t of a Bernstein polynomial of degree n, in place."""
    end = t > 0.5
    far = 1.0 - t
    if end:
        far = t
        for i in range((n + 1) // 2):
            x = row[i]
            row[i] = row[n - i]
            row[n - i] = x
    for k in range(n):
        for i in range(n - k):
            row[i] = far * row[i] + (1.0 - far) * row[i + 1]
    for k in range(1, n + 1):
        for i in range(n, k - 1, -1):
            row[i] -= row[i - 1]
    times = 1.0
    for k in range(1, n + 1):
        times *= (n + 1.0 - k) / (-k * far if end else k * far)
        row[k] *= times


@helper
def around(coef: Any, u: Any, v: Any, row: Any, net: Any, out: Any) -> Any:
    """Taylor coefficients at (u, v) of N / D0 and D / D0 with S = N / D, N about S(u, v): net (p + 1, q + 1, 6).

    Its columns are x, y, z, D (not over D0), |(x, y, z)|, |D / D0|; the last two of no derivative are 0. out (6, 4)
    gets S, dS/du, dS/dv at (u, v).
    """
    p = coef.shape[0] - 1
    q = coef.shape[1] - 1
    for c in range(3, -1, -1):
        for i in range(p + 1):
            for j in range(q + 1):
                row[j] = coef[i, j, c]
            taylor(row, q, v)
            for j in range(q + 1):
                net[i, j, c] = row[j]
        for j in range(q + 1):
            for i in range(p + 1):
                row[i] = net[i, j, c]
            taylor(row, p, u)
            for i in range(p + 1):
                net[i, j, c] = row[i]
    weight = net[0, 0, 3]
    for c in range(3):
        net[0, 0, 4 + c % 2] = 0.0
        s = net[0, 0, c] / weight
        out[0, c] = s
        for i in range(p + 1):
            for j in range(q + 1):
                net[i, j, c] = (net[i, j, c] - s * net[i, j, 3]) / weight
        out[1, c] = net[1, 0, c]
        out[2, c] = net[0, 1, c]
    for i in range(p + 1):
        for j in range(q + 1):
            if i + j > 0:
                net[i, j, 4] = np.sqrt(net[i, j, 0] ** 2 + net[i, j, 1] ** 2 + net[i, j, 2] ** 2)
                net[i, j, 5] = abs(net[i, j, 3] / weight)


@helper
def swing(net: Any, c: Any, a: Any, b: Any, most: Any) -> Any:
    """How far S(u + a', v + b') can be from S(u, v) for complex |a'| <= a, |b'| <= b; infinite if D may vanish.

    In all if c is 4, in z if it is 2. Majorants: of N and D as they stand in net, so of N / D. most (2,) gets bounds of
    the derivatives by u and v there.
    """
    top = 0.0
    low = 0.0
    top_u = 0.0
    low_u = 0.0
    top_v = 0.0
    low_v = 0.0
    for i in range(net.shape[0] - 1, -1, -1):
        x = 0.0
        y = 0.0
        xv = 0.0
        yv = 0.0
        for j in range(net.shape[1] - 1, -1, -1):
            xv = xv * b + x
            yv = yv * b + y
            x = x * b + abs(net[i, j, c])
            y = y * b + net[i, j, 5]
        top_u = top_u * a + top
        low_u = low_u * a + low
        top = top * a + x
        low = low * a + y
        top_v = top_v * a + xv
        low_v = low_v * a + yv
    left = 1.0 - low
    if not left > 0.0:
        return np.inf
    most[0] = (top_u + top / left * low_u) / left
    most[1] = (top_v + top / left * low_v) / left
    return top / left


@helper
def deviation(
    coef: Any,
    h: Any,
    control: Any,
    tolerance: Any,
    noise: Any,
    residual: Any,
    table: Any,
    row: Any,
    net: Any,
    path: Any,
    most: Any,
    work: Any,
    out: Any,
) -> Any:
    """Bound of a quintic's distance from the level curve, what rounding adds, least tan, whether Cauchy rules.

    The quintic's (u, v) lies on the surface exactly. What (x, y) and h are off from there vanishes three times at
    both ends, so it is bounded by its values at `PLACES` and a Taylor coefficient of order `ORDER`, for which stands
    Cauchy's integral over a circle about the middle. From (u, v) the way w, up the slope in the middle, leads to the
    level curve, since the surface rises along it all around; and it does so in order, since (u, v) goes on across w.
    Infinite where one of these conditions cannot be told to hold.
    """
    for c in range(2):
        for i in range(6):
            path[c, i] = control[i, 2 + c]
        taylor(path[c], 5, 0.5)
    around(coef, path[0, 0], path[1, 0], row, net, out)
    su = net[1, 0]
    sv = net[0, 1]
    uu = su[4] * su[4]
    vv = sv[4] * sv[4]
    uv = su[0] * sv[0] + su[1] * sv[1] + su[2] * sv[2]
    wu = vv * su[2] - uv * sv[2]
    wv = uu * sv[2] - uv * su[2]
    slope = wu * su[2] + wv * sv[2]
    run = np.hypot(wu * su[0] + wv * sv[0], wu * su[1] + wv * sv[1])
    size = np.hypot(run, slope)
    if not size > 0.0:
        return np.inf, 0.0, 0.0, False
    wu /= size
    wv /= size
    slope /= size
    run /= size
    ahead = (control[5, 2] - control[0, 2]) * wv - (control[5, 3] - control[0, 3]) * wu
    for i in range(5):
        step = (control[i + 1, 2] - control[i, 2]) * wv - (control[i + 1, 3] - control[i, 3]) * wu
        if not step * ahead > 0.0:
            return np.inf, 0.0, 0.0, False
    beside = 0.0
    up = 0.0
    flat = np.inf
    for following in range(1, 4):
        # the middle first, which is known already
        k = following % 3
        x = 0.0
        y = 0.0
        u = 0.0
        v = 0.0
        for i in range(6):
            x += table[k, i] * control[i, 0]
            y += table[k, i] * control[i, 1]
            u += table[k, i] * control[i, 2]
            v += table[k, i] * control[i, 3]
        if k != 1:
            evaluate(coef, u, v, 1, work, out)
        rise = np.hypot(
            out[1, 1] * out[2, 2] - out[1, 2] * out[2, 1], out[1, 2] * out[2, 0] - out[1, 0] * out[2, 2]
        )
        nz = out[1, 0] * out[2, 1] - out[1, 1] * out[2, 0]
        flat = min(flat, rise / abs(nz) if nz != 0.0 else np.inf)
        beside = max(beside, np.hypot(x - out[0, 0], y - out[0, 1]))
        up = max(up, abs(out[0, 2] - h))
    over = np.inf
    radius = 2.0
    at_u = 0.0
    at_v = 0.0
    share = 0.0
    for _ in range(DISCS):
        a = 0.0
        b = 0.0
        for k in range(5, 0, -1):
            a = (a + abs(path[0, k])) * radius
            b = (b + abs(path[1, k])) * radius
        square = radius * radius
        below = REST / ((radius - 0.5) * (square - 0.25) ** 3 * (square - 0.04))
        off = below * swing(net, 4, a, b, most)
        if not off < over:
            break
        over = off
        at_u = a
        at_v = b
        share = below
        if over * (slope + run) < SMALL * tolerance * slope:
            break
        radius *= WIDER
    over_up = share * swing(net, 2, at_u, at_v, most)
    up = BETWEEN * up + residual + over_up
    # Where w may lead: as far beside the path as the height is off, ten times.
    aside = 10.0 * (up + noise) / slope
    a = aside * abs(wu)
    b = aside * abs(wv)
    for k in range(1, 6):
        a += abs(path[0, k]) * 0.5**k
        b += abs(path[1, k]) * 0.5**k
    if not (slope > 0.0 and swing(net, 4, a, b, most) < np.inf):
        return np.inf, 0.0, 0.0, False
    run += abs(wu) * (most[0] - su[4]) + abs(wv) * (most[1] - sv[4])
    swing(net, 2, a, b, most)
    less = abs(wu) * (most[0] - abs(su[2])) + abs(wv) * (most[1] - abs(sv[2]))
    if not less < 0.8 * slope:
        return np.inf, 0.0, 0.0, False
    run /= slope - less
    off = BETWEEN * beside + over + run * up
    return off, 4.0 * noise * (1.0 + run), flat, over + run * over_up > 0.5 * off
