"""Branches of cylinders, cones and tori about any axis."""

from __future__ import annotations

from math import acos, atan2, cos, hypot, pi, sin, sqrt
from typing import Any

import numpy as np

from beadwright.compiled import helper
from beadwright.section._kernels.codes import (
    B_ANGLE,
    B_CIRCLE,
    C_CIRCLE,
    C_ELLIPSE,
    C_HYPERBOLA,
    C_PARABOLA,
)
from beadwright.section._kernels.quadric import (
    LINE_WITHIN,
    ROUNDING,
    SLENDER,
    frame_row,
    pair_of_lines,
    straight,
)
from beadwright.section._kernels.rows import add, level_row, line_row
from beadwright.section._kernels.tangency import conic_sine

UPRIGHT = 1e-10
LEVEL_ROUND = 1e-12
"""An axis that rises by less than this over the face is level, mm: heights have no more digits."""


@helper
def straight_line(f: Any, rho: float, over: float, k: float, rows: Any, count: Any, out: Any) -> Any:
    """Generators, where a plane cuts in lines along the axis or through the apex, and wide hyperbolas.

    False if the section is another conic.

    The section in the frame (e, Z x e) about the point w0 of the axis is Y^2 = r^2 - q^2; see `quadric`.
    """
    az, sense = f[5], f[6]
    r0, dr, dw, nappe = f[9], f[11], f[12], f[13]
    g = dr / dw
    a, b, c = r0 * r0, 2.0 * r0 * g, g * g
    lift = az * over
    one = a + lift * (b + lift * c) - (over * rho) ** 2
    two = rho * (b + 2.0 * c * lift) + 2.0 * over * rho * az
    three = c * rho * rho - az * az
    x0, x1 = (f[7] * dw - lift) / rho, (f[8] * dw - lift) / rho
    middle = 0.5 * (x0 + x1)
    ox, oy = f[0] + f[10] * f[3], f[1] + f[10] * f[4]
    way = -sense if dw > 0.0 else sense
    stray = straight(one, two, three, x0, x1, out)
    if 0.0 <= stray <= LINE_WITHIN:
        y, slope = out[0], out[1]
        conic_sine(a, b, c, az, rho, over, x0, x1, out)
        pair_of_lines(f, ox, oy, rho, middle, y, slope, way, stray, 0.0, out[0], out[1], rows, count)
        return True
    if dr == 0.0:
        rise = abs(az * (x1 - x0))
        if rise > LEVEL_ROUND:
            return False
        square = one + middle * (two + middle * three)
        if square > 0.0:
            # nearly tangent: a rise of d moves the line by sqrt(2 d r) at most
            y, stray = sqrt(square), sqrt(2.0 * rise * abs(r0))
            pair_of_lines(f, ox, oy, rho, middle, y, 0.0, way, stray, 0.0, y / abs(r0), abs(r0), rows, count)
        return True
    square = three / (rho * rho)
    if square <= 0.0:
        return k == 0.0
    # along the axis Y^2 = m^2 (t + beside)^2 - gap^2, t from the apex, which the plane passes by k / dr
    m, past = sqrt(square), abs(k / dr)
    beside, gap = past * abs(az) / (rho * rho * square), past * abs(g) / (rho * m)
    stray = (beside + gap / m) / rho + gap
    apex = (-r0 / g - lift) / rho
    if stray > LINE_WITHIN:
        if square < SLENDER:
            return False
        # about its centre: (X - centre) / a = +-cosh s, Y = gap sinh s
        ahead = nappe if g > 0.0 else -nappe
        middle = apex - k / dr * az / (rho * rho * rho * square)
        n = add(rows, count, B_ANGLE, 0, C_HYPERBOLA)
        par = rows[1]
        frame_row(par, n, f, ox, oy, rho, 0.0, 1.0, ahead * gap / (m * rho), middle, 0.0)
        par[n, 2], par[n, 5] = -gap * f[4] / rho, gap * f[3] / rho
        par[n, 9] = 1.0 if way * ahead > 0.0 else -1.0
        par[n, 11], par[n, 13], par[n, 14] = 0.5 * pi, 1.0, over
        return True
    end = x0 if abs(x0 - apex) > abs(x1 - apex) else x1
    conic_sine(a, b, c, az, rho, over, end, end, out)
    sine, radius = out[0], out[1]
    away = nappe if dr > 0.0 else -nappe
    for turn in range(2):
        side = 1.0 - 2.0 * turn
        # v runs up where Y has the sign of -sense; away from the apex it may run down
        run = -side * sense * away
        lx, ly = run * away * dw, run * side * abs(dw) * m * rho
        line_row(ox, oy, f, rho, apex, 0.0, lx, ly, -run, stray, 0.0, sine, radius, rows, count)
    return True


@helper
def turned_line(f: Any, h: float, rows: Any, count: Any, out: Any) -> None:
    """Cylinders and cones: homogeneous coordinates linear in (1, cos a, sin a), a about the axis."""
    az, sense = f[5], f[6]
    r0, w0, dr, dw, nappe = f[9], f[10], f[11], f[12], f[13]
    rho = hypot(f[3], f[4])
    par = rows[1]
    height = h - f[2]
    if rho < UPRIGHT:
        v = (height / az - w0) / dw
        radius = abs(r0 + v * dr)
        n = add(rows, count, B_CIRCLE, 1, C_CIRCLE)
        par[n, 0], par[n, 1], par[n, 2] = f[0] + f[3] * height / az, f[1] + f[4] * height / az, radius
        par[n, 3], par[n, 4] = 1.0 if sense * dw > 0.0 else -1.0, v
        # a tilt lifts the circle's sides by rho x radius, and the section goes with the meridian's slope
        par[n, 12], par[n, 14], par[n, 15] = rho * radius * abs(dr / dw), abs(dw), radius
        return
    ex, ey = f[3] / rho, f[4] / rho
    over = height - az * w0
    k = r0 * az * dw + dr * over
    if straight_line(f, rho, over, k, rows, count, out):
        return
    # X W = rho (w0 W + dw V) - az k cos a, Y W = k sin a, W = rho dr cos a + az dw, V = over - rho r0 cos a
    x_1 = rho * (w0 * az * dw + dw * over)
    x_c = rho * (w0 * rho * dr - dw * rho * r0) - az * k
    w_1, w_c = az * dw, rho * dr
    sign = 1.0 if k * nappe > 0.0 else -1.0
    centre, half, closed = 0.0, 0.0, 1
    label = C_ELLIPSE
    if abs(w_c) >= abs(w_1) * (1.0 - 1e-12):
        closed = 0
        label = C_PARABOLA if abs(w_c) <= abs(w_1) * (1.0 + 1e-12) else C_HYPERBOLA
        centre = 0.0 if sign * w_c > 0.0 else pi
        half = acos(max(-1.0, min(1.0, -sign * w_1 / abs(w_c))))
        if half <= 0.0:
            return
    elif sign * w_1 < 0.0:
        return  # the ellipse lies on the other nappe
    n = add(rows, count, B_ANGLE, closed, label)
    # weights of size one, whatever the tilt
    sign /= max(abs(w_1), abs(w_c))
    x_1, x_c, w_1, w_c, k = sign * x_1, sign * x_c, sign * w_1, sign * w_c, sign * k
    par[n, 0], par[n, 1], par[n, 2] = f[0] * w_1 + x_1 * ex, f[0] * w_c + x_c * ex, -k * ey
    par[n, 3], par[n, 4], par[n, 5] = f[1] * w_1 + x_1 * ey, f[1] * w_c + x_c * ey, k * ex
    par[n, 6], par[n, 7], par[n, 8] = w_1, w_c, 0.0
    par[n, 9] = -sense if sign > 0.0 else sense
    par[n, 10], par[n, 11], par[n, 14] = centre, half, over


@helper
def turned_circle(f: Any, h: float, rows: Any, count: Any) -> None:
    """Tori: circles about a vertical axis, else halves between the roots of r = +-q in closed form."""
    az, sense = f[5], f[6]
    major, minor, w0 = f[9], f[10], f[11]
    rho = hypot(f[3], f[4])
    height = h - f[2]
    par = rows[1]
    sheet = 1.0 if major + minor * cos(0.5 * (f[7] + f[8])) > 0.0 else -1.0
    if rho < UPRIGHT:
        g = (height / az - w0) / minor
        if abs(g) >= 1.0:
            return
        root = sqrt((1.0 - g) * (1.0 + g))
        for turn in range(2):
            c = root if turn == 0 else -root
            r = major + minor * c
            if r * sheet <= 0.0 and abs(minor) > abs(major):
                continue
            n = add(rows, count, B_CIRCLE, 1, C_CIRCLE)
            par[n, 0], par[n, 1] = f[0] + f[3] * height / az, f[1] + f[4] * height / az
            par[n, 2] = abs(r)
            par[n, 3], par[n, 4] = 1.0 if sense * minor * c > 0.0 else -1.0, atan2(g, c)
            par[n, 12], par[n, 14], par[n, 15] = rho * abs(r * g) / root, root, abs(minor)
        return
    ex, ey = f[3] / rho, f[4] / rho
    over = height - az * w0
    if abs(az) < UPRIGHT and abs(height) < UPRIGHT * (major + 1.0):
        # the plane holds the axis: two meridians
        for turn in range(2):
            side = 1.0 - 2.0 * turn
            n = add(rows, count, B_CIRCLE, 1, C_CIRCLE)
            par[n, 0], par[n, 1] = f[0] + w0 * ex - side * major * ey, f[1] + w0 * ey + side * major * ex
            par[n, 2] = abs(minor)
            # outward normal away from the tube's centre for minor * sense > 0
            par[n, 3], par[n, 4] = 1.0 if sense * minor > 0.0 else -1.0, 0.0
            par[n, 5] = side
            # the plane passes the axis by q, and Y = sqrt(r^2 - q^2)
            q, inner = abs(height) + abs(az) * (abs(w0) + abs(minor)), abs(major) - abs(minor)
            par[n, 12] = min(q, 0.5 * q * q / inner) if inner > 0.0 else q
            par[n, 14] = 1.0
        return
    # both touch by less than what heights are rounded to; how far the curve may lie beside is listed
    scale = ROUNDING * (abs(major) + abs(f[2]) + abs(h))
    bitangent = abs(over) < scale and abs(rho * major - abs(minor)) < scale
    if bitangent and minor > 0.0:
        # Villarceau: Y = +-R (cos v + rho), X = R sin v: arcs of two circles, corners where they cross
        for turn in range(2):
            level_row(f, height, rho, 5.0, 0.0, 2.0 * pi, 1.0 - 2.0 * turn, rows, count)
            par[min(count[0], len(par)) - 1, 16] = abs(over) + abs(rho * major - abs(minor))
        return
    roots = np.empty(6)
    found = 0
    size = abs(minor) / rho
    for turn in range(2):
        s = 1.0 - 2.0 * turn
        # r - s q: minor cos v + s minor az / rho sin v = s over / rho - major
        k = s * over / rho - major
        phase = atan2(s * minor * az, minor * rho)
        if abs(k) < size:
            d = acos(k / size)
            roots[found] = phase + d
            roots[found + 1] = phase - d
            found += 2
    if found == 0:
        q = (height - az * w0) / rho
        r = major + minor
        if (r - q) * (r + q) > 0.0:
            level_row(f, height, rho, 4.0, 0.0, 2.0 * pi, 1.0, rows, count)
            level_row(f, height, rho, 4.0, 0.0, 2.0 * pi, -1.0, rows, count)
        return
    for i in range(found):
        roots[i] -= 2.0 * pi * np.floor(roots[i] / (2.0 * pi))
    for i in range(1, found):
        j = i
        while j > 0 and roots[j] < roots[j - 1]:
            roots[j], roots[j - 1] = roots[j - 1], roots[j]
            j -= 1
    roots[found] = roots[0] + 2.0 * pi
    for i in range(found):
        va, vb = roots[i], roots[i + 1]
        if vb - va < 1e-9:
            continue
        v = 0.5 * (va + vb)
        r = major + minor * cos(v)
        q = (height - az * (w0 + minor * sin(v))) / rho
        if (r - q) * (r + q) > 0.0 and (abs(minor) <= abs(major) or r * sheet > 0.0):
            level_row(f, height, rho, 0.0, va, vb, 1.0, rows, count)
