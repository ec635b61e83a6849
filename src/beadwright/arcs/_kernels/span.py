"""Spans: an arc of at most 90 degrees or a line, as a row of numbers; places, roots and distances.

A row holds start, end, unit tangent at the start, signed curvature, sweep, unit tangent at the end. Centre
and radius are never formed: a radius of 1e13 mm loses no digits.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper

X0, Y0, X1, Y1, TX, TY, K, SWEEP, EX, EY = range(10)
COLUMNS = 10


@helper
def gap(s: Any, i: int, x: float, y: float) -> float:
    """Signed distance of a point from the line or circle of a span, left positive."""
    vx, vy, k = x - s[i, X0], y - s[i, Y0], s[i, K]
    a, b = vx * s[i, TX] + vy * s[i, TY], vy * s[i, TX] - vx * s[i, TY]
    f = b - 0.5 * k * (a * a + b * b)
    q = 1.0 - 2.0 * k * f
    if q < 0.25:
        return float((1.0 - np.hypot(k * a, 1.0 - k * b)) / k)
    return float(2.0 * f / (1.0 + np.sqrt(q)))


@helper
def beside(s: Any, i: int, x: float, y: float, slack: float) -> bool:
    """Whether the foot of a point lies on the span, or beyond its ends by no more than the slack."""
    if (x - s[i, X0]) * s[i, TX] + (y - s[i, Y0]) * s[i, TY] < -slack:
        return False
    return bool((x - s[i, X1]) * s[i, EX] + (y - s[i, Y1]) * s[i, EY] <= slack)


@helper
def locate(s: Any, i: int, x: float, y: float) -> float:
    """Parameter in [0, 1] of the foot of a point."""
    vx, vy, k = x - s[i, X0], y - s[i, Y0], s[i, K]
    a, b = vx * s[i, TX] + vy * s[i, TY], vy * s[i, TX] - vx * s[i, TY]
    if k == 0.0:
        return float(a / np.hypot(s[i, X1] - s[i, X0], s[i, Y1] - s[i, Y0]))
    return float(np.arctan2(k * a, 1.0 - k * b) / s[i, SWEEP])


@helper
def place(s: Any, i: int, t: float) -> tuple[float, float]:
    """Point at a parameter."""
    k = s[i, K]
    if k == 0.0:
        return s[i, X0] + t * (s[i, X1] - s[i, X0]), s[i, Y0] + t * (s[i, Y1] - s[i, Y0])
    h = 0.5 * t * s[i, SWEEP]
    n, c = np.sin(h), np.cos(h)
    r = 2.0 * n / k
    return s[i, X0] + r * (s[i, TX] * c - s[i, TY] * n), s[i, Y0] + r * (s[i, TY] * c + s[i, TX] * n)


@helper
def put(s: Any, i: int, x0: float, y0: float, x1: float, y1: float, k: float) -> None:
    """Span of at most 90 degrees over a chord, with a curvature."""
    cx, cy = x1 - x0, y1 - y0
    chord = np.hypot(cx, cy)
    n = min(1.0, max(-1.0, 0.5 * chord * k))
    c = np.sqrt((1.0 - n) * (1.0 + n))
    s[i, X0], s[i, Y0], s[i, X1], s[i, Y1] = x0, y0, x1, y1
    if chord > 0.0:
        cx, cy = cx / chord, cy / chord
    s[i, TX], s[i, TY] = cx * c + cy * n, cy * c - cx * n
    s[i, EX], s[i, EY] = cx * c - cy * n, cy * c + cx * n
    s[i, K], s[i, SWEEP] = k, 2.0 * np.arcsin(n)


@helper
def cosine(s: Any, i: int, j: int) -> float:
    """Cosine of the angle at which two carriers meet; beyond 1 in size they do not."""
    wx, wy = s[j, X0] - s[i, X0], s[j, Y0] - s[i, Y0]
    c = s[i, TX] * s[j, TX] + s[i, TY] * s[j, TY]
    along = s[j, K] * (wy * s[i, TX] - wx * s[i, TY]) - s[i, K] * (wy * s[j, TX] - wx * s[j, TY])
    return float(c + along - 0.5 * s[i, K] * s[j, K] * (wx * wx + wy * wy))


@helper
def roots(s: Any, i: int, j: int, shift: float, out: Any) -> int:
    """Points in which the carriers of two spans meet, the second moved to its left; how many.

    On the common chord of both circles, based on the span of greater curvature, all local to its start.
    """
    ax, ay, anx, any_, ka = s[i, X0], s[i, Y0], -s[i, TY], s[i, TX], s[i, K]
    bnx, bny = -s[j, TY], s[j, TX]
    bx, by, kb = s[j, X0] + shift * bnx, s[j, Y0] + shift * bny, s[j, K] / (1.0 - shift * s[j, K])
    if abs(kb) > abs(ka):
        ax, ay, anx, any_, ka, bx, by, bnx, bny, kb = bx, by, bnx, bny, kb, ax, ay, anx, any_, ka
    wx, wy = bx - ax, by - ay
    if ka == 0.0:
        across = bnx * any_ - bny * anx
        if across == 0.0:
            return 0
        r = (bnx * wx + bny * wy) / across
        out[0], out[1] = ax + r * any_, ay - r * anx
        return 1
    gx, gy = bnx + kb * wx, bny + kb * wy
    e = bnx * wx + bny * wy + 0.5 * kb * (wx * wx + wy * wy)
    mx, my = kb * anx - ka * gx, kb * any_ - ka * gy
    mm = mx * mx + my * my
    if mm == 0.0:
        return 0
    r, m = -ka * e / mm, np.sqrt(mm)
    vx, vy, ux, uy = r * mx, r * my, -my / m, mx / m
    b = anx * ux + any_ * uy
    c = anx * vx + any_ * vy - 0.5 * ka * (vx * vx + vy * vy)
    d = b * b + 2.0 * ka * c
    if not d >= 0.0:
        return 0
    q = -0.5 * (b + np.sqrt(d)) if b > 0.0 else -0.5 * (b - np.sqrt(d))
    r = -2.0 * q / ka
    out[0], out[1] = ax + vx + r * ux, ay + vy + r * uy
    if q == 0.0:
        return 1
    r = c / q
    out[2], out[3] = ax + vx + r * ux, ay + vy + r * uy
    return 2


@helper
def away(s: Any, i: int, x: float, y: float) -> float:
    """Distance of a point from a span."""
    if beside(s, i, x, y, 0.0):
        return float(abs(gap(s, i, x, y)))
    return float(min(np.hypot(x - s[i, X0], y - s[i, Y0]), np.hypot(x - s[i, X1], y - s[i, Y1])))


@helper
def apart(s: Any, i: int, q: Any, j: int) -> float:
    """Least distance of two spans that do not cross, never too small.

    From the four ends, and from the places of the more curved span whose normal passes the other's centre.
    """
    if abs(s[i, K]) < abs(q[j, K]):
        return float(_least(q, j, s, i))
    return float(_least(s, i, q, j))


@helper
def _least(s: Any, i: int, q: Any, j: int) -> float:
    least = min(away(s, i, q[j, X0], q[j, Y0]), away(s, i, q[j, X1], q[j, Y1]))
    least = min(least, away(q, j, s[i, X0], s[i, Y0]), away(q, j, s[i, X1], s[i, Y1]))
    k, kj = s[i, K], q[j, K]
    if k == 0.0:
        return float(least)
    dx = k * kj * (q[j, X0] - s[i, X0]) - k * q[j, TY] + kj * s[i, TY]
    dy = k * kj * (q[j, Y0] - s[i, Y0]) + k * q[j, TX] - kj * s[i, TX]
    m = np.hypot(dx, dy)
    if m == 0.0:
        return float(least)
    ex, ey = dy / m, -dx / m
    for _ in range(2):
        n = s[i, TX] * ey - s[i, TY] * ex
        if n * k >= 0.0 and (ex * s[i, EY] - ey * s[i, EX]) * k >= 0.0:
            x, y = place(s, i, np.arctan2(n, s[i, TX] * ex + s[i, TY] * ey) / s[i, SWEEP])
            least = min(least, away(q, j, x, y))
        ex, ey = -ex, -ey
    return float(least)


@helper
def round_trip(s: Any, i: int, x: float, y: float) -> int:
    """Share of a span in the winding number about a point, by a ray towards +x.

    That of the chord by the half-open rule, plus that of the circular segment between chord and arc.
    """
    side = (s[i, X1] - s[i, X0]) * (y - s[i, Y0]) - (s[i, Y1] - s[i, Y0]) * (x - s[i, X0])
    count = 0
    if s[i, Y0] <= y:
        if s[i, Y1] > y and side > 0.0:
            count = 1
    elif s[i, Y1] <= y and side < 0.0:
        count = -1
    k = s[i, K]
    if side * k < 0.0:
        vx, vy = x - s[i, X0], y - s[i, Y0]
        f = vy * s[i, TX] - vx * s[i, TY] - 0.5 * k * (vx * vx + vy * vy)
        if f * k > 0.0:
            count += 1 if k > 0.0 else -1
    return count


@helper
def green(s: Any, i: int, x: float, y: float) -> float:
    """Area between a span and a point, left of the span positive."""
    ax, ay = s[i, X0] - x, s[i, Y0] - y
    cx, cy = s[i, X1] - s[i, X0], s[i, Y1] - s[i, Y0]
    area = 0.5 * (ax * cy - ay * cx)
    k, a = s[i, K], s[i, SWEEP]
    if abs(a) > 0.2:
        return float(area + 0.5 * (a - np.sin(a)) / (k * k))
    # (a - sin a) / (2 k^2) with a = k l: l^3 k / 12 (1 - a^2/20 + a^4/840 - a^6/60480)
    c2, h = cx * cx + cy * cy, a * a
    l3 = c2 * np.sqrt(c2) * (1.0 + h / 24.0 * (1.0 + h * 7.0 / 240.0 * (1.0 + h * 31.0 / 1176.0))) ** 3
    return float(area + l3 * k / 12.0 * (1.0 - h / 20.0 * (1.0 - h / 42.0 * (1.0 - h / 72.0))))
