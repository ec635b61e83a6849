"""The branches of a face's level curve in many planes, as rows of numbers."""

from __future__ import annotations

from math import acos, atan2, cos, hypot, sin, sqrt
from typing import Any

import numpy as np

from beadwright.section._kernels.codes import (
    B_ANGLE,
    B_CIRCLE,
    B_LINE,
    B_PUSHED,
    C_CIRCLE,
    C_ELLIPSE,
    C_LINE,
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
from beadwright.section._kernels.options import helper, kernel
from beadwright.section._kernels.turned import UPRIGHT, add, level_row, turned_circle, turned_line

SAMPLES = 24


@helper
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


@helper
def dip(
    f: Any,
    i: int,
    spans: Any,
    height: float,
    rho: float,
    a: float,
    b: float,
    sign: float,
    work: Any,
    out: Any,
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
                dips = j >= 2 and before * behind > 0.0 and before * g > 0.0
                dips = dips and abs(before) < abs(behind) and abs(before) < abs(g)
                if dips:
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
                row = add(rows, count, B_CIRCLE, 1, C_CIRCLE)
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


@helper
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
            par[n, 2], par[n, 3] = -out * slope * dx, -out * slope * dy
        return
    _, degree, base, control = spans
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
            par[n, 2], par[n, 3] = -out * slope * dx, -out * slope * dy


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
                n = add(rows, count, B_LINE, 0, C_LINE)
                d = (f[3] - f[2] * h) / (size * size)
                par[n, 0], par[n, 1] = d * f[0], d * f[1]
                par[n, 2], par[n, 3] = -f[1] / size, f[0] / size
        elif k == SPHERE:
            z = h - f[2]
            if abs(z) < f[3]:
                n = add(rows, count, B_CIRCLE, 1, C_CIRCLE)
                par[n, 0], par[n, 1], par[n, 2] = f[0], f[1], sqrt((f[3] - z) * (f[3] + z))
                par[n, 3] = 1.0 if f[4] > 0.0 else -1.0
        elif k == TURNED_LINE:
            turned_line(f, h, rows, count)
        elif k == TURNED_CIRCLE:
            turned_circle(f, h, rows, count)
        elif k == TURNED_SPLINE:
            turned_spline(f, first[face], first[face + 1], spans, reach, h, rows, count, work, out)
        elif k in (PUSHED_CONIC, PUSHED_SPLINE):
            pushed(k, f, first[face], first[face + 1], spans, h, rows, count, work)
        first_branch[p + 1] = count[0]
    return first_branch, table, par
