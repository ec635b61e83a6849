"""The branches of a face's level curve in many planes, as rows of numbers."""

from __future__ import annotations

from math import acos, atan2, cos, hypot, sin, sqrt
from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel
from beadwright.section._kernels.codes import (
    B_ANGLE,
    B_CIRCLE,
    B_LINE,
    B_PUSHED,
    C_CIRCLE,
    C_ELLIPSE,
    C_LINE,
    C_SPLINE,
    PAR,
    PLANE,
    PUSHED_CONIC,
    PUSHED_SPLINE,
    SPHERE,
    TURNED_CIRCLE,
    TURNED_LINE,
    TURNED_SPLINE,
)
from beadwright.section._kernels.level import meridian, profile
from beadwright.section._kernels.nodes import bezier3, spline_root
from beadwright.section._kernels.quadric import turned_quadric
from beadwright.section._kernels.rows import add, level_row
from beadwright.section._kernels.tangency import NEAR, meridian_radius, pushed_sine
from beadwright.section._kernels.turned import UPRIGHT, turned_circle, turned_line


@helper
def meet(
    f: Any, i: int, spans: Any, v: float, height: float, rho: float, sign: float, work: Any, out: Any
) -> Any:
    """The value rho r + sign (az w - height): the sides of the plane that a meridian's points take as they turn."""
    profile(TURNED_SPLINE, f, i, i + 1, spans, v, work, out)
    return rho * out[0] + sign * (f[5] * out[1] - height)


@helper
def meeting(
    f: Any,
    i: int,
    spans: Any,
    height: float,
    rho: float,
    sign: float,
    ga: float,
    gb: float,
    work: Any,
    out: Any,
) -> Any:
    """The one place on a meridian's piece where `meet` changes its sign: regula falsi, halved when slow."""
    a, b = spans[0][i, 0], spans[0][i, 1]
    rises = gb > 0.0
    side = 0
    for k in range(100):
        if b - a <= 4e-16 * (abs(a) + abs(b)):
            break
        v = a - ga * (b - a) / (gb - ga) if k % 4 != 3 and gb != ga else 0.5 * (a + b)
        if not a < v < b:
            v = 0.5 * (a + b)
            if not a < v < b:
                break
        g = meet(f, i, spans, v, height, rho, sign, work, out)
        if (g > 0.0) == rises:
            b, gb = v, g
            if side == 1:
                ga *= 0.5
            side = 1
        else:
            a, ga = v, g
            if g == 0.0:
                b = v
            if side == 2:
                gb *= 0.5
            side = 2
    return 0.5 * (a + b)


@helper
def turned_spline(
    f: Any,
    first: int,
    last: int,
    spans: Any,
    reach: Any,
    h: float,
    rows: Any,
    count: Any,
    work: Any,
    out: Any,
) -> None:
    """Any meridian: where its circles of latitude begin and cease to meet the plane, then intervals between.

    A circle of latitude meets the plane where r^2 - q^2 > 0, rho q = height - az w, the product of
    rho (r - q) and rho (r + q). The pieces were cut where either turns, which no height moves: on each both
    rise or fall, and end signs tell all roots.
    """
    rho = hypot(f[3], f[4])
    height = h - f[2]
    az, sense = f[5], f[6]
    upright = rho < UPRIGHT
    if not upright and f[10] != 0.0:
        quadric_rows(f, first, last, reach, h, rows, count, out)
        return
    ends = spans[0]
    inside, turn_low, va = False, False, 0.0
    par = rows[1]
    place = np.empty(2)
    for i in range(first, last):
        met = reach[i, 0] <= h <= reach[i, 1]
        if met and upright:
            g0 = meet(f, i, spans, ends[i, 0], height, 0.0, 1.0, work, out)
            g1 = meet(f, i, spans, ends[i, 1], height, 0.0, 1.0, work, out)
            if (g0 > 0.0) != (g1 > 0.0):
                v = meeting(f, i, spans, height, 0.0, 1.0, g0, g1, work, out)
                meridian(TURNED_SPLINE, f, i, i + 1, spans, v, work, out)
                row = add(rows, count, B_CIRCLE, 1, C_CIRCLE)
                par[row, 0] = f[0] + f[3] * height / az
                par[row, 1] = f[1] + f[4] * height / az
                par[row, 2] = abs(out[0])
                par[row, 3] = 1.0 if sense * (g1 - g0) * az > 0.0 else -1.0
                par[row, 4] = v
                # a tilt lifts the circle's sides by rho x radius, and the section goes with the slope
                par[row, 12] = rho * abs(out[0] * out[6] / out[5]) if rho > 0.0 else 0.0
                par[row, 14] = abs(out[5])
                if abs(out[5]) < NEAR:
                    par[row, 15] = meridian_radius(f, i, i + 1, spans, v, work, out)
            continue
        if met:
            p0 = meet(f, i, spans, ends[i, 0], height, rho, 1.0, work, out)
            p1 = meet(f, i, spans, ends[i, 1], height, rho, 1.0, work, out)
            m0 = meet(f, i, spans, ends[i, 0], height, rho, -1.0, work, out)
            m1 = meet(f, i, spans, ends[i, 1], height, rho, -1.0, work, out)
            n = 0
            if (p0 > 0.0) != (p1 > 0.0):
                place[n] = meeting(f, i, spans, height, rho, 1.0, p0, p1, work, out)
                n += 1
            if (m0 > 0.0) != (m1 > 0.0):
                place[n] = meeting(f, i, spans, height, rho, -1.0, m0, m1, work, out)
                n += 1
            if n == 2 and place[0] > place[1]:
                place[0], place[1] = place[1], place[0]
            now = (p0 > 0.0) == (m0 > 0.0)
            if now and not inside:
                inside, turn_low, va = True, False, ends[i, 0]
            for j in range(n):
                v = place[j]
                if not inside:
                    inside, turn_low, va = True, True, v
                    continue
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


@helper
def quadric_rows(
    f: Any, first: int, last: int, reach: Any, h: float, rows: Any, count: Any, out: Any
) -> None:
    """A meridian that is a quadric's, where the plane meets it."""
    for i in range(first, last):
        if reach[i, 0] <= h <= reach[i, 1]:
            turned_quadric(f, f[11], f[12], f[13], f[14], f[15], f[16], f[10], f[17], h, rows, count, out)
            return


@helper
def pushed(
    kind: int,
    f: Any,
    first: int,
    last: int,
    spans: Any,
    h: float,
    rows: Any,
    count: Any,
    work: Any,
    out: Any,
) -> None:
    """Extrusions: an affine image of the directrix, or lines at its roots if the direction is level."""
    from_spline = kind == PUSHED_SPLINE
    outward = f[3] if from_spline else f[12]
    par = rows[1]
    dx, dy, dz = f[0], f[1], f[2]
    if abs(dz) >= 1e-12:
        sense = 1.0 if outward * dz > 0.0 else -1.0
        if from_spline:
            n = add(rows, count, B_PUSHED, 1 if f[4] > 0.0 else 0, C_SPLINE)
            par[n, 0], par[n, 1] = h, sense
            return
        n = add(rows, count, B_ANGLE, 1, C_ELLIPSE)
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
            n = add(rows, count, B_LINE, 0, C_LINE)
            par[n, 0] = f[3] + cos(u) * f[6] + sin(u) * f[9]
            par[n, 1] = f[4] + cos(u) * f[7] + sin(u) * f[10]
            par[n, 2], par[n, 3] = -outward * slope * dx, -outward * slope * dy
            pushed_sine(f, kind, first, last, spans, u, u, work, out)
            par[n, 14], par[n, 15], par[n, 16] = out[0], out[1], abs(dz)
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
            n = add(rows, count, B_LINE, 0, C_LINE)
            par[n, 0], par[n, 1] = work[0, 0] / work[0, 3], work[0, 1] / work[0, 3]
            par[n, 2], par[n, 3] = -outward * slope * dx, -outward * slope * dy
            u = ends[i, 0] + t * (ends[i, 1] - ends[i, 0])
            pushed_sine(f, kind, i, i + 1, spans, u, u, work, out)
            par[n, 14], par[n, 15], par[n, 16] = out[0], out[1], abs(dz)


@kernel
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
    par = np.zeros((capacity, PAR))
    rows = (table, par)
    count = np.zeros(1, np.int64)
    first_branch = np.zeros(len(pair_face) + 1, np.int64)
    most = 2
    for i in range(len(spans[1])):
        most = max(most, spans[1][i])
    work = np.empty((most + 3, 4))
    out = np.empty(7)
    for p in range(len(pair_face)):
        face = pair_face[p]
        h = heights[pair_plane[p]]
        f = fpar[face]
        k = kind[face]
        if k == PLANE:
            size = hypot(f[0], f[1])
            if size > 0.0:
                # the line n . x = d - n_z h, its foot from the origin; Z x n is its direction
                n = add(rows, count, B_LINE, 0, C_LINE)
                d = (f[3] - f[2] * h) / (size * size)
                par[n, 0], par[n, 1] = d * f[0], d * f[1]
                par[n, 2], par[n, 3] = -f[1] / size, f[0] / size
                par[n, 14] = size
        elif k == SPHERE:
            z = h - f[2]
            if abs(z) < f[3]:
                n = add(rows, count, B_CIRCLE, 1, C_CIRCLE)
                par[n, 0], par[n, 1], par[n, 2] = f[0], f[1], sqrt((f[3] - z) * (f[3] + z))
                par[n, 3] = 1.0 if f[4] > 0.0 else -1.0
                par[n, 14], par[n, 15] = par[n, 2] / f[3], f[3]
        elif k == TURNED_LINE:
            turned_line(f, h, rows, count, out)
        elif k == TURNED_CIRCLE:
            turned_circle(f, h, rows, count)
        elif k == TURNED_SPLINE:
            turned_spline(f, first[face], first[face + 1], spans, reach, h, rows, count, work, out)
        elif k in (PUSHED_CONIC, PUSHED_SPLINE):
            pushed(k, f, first[face], first[face + 1], spans, h, rows, count, work, out)
        first_branch[p + 1] = count[0]
    return first_branch, table, par
