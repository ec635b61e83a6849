"""Branches of cylinders, cones and tori about any axis."""

from __future__ import annotations

from math import acos, atan2, cos, hypot, pi, sin, sqrt
from typing import Any

import numpy as np

from beadwright.section._kernels.codes import (
    B_ANGLE,
    B_CIRCLE,
    B_LEVEL,
    B_LINE,
    C_CIRCLE,
    C_ELLIPSE,
    C_HYPERBOLA,
    C_LEVEL,
    C_LINE,
    C_PARABOLA,
)
from beadwright.section._kernels.options import helper

UPRIGHT = 1e-10
LEVEL_AXIS = 1e-6  # below it an ellipse's arc between two nodes is a line within L^2 az^2 / (8 r)
APEX = 1e-7  # a plane this near a cone's apex, mm: the hyperbola lies within that of its asymptotes


@helper
def add(rows: Any, count: Any, kind: int, closed: int, label: int) -> Any:
    """Append a branch; past the capacity only count."""
    n = count[0]
    count[0] = n + 1
    table = rows[0]
    if n < len(table):
        table[n, 0], table[n, 1], table[n, 2] = kind, closed, label
        return n
    return len(table) - 1


@helper
def turned_line(f: Any, h: float, rows: Any, count: Any) -> None:
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
        return
    ex, ey = f[3] / rho, f[4] / rho
    over = height - az * w0
    k = r0 * az * dw + dr * over
    away = 1.0
    near_level = dr == 0.0 and abs(az) < LEVEL_AXIS
    through_apex = dr != 0.0 and abs(k / dr) < APEX
    if near_level or through_apex:
        if near_level:
            wm = w0 + 0.5 * (f[7] + f[8]) * dw
            q = (height - az * wm) / rho
            if abs(q) >= abs(r0):
                return
            y0 = sqrt((r0 - q) * (r0 + q))
            x0 = (wm - az * height) / rho
            dx, dy = dw / rho, q * az * dw / (rho * y0)
        else:
            alpha = dr * dr - (az * dw / rho) ** 2
            if alpha <= 0.0:
                return
            wm = w0 - r0 / dr * dw
            x0, y0 = (wm - az * height) / rho, 0.0
            away = nappe if dr > 0.0 else -nappe
            dx, dy = away * dw / rho, sqrt(alpha)
        for turn in range(2):
            side = 1.0 - 2.0 * turn
            # v runs up where Y has the sign of -sense; away from the apex it may run down
            way = -side * sense * away
            lx, ly = way * dx, way * side * dy
            size = hypot(lx, ly)
            n = add(rows, count, B_LINE, 0, C_LINE)
            y = side * y0
            par[n, 0] = f[0] + x0 * ex - y * ey
            par[n, 1] = f[1] + x0 * ey + y * ex
            par[n, 2] = (lx * ex - ly * ey) / size
            par[n, 3] = (lx * ey + ly * ex) / size
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
    x_1, x_c, w_1, w_c, k = sign * x_1, sign * x_c, sign * w_1, sign * w_c, sign * k
    par[n, 0], par[n, 1], par[n, 2] = f[0] * w_1 + x_1 * ex, f[0] * w_c + x_c * ex, -k * ey
    par[n, 3], par[n, 4], par[n, 5] = f[1] * w_1 + x_1 * ey, f[1] * w_c + x_c * ey, k * ex
    par[n, 6], par[n, 7], par[n, 8] = w_1, w_c, 0.0
    par[n, 9] = -sense * sign
    par[n, 10], par[n, 11] = centre, half


@helper
def level_row(
    f: Any, height: float, rho: float, form: float, va: float, vb: float, side: float, rows: Any, count: Any
) -> None:
    """One branch of a surface of revolution about an inclined axis."""
    closed = 1 if form == 0.0 or form >= 4.0 else 0
    n = add(rows, count, B_LEVEL, closed, C_CIRCLE if form == 5.0 else C_LEVEL)
    par = rows[1]
    par[n, 0], par[n, 1], par[n, 2], par[n, 3] = form, va, vb, side
    par[n, 4], par[n, 5], par[n, 6] = height, rho, f[5]
    par[n, 7], par[n, 8] = f[0], f[1]
    par[n, 9], par[n, 10], par[n, 11] = f[3] / rho, f[4] / rho, f[6]


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
        return
    bitangent = abs(over) < UPRIGHT * major and abs(rho * major - abs(minor)) < UPRIGHT * major
    if bitangent and minor > 0.0:
        # Villarceau: Y = +-R (cos v + rho), X = R sin v: arcs of two circles, corners where they cross
        for turn in range(2):
            level_row(f, height, rho, 5.0, 0.0, 2.0 * pi, 1.0 - 2.0 * turn, rows, count)
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
