"""The branches of a face's level curve in many planes, as rows of numbers."""

from __future__ import annotations

from math import acos, atan2, cos, hypot, pi, sin, sqrt
from typing import Any

import numpy as np
from numba import njit

from beadwright.section._kernels.codes import (
    B_ANGLE,
    B_CIRCLE,
    B_LEVEL,
    B_LINE,
    B_PUSHED,
    C_CIRCLE,
    C_ELLIPSE,
    C_HYPERBOLA,
    C_LEVEL,
    C_LINE,
    C_PARABOLA,
    C_SPLINE,
    PLANE,
    PUSHED_CONIC,
    PUSHED_SPLINE,
    SPHERE,
    TURNED_CIRCLE,
    TURNED_LINE,
    TURNED_SPLINE,
)
from beadwright.section._kernels.level import excess, profile
from beadwright.section._kernels.nodes import bezier3, spline_root

UPRIGHT = 1e-10
LEVEL_AXIS = 1e-6  # below it an ellipse's arc between two nodes is a line within L^2 az^2 / (8 r)
APEX = 1e-7  # a plane this near a cone's apex, mm: the hyperbola lies within that of its asymptotes
SAMPLES = 24


@njit(cache=True)
def add(rows: Any, count: Any, kind: int, closed: int, label: int, sense: float) -> int:
    """Append a branch; past the capacity only count."""
    n = count[0]
    count[0] = n + 1
    table, par = rows
    if n < len(table):
        table[n, 0], table[n, 1], table[n, 2] = kind, closed, label
        return n
    return len(table) - 1


@njit(cache=True)
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
        n = add(rows, count, B_CIRCLE, 1, C_CIRCLE, sense)
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
            n = add(rows, count, B_LINE, 0, C_LINE, sense)
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
    n = add(rows, count, B_ANGLE, closed, label, sense)
    x_1, x_c, w_1, w_c, k = sign * x_1, sign * x_c, sign * w_1, sign * w_c, sign * k
    par[n, 0], par[n, 1], par[n, 2] = f[0] * w_1 + x_1 * ex, f[0] * w_c + x_c * ex, -k * ey
    par[n, 3], par[n, 4], par[n, 5] = f[1] * w_1 + x_1 * ey, f[1] * w_c + x_c * ey, k * ex
    par[n, 6], par[n, 7], par[n, 8] = w_1, w_c, 0.0
    par[n, 9] = -sense * sign
    par[n, 10], par[n, 11] = centre, half


@njit(cache=True)
def level_row(
    f: Any, height: float, rho: float, form: float, va: float, vb: float, side: float, rows: Any, count: Any
) -> None:
    """One branch of a surface of revolution about an inclined axis."""
    closed = 1 if form == 0.0 or form >= 4.0 else 0
    n = add(rows, count, B_LEVEL, closed, C_CIRCLE if form == 5.0 else C_LEVEL, f[6])
    par = rows[1]
    par[n, 0], par[n, 1], par[n, 2], par[n, 3] = form, va, vb, side
    par[n, 4], par[n, 5], par[n, 6] = height, rho, f[5]
    par[n, 7], par[n, 8] = f[0], f[1]
    par[n, 9], par[n, 10], par[n, 11] = f[3] / rho, f[4] / rho, f[6]


@njit(cache=True)
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
            n = add(rows, count, B_CIRCLE, 1, C_CIRCLE, sense)
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
            n = add(rows, count, B_CIRCLE, 1, C_CIRCLE, sense)
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


@njit(cache=True)
def refine(
    f: Any, i: int, spans: Any, height: float, rho: float, a: float, b: float, ga: float, work: Any, out: Any
) -> Any:
    """Halve [a, b] down to the sign change of `excess` (``ga`` is its value at a): the place."""
    for _ in range(54):
        v = 0.5 * (a + b)
        g = excess(TURNED_SPLINE, f, i, i + 1, spans, height, rho, v, work, out)
        if (g > 0.0) == (ga > 0.0):
            a = v
        else:
            b = v
    return 0.5 * (a + b)


@njit(cache=True)
def dip(
    f: Any, i: int, spans: Any, height: float, rho: float, a: float, b: float, sign: float, work: Any, out: Any
) -> Any:
    """Where `excess` times ``sign`` is least on [a, b], by golden section, and its value there."""
    v, g = a, 0.0
    best, at = 1e300, a
    gp, gq = 0.0, 0.0
    for turn in range(80):
        # two values to begin with, then one a round
        p, q = a + 0.38196601125 * (b - a), a + 0.61803398875 * (b - a)
        v = p if turn % 2 == 0 else q
        g = sign * excess(TURNED_SPLINE, f, i, i + 1, spans, height, rho, v, work, out)
        if g < best:
            best, at = g, v
        if best < 0.0:
            break
        if turn % 2 == 0:
            gp = g
        else:
            gq = g
            if gp < gq:
                b = q
            else:
                a = p
    return at, best


@njit(cache=True)
def turned_spline(
    f: Any, first: int, last: int, spans: Any, reach: Any, h: float, rows: Any, count: Any, work: Any, out: Any
) -> None:
    """Any meridian: roots of `excess` on each piece that the plane can meet, then intervals between them.

    Values at equal steps, and at the least value between them where three neighbours dip towards zero
    without a change of sign.
    """
    rho = hypot(f[3], f[4])
    height = h - f[2]
    az, sense = f[5], f[6]
    upright = rho < UPRIGHT
    if upright:
        rho = 0.0
    ends = spans[0]
    place, value = np.empty(2 * SAMPLES + 3), np.empty(2 * SAMPLES + 3)
    inside, turn_low, va = False, False, 0.0
    par = rows[1]
    for i in range(first, last):
        met = reach[i, 0] <= h <= reach[i, 1]
        n = 0
        if met:
            before, behind = 0.0, 0.0
            for j in range(SAMPLES + 1):
                v = ends[i, 0] + (ends[i, 1] - ends[i, 0]) * j / SAMPLES
                g = excess(TURNED_SPLINE, f, i, i + 1, spans, height, rho, v, work, out)
                if j >= 2 and before * behind > 0.0 and before * g > 0.0:
                    if abs(before) < abs(behind) and abs(before) < abs(g):
                        sign = 1.0 if before > 0.0 else -1.0
                        step = (ends[i, 1] - ends[i, 0]) / SAMPLES
                        at, low = dip(f, i, spans, height, rho, v - 2.0 * step, v, sign, work, out)
                        if low < 0.0:
                            # keep the row in order: the dip may lie before or after the middle sample
                            if at < place[n - 1]:
                                place[n], value[n] = place[n - 1], value[n - 1]
                                place[n - 1], value[n - 1] = at, sign * low
                            else:
                                place[n], value[n] = at, sign * low
                            n += 1
                place[n], value[n] = v, g
                n += 1
                behind, before = before, g
        for j in range(n):
            v = place[j]
            if j == 0:
                if not upright and value[0] > 0.0 and not inside:
                    inside, turn_low, va = True, False, v
                continue
            if (value[j - 1] > 0.0) == (value[j] > 0.0):
                continue
            v = refine(f, i, spans, height, rho, place[j - 1], v, value[j - 1], work, out)
            if upright:
                profile(TURNED_SPLINE, f, i, i + 1, spans, v, work, out)
                row = add(rows, count, B_CIRCLE, 1, C_CIRCLE, sense)
                par[row, 0] = f[0] + f[3] * height / az
                par[row, 1] = f[1] + f[4] * height / az
                par[row, 2] = abs(out[0])
                par[row, 3] = 1.0 if sense * (value[j] - value[j - 1]) * az > 0.0 else -1.0
                par[row, 4] = v
            elif value[j] > 0.0:
                inside, turn_low, va = True, True, v
            elif inside:
                if v > va:
                    level_row(f, height, rho, 0.0 if turn_low else 2.0, va, v, 1.0, rows, count)
                inside = False
        goes_on = met and i + 1 < last and reach[i + 1, 0] <= h <= reach[i + 1, 1]
        if inside and not goes_on:
            v = ends[i, 1]
            for turn in range(1 if turn_low else 2):
                form = 1.0 if turn_low else 3.0
                level_row(f, height, rho, form, va, v, 1.0 - 2.0 * turn, rows, count)
            inside = False


@njit(cache=True)
def pushed(
    kind: int, f: Any, first: int, last: int, spans: Any, h: float, rows: Any, count: Any, work: Any
) -> None:
    """Extrusions: an affine image of the directrix, or lines at its roots if the direction is level."""
    from_spline = kind == PUSHED_SPLINE
    out = f[3] if from_spline else f[12]
    par = rows[1]
    dx, dy, dz = f[0], f[1], f[2]
    if abs(dz) >= 1e-12:
        sense = 1.0 if out * dz > 0.0 else -1.0
        if from_spline:
            n = add(rows, count, B_PUSHED, 1 if f[4] > 0.0 else 0, C_SPLINE, sense)
            par[n, 0], par[n, 1] = h, sense
            return
        n = add(rows, count, B_ANGLE, 1, C_ELLIPSE, sense)
        for i in range(2):
            d = dx if i == 0 else dy
            par[n, 3 * i] = f[3 + i] + (h - f[5]) / dz * d
            par[n, 3 * i + 1] = f[6 + i] - f[8] / dz * d
            par[n, 3 * i + 2] = f[9 + i] - f[11] / dz * d
        par[n, 6], par[n, 7], par[n, 8] = 1.0, 0.0, 0.0
        par[n, 9] = sense
        return
    if not from_spline:
        size = hypot(f[8], f[11])
        g = (h - f[5]) / size if size > 0.0 else 2.0
        if abs(g) >= 1.0:
            return
        phase = atan2(f[11], f[8])
        for turn in range(2):
            u = phase + (acos(g) if turn == 0 else -acos(g))
            slope = 1.0 if turn == 1 else -1.0
            n = add(rows, count, B_LINE, 0, C_LINE, out)
            par[n, 0] = f[3] + cos(u) * f[6] + sin(u) * f[9]
            par[n, 1] = f[4] + cos(u) * f[7] + sin(u) * f[10]
            par[n, 2], par[n, 3] = -out * slope * dx, -out * slope * dy
        return
    ends, degree, base, control = spans
    for i in range(first, last):
        b, d = base[i], degree[i]
        z0 = control[b, 2] - h * control[b, 3]
        z1 = control[b + d, 2] - h * control[b + d, 3]
        if (z0 >= 0.0) != (z1 >= 0.0):
            t = spline_root(control, b, d, h, work)
            bezier3(control, b, d, t, work)
            slope = 1.0 if z1 > z0 else -1.0
            n = add(rows, count, B_LINE, 0, C_LINE, out)
            par[n, 0], par[n, 1] = work[0, 0] / work[0, 3], work[0, 1] / work[0, 3]
            par[n, 2], par[n, 3] = -out * slope * dx, -out * slope * dy


@njit(cache=True)
def fill(
    pair_face: Any,
    pair_plane: Any,
    heights: Any,
    kind: Any,
    fpar: Any,
    first: Any,
    spans: Any,
    reach: Any,
    capacity: int,
) -> Any:
    """All branches of the pairs (face, plane), free faces left out.

    Returns ``first_branch`` (pairs + 1), ``table`` (kind, closed, label), ``par``; if the count passed
    the capacity, ``first_branch[-1]`` says how many are needed.
    """
    table = np.zeros((capacity, 3), np.int64)
    par = np.zeros((capacity, 12))
    rows = (table, par)
    count = np.zeros(1, np.int64)
    first_branch = np.zeros(len(pair_face) + 1, np.int64)
    most = 2
    for i in range(len(spans[1])):
        most = max(most, spans[1][i])
    work = np.empty((most + 3, 4))
    out = np.empty(5)
    for p in range(len(pair_face)):
        face = pair_face[p]
        h = heights[pair_plane[p]]
        f = fpar[face]
        k = kind[face]
        if k == PLANE:
            size = hypot(f[0], f[1])
            if size > 0.0:
                # the line n . x = d - n_z h, its foot from the origin; Z x n is its direction
                n = add(rows, count, B_LINE, 0, C_LINE, 1.0)
                d = (f[3] - f[2] * h) / (size * size)
                par[n, 0], par[n, 1] = d * f[0], d * f[1]
                par[n, 2], par[n, 3] = -f[1] / size, f[0] / size
        elif k == SPHERE:
            z = h - f[2]
            if abs(z) < f[3]:
                n = add(rows, count, B_CIRCLE, 1, C_CIRCLE, f[4])
                par[n, 0], par[n, 1], par[n, 2] = f[0], f[1], sqrt((f[3] - z) * (f[3] + z))
                par[n, 3] = 1.0 if f[4] > 0.0 else -1.0
        elif k == TURNED_LINE:
            turned_line(f, h, rows, count)
        elif k == TURNED_CIRCLE:
            turned_circle(f, h, rows, count)
        elif k == TURNED_SPLINE:
            turned_spline(f, first[face], first[face + 1], spans, reach, h, rows, count, work, out)
        elif k == PUSHED_CONIC or k == PUSHED_SPLINE:
            pushed(k, f, first[face], first[face + 1], spans, h, rows, count, work)
        first_branch[p + 1] = count[0]
    return first_branch, table, par
