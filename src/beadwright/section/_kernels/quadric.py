"""Branches of surfaces of revolution whose radius squared is a quadratic of the way along the axis.

r^2 = a + b w + c w^2 holds for cylinders, cones, spheres, spheroids, paraboloids and hyperboloids. About an
axis (rho e, az), the plane the height H over the axis' origin, the section in the frame (e, Z x e) is the conic
``Y^2 = A + B X + C X^2``, A = a + b az H + c az^2 H^2 - H^2 rho^2, B = rho (b + 2 c az H) + 2 H rho az,
C = c rho^2 - az^2.
"""

from __future__ import annotations

from math import acos, pi, sqrt
from typing import Any

from beadwright.compiled import helper
from beadwright.section._kernels.codes import (
    B_ANGLE,
    B_CIRCLE,
    C_CIRCLE,
    C_ELLIPSE,
    C_HYPERBOLA,
    C_PARABOLA,
)
from beadwright.section._kernels.rows import add, line_row
from beadwright.section._kernels.tangency import NEAR, conic_sine

LINE_WITHIN = 1e-7
"""A conic this near to its straight lines all over the face is drawn as them, with that as bound, mm."""
ROUNDING = 64 * 2.0**-53
"""Of heights and radii, or of their squares, as a part of the greatest: what is nearer to a special place is there."""
SLENDER = 0.01
"""Conics flatter than this are parametrized like parabolas: their centre is too far away for its digits."""
EVEN = 1e-13
"""Terms of A, B and C that cancel to less than this part of themselves are none."""


@helper
def straight(
    a: float,
    b: float,
    c: float,
    x0: float,
    x1: float,
    out: Any,
) -> Any:
    """Whether Y = sqrt(a + b X + c X^2) is straight on [x0, x1]: how far from its tangent in the middle, else -1.

    |Y''| = |b^2 - 4 a c| / (4 Y^3). ``out[0:2]`` = Y and dY/dX in the middle.
    """
    least = min(a + x0 * (b + x0 * c), a + x1 * (b + x1 * c))
    if c > 0.0 and min(x0, x1) < -0.5 * b / c < max(x0, x1):
        least = min(least, a - 0.25 * b * b / c)
    if least <= 0.0:
        return -1.0
    middle, half = 0.5 * (x0 + x1), 0.5 * abs(x1 - x0)
    out[0] = sqrt(a + middle * (b + middle * c))
    out[1] = 0.5 * (b + 2.0 * c * middle) / out[0]
    spread = abs(b) + abs(c) * max(abs(x0), abs(x1))
    if spread * half <= EVEN * least:
        # what is left of the slope is rounding
        out[1] = 0.0
        return 0.5 * spread * half / out[0]
    return 0.125 * abs(b * b - 4.0 * a * c) / (least * sqrt(least)) * half * half


@helper
def frame_row(
    par: Any,
    n: int,
    f: Any,
    ox: float,
    oy: float,
    rho: float,
    wa: float,
    wb: float,
    xa: float,
    xb: float,
    xc: float,
) -> None:
    """X W = xa + xb cos s + xc sin s and W = wa + wb cos s, as rows in the plane's own axes."""
    ex, ey = f[3] / rho, f[4] / rho
    par[n, 0], par[n, 1], par[n, 2] = ox * wa + xa * ex, ox * wb + xb * ex, xc * ex
    par[n, 3], par[n, 4], par[n, 5] = oy * wa + xa * ey, oy * wb + xb * ey, xc * ey
    par[n, 6], par[n, 7], par[n, 8] = wa, wb, 0.0


@helper
def pair_of_lines(
    f: Any,
    ox: float,
    oy: float,
    rho: float,
    x: float,
    y: float,
    slope: float,
    way: float,
    stray: float,
    off: float,
    sine: float,
    radius: float,
    rows: Any,
    count: Any,
) -> None:
    """Y = +-(y + slope (X - x)), run along X by ``way`` above and against it below."""
    for turn in range(2):
        side = 1.0 - 2.0 * turn
        line_row(
            ox, oy, f, rho, x, side * y, side * way, way * slope, 0.0, stray, off, sine, radius, rows, count
        )


@helper
def turned_quadric(
    f: Any,
    a: float,
    b: float,
    c: float,
    w: float,
    w0: float,
    w1: float,
    along: float,
    off: float,
    h: float,
    rows: Any,
    count: Any,
    out: Any,
) -> None:
    """Branches of r^2 = a + b t + c t^2, t from w along the axis, on a face between the ways w0 and w1.

    ``along`` is 1 if the meridian's parameter grows with w, else -1; the meridian may lie ``off`` mm beside.
    Lines where the conic is straight over the face, or falls apart into two lines that cross; then four
    halves that meet in the crossing, so that `rescue` can go on there from any to any other.
    """
    az, sense = f[5], f[6]
    rho = sqrt(f[3] * f[3] + f[4] * f[4])
    height = h - f[2] - az * w
    ox, oy = f[0] + w * f[3], f[1] + w * f[4]
    lift = az * height
    one = a + lift * (b + lift * c) - (height * rho) ** 2
    two = rho * (b + 2.0 * c * lift) + 2.0 * height * rho * az
    three = c * rho * rho - az * az
    x0, x1 = (w0 - w - lift) / rho, (w1 - w - lift) / rho
    low, high = min(x0, x1), max(x0, x1)
    # v runs up where Y has the sign of -sense: above, X runs this way
    way = -sense * along
    par = rows[1]
    stray = straight(one, two, three, low, high, out)
    if 0.0 <= stray <= LINE_WITHIN:
        y, slope = out[0], out[1]
        conic_sine(a, b, c, az, rho, height, low, high, out)
        pair_of_lines(
            f, ox, oy, rho, 0.5 * (low + high), y, slope, way, stray, off, out[0], out[1], rows, count
        )
        return
    scale = abs(a) + abs(lift * b) + abs(c) * lift * lift + height * height
    if three > 0.0:
        middle = -0.5 * two / three
        gap = one - 0.25 * two * two / three
        if abs(gap) <= ROUNDING * (scale + 0.25 * two * two / three):
            conic_sine(a, b, c, az, rho, height, middle, middle, out)
            radius = out[1]
            slope = sqrt(three)
            # |gap| / (2 Y) beside the lines, where the surface is no longer nearly tangent
            stray = abs(gap) / (2.0 * NEAR * radius)
            beside = max(off, abs(gap) / (2.0 * radius))
            for turn in range(4):
                up, ahead = 1.0 - 2.0 * (turn % 2), 1.0 - 2.0 * (turn // 2)
                # the half on which Y has the sign of `up` and X - middle that of `ahead`
                run = up * way
                line_row(
                    ox,
                    oy,
                    f,
                    rho,
                    middle,
                    0.0,
                    run,
                    run * ahead * up * slope,
                    -1.0 if run * ahead > 0.0 else 1.0,
                    stray,
                    beside,
                    0.0,
                    radius,
                    rows,
                    count,
                )
            return
        if gap > 0.0:
            # one branch above, one below
            for turn in range(2):
                up = 1.0 - 2.0 * turn
                n = add(rows, count, B_ANGLE, 0, C_HYPERBOLA)
                frame_row(par, n, f, ox, oy, rho, 0.0, 1.0, 0.0, middle, sqrt(gap / three))
                par[n, 0] -= up * sqrt(gap) * f[4] / rho
                par[n, 3] += up * sqrt(gap) * f[3] / rho
                par[n, 9], par[n, 10], par[n, 11], par[n, 13] = up * way, 0.0, 0.5 * pi, 1.0
                par[n, 14], par[n, 16] = height, off
            return
    inner = two * two - 4.0 * one * three
    if inner <= 0.0:
        return
    if abs(three + 1.0) <= EVEN:
        n = add(rows, count, B_CIRCLE, 1, C_CIRCLE)
        radius = 0.5 * sqrt(inner)
        par[n, 0], par[n, 1] = ox + 0.5 * two * f[3] / rho, oy + 0.5 * two * f[4] / rho
        par[n, 2], par[n, 3] = radius, -way
        conic_sine(a, b, c, az, rho, height, 0.5 * two - radius, 0.5 * two + radius, out)
        par[n, 12] = abs(three + 1.0) * (radius + abs(two))
        par[n, 14], par[n, 15], par[n, 16] = out[0], out[1], off
        return
    # vertices on the axis Y = 0, the stable way; the second may lie at infinity
    far = -0.5 * (two + (sqrt(inner) if two >= 0.0 else -sqrt(inner)))
    first = one / far
    second = far / three if three != 0.0 else first
    label = C_ELLIPSE if three < 0.0 else C_HYPERBOLA
    if abs(three) <= EVEN * (abs(c) * rho * rho + az * az):
        label = C_PARABOLA
    if three < 0.0:
        if min(first, second) > high or max(first, second) < low:
            return
        if abs(second - 0.5 * (low + high)) < abs(first - 0.5 * (low + high)):
            first = second
    for turn in range(2 if three > 0.0 else 1):
        vertex = first if turn == 0 else second
        rise = two + 2.0 * three * vertex
        if three >= 0.0 and (high < vertex if rise > 0.0 else low > vertex):
            continue
        # X = vertex + rise (1 - cos s) / W, Y = |rise| p sin s / W, W = p^2 - C + (p^2 + C) cos s
        square = max(abs(three), SLENDER)
        size = 0.5 / square
        wa, wb = size * (square - three), size * (square + three)
        closed = 1 if three < 0.0 else 0
        n = add(rows, count, B_ANGLE, closed, label)
        frame_row(par, n, f, ox, oy, rho, wa, wb, vertex * wa + rise * size, vertex * wb - rise * size, 0.0)
        ys = abs(rise) * size * sqrt(square)
        par[n, 2], par[n, 5] = -ys * f[4] / rho, ys * f[3] / rho
        par[n, 9] = 1.0 if way * rise > 0.0 else -1.0
        if closed == 0:
            par[n, 11] = acos(max(-1.0, min(1.0, -wa / wb)))
            par[n, 13] = 1.0 if wa == 0.0 else 0.0
        par[n, 14], par[n, 16] = height, off
