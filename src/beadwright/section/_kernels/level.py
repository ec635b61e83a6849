"""Points of the level curves of surfaces of revolution about an inclined axis.

With the axis A = (rho e, a_z), the height H of the plane over the origin and the meridian (r, w), the
curve is, in the frame (e, Z x e) about the origin,
``X = (w - a_z H) / rho``, ``Y^2 = r^2 - q^2``, ``q = (H - a_z w) / rho``:
the part of the circle of latitude that lies in the plane is r cos a = q, Y = r sin a.
"""

from __future__ import annotations

from math import cos, cosh, hypot, pi, sin, sinh, sqrt
from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel
from beadwright.section._kernels.codes import (
    B_ANGLE,
    B_CIRCLE,
    B_FREE,
    B_LEVEL,
    B_LINE,
    B_PUSHED,
    TURNED_CIRCLE,
    TURNED_SPLINE,
)
from beadwright.section._kernels.nodes import bezier3


@helper
def span_at(first: int, last: int, span: Any, v: float) -> int:
    """Row of the Bézier piece that holds a parameter."""
    low, high = first, last - 1
    while low < high:
        middle = (low + high) // 2
        if v > span[middle, 1]:
            low = middle + 1
        else:
            high = middle
    return low


@helper
def profile(kind: int, par: Any, first: int, last: int, spans: Any, v: float, work: Any, out: Any) -> None:
    """``out`` = r, w of a meridian; `spans` is (ends, degree, base, control)."""
    if kind == TURNED_CIRCLE:
        out[0] = par[9] + par[10] * cos(v)
        out[1] = par[11] + par[10] * sin(v)
        return
    ends, degree, base, control = spans
    i = span_at(first, last, ends, v)
    width = ends[i, 1] - ends[i, 0]
    n = degree[i]
    bezier3(control, base[i], n, (v - ends[i, 0]) / width, work)
    w = work[0, 3]
    out[0] = work[0, 0] / w
    out[1] = work[0, 1] / w
    if par[9] != 0.0:
        w1 = work[2, 3] - work[1, 3]
        r1 = (work[2, 0] - work[1, 0]) - out[0] * w1
        z1 = (work[2, 1] - work[1, 1]) - out[1] * w1
        size = hypot(r1, z1)
        move = par[9] if out[0] >= 0.0 else -par[9]
        out[0] += move * z1 / size
        out[1] -= move * r1 / size


@helper
def meridian(kind: int, par: Any, first: int, last: int, spans: Any, v: float, work: Any, out: Any) -> None:
    """As `profile`, and ``out[5:7]`` = unit normal of the meridian, across and along the axis."""
    profile(kind, par, first, last, spans, v, work, out)
    if kind == TURNED_CIRCLE:
        out[5], out[6] = cos(v), sin(v)
        return
    w, w1 = work[0, 3], work[2, 3] - work[1, 3]
    r1 = (work[2, 0] - work[1, 0]) - work[0, 0] / w * w1
    z1 = (work[2, 1] - work[1, 1]) - work[0, 1] / w * w1
    size = hypot(r1, z1)
    out[5], out[6] = (z1 / size, -r1 / size) if size > 0.0 else (0.0, 0.0)


@helper
def level_point(
    par: Any, kind: int, fpar: Any, first: int, last: int, spans: Any, s: float, work: Any, out: Any
) -> None:
    """``out[2:4]`` = x, y at parameter s of a B_LEVEL branch."""
    form, va, vb, side = par[0], par[1], par[2], par[3]
    height, rho, az, sense = par[4], par[5], par[6], par[11]
    if form == 0.0:
        s = s - 2.0 * pi * np.floor(s / (2.0 * pi))
        if s <= 0.5 * pi or s >= 1.5 * pi:
            v = va + (vb - va) * sin(0.5 * s) ** 2
        else:
            v = vb - (vb - va) * cos(0.5 * s) ** 2
        side = -sense if s < pi else sense
    elif form == 1.0:
        v = va + (vb - va) * s * s
        side = sense if s < 0.0 else -sense
    elif form == 2.0:
        v = vb - (vb - va) * s * s
        side = -sense if s < 0.0 else sense
    else:
        v = va + s if side * sense < 0.0 else vb - s
    profile(kind, fpar, first, last, spans, v, work, out)
    r, w = out[0], out[1]
    q = (height - az * w) / rho
    x = (w - az * height) / rho
    minus, plus = r - q, r + q
    if kind == TURNED_CIRCLE and form == 0.0:
        # the factor that vanishes at the nearer turn, from the distance to it: no cancellation
        lower = v - va <= vb - v
        d = (vb - va) * (sin(0.5 * s) ** 2 if lower else -(cos(0.5 * s) ** 2))
        end = va if lower else vb
        r_end = fpar[9] + fpar[10] * cos(end)
        q_end = (height - az * (fpar[11] + fpar[10] * sin(end))) / rho
        sign = 1.0 if abs(r_end - q_end) < abs(r_end + q_end) else -1.0
        value = 2.0 * fpar[10] * sin(0.5 * d)
        value *= sign * az / rho * cos(end + 0.5 * d) - sin(end + 0.5 * d)
        if sign > 0.0:
            minus = value
        else:
            plus = value
    if form == 5.0:
        y = side * fpar[9] * abs(cos(v) + rho)
    else:
        y = side * sqrt(max(0.0, minus * plus))
    out[2] = par[7] + x * par[9] - y * par[10]
    out[3] = par[8] + x * par[10] + y * par[9]
    out[4] = v


@kernel
def point(
    branch: int,
    par: Any,
    kind: int,
    fpar: Any,
    first: int,
    last: int,
    spans: Any,
    s: float,
    work: Any,
    out: Any,
) -> None:
    """``out[2:4]`` = x, y at parameter s of any branch but a free one."""
    if branch == B_LINE:
        out[2], out[3] = par[0] + s * par[2], par[1] + s * par[3]
    elif branch == B_CIRCLE:
        out[2], out[3] = par[0] + par[2] * cos(s), par[1] + par[3] * par[2] * sin(s)
    elif branch == B_ANGLE:
        one, c, d = 1.0, cos(s), par[9] * sin(s)
        if par[13] == 1.0:
            # of the same ratio: towards an asymptote an angle has no digits left
            one, c, d = cosh(s), 1.0, par[9] * sinh(s)
        w = par[6] * one + par[7] * c + par[8] * d
        out[2] = (par[0] * one + par[1] * c + par[2] * d) / w
        out[3] = (par[3] * one + par[4] * c + par[5] * d) / w
    elif branch == B_LEVEL:
        level_point(par, kind, fpar, first, last, spans, s, work, out)
    else:
        ends, degree, base, control = spans
        u = par[1] * s
        i = span_at(first, last, ends, u)
        bezier3(control, base[i], degree[i], (u - ends[i, 0]) / (ends[i, 1] - ends[i, 0]), work)
        w = work[0, 3]
        v = (par[0] - work[0, 2] / w) / fpar[2]
        out[2] = work[0, 0] / w + v * fpar[0]
        out[3] = work[0, 1] / w + v * fpar[1]
        out[4] = v


@helper
def meridian_at(f: Any, first: int, last: int, spans: Any, w: float, work: Any, out: Any) -> Any:
    """Parameter of a meridian that runs one way along the axis at the way w; beyond its ends if it has none."""
    ends = spans[0]
    low, high = ends[first, 0], ends[last - 1, 1]
    outside = 2.0 * high - low + 1.0
    for k in range(2):
        profile(TURNED_SPLINE, f, first, last, spans, low if k == 0 else high, work, out)
        if f[10] * (out[1] - w) * (1.0 - 2.0 * k) > 0.0:
            return outside
    for _ in range(60):
        v = 0.5 * (low + high)
        profile(TURNED_SPLINE, f, first, last, spans, v, work, out)
        if f[10] * (out[1] - w) > 0.0:
            high = v
        else:
            low = v
    return 0.5 * (low + high)


@kernel
def sample_points(
    branches: Any,
    table: Any,
    par: Any,
    faces: Any,
    heights: Any,
    face_kind: Any,
    fpar: Any,
    first_span: Any,
    spans: Any,
) -> Any:
    """A point of each branch, away from its start: rows x, y, v (v of the surface where it is known)."""
    result = np.zeros((len(branches), 3))
    most = 2
    for i in range(len(spans[1])):
        most = max(most, spans[1][i])
    work = np.empty((most + 3, 4))
    out = np.empty(7)
    for i in range(len(branches)):
        b, f = branches[i], faces[i]
        kind = table[b, 0]
        first, last = first_span[f], first_span[f + 1]
        if kind == B_FREE:
            continue
        s = 1.9
        if kind == B_PUSHED:
            low, high = spans[0][first, 0], spans[0][last - 1, 1]
            s = par[b, 1] * (low + 0.37 * (high - low))
        point(kind, par[b], face_kind[f], fpar[f], first, last, spans, s, work, out)
        result[i, 0], result[i, 1] = out[2], out[3]
        result[i, 2] = out[4]
        if kind == B_CIRCLE:
            result[i, 2] = par[b, 4]
        elif kind == B_ANGLE:
            result[i, 2] = par[b, 9] * s
        if kind in (B_CIRCLE, B_ANGLE) and face_kind[f] == TURNED_SPLINE and fpar[f, 10] != 0.0:
            w = (out[2] - fpar[f, 0]) * fpar[f, 3] + (out[3] - fpar[f, 1]) * fpar[f, 4]
            w += (heights[i] - fpar[f, 2]) * fpar[f, 5]
            result[i, 2] = meridian_at(fpar[f], first, last, spans, w, work, out)
        elif kind == B_PUSHED:
            result[i, 2] = par[b, 1] * s
    return result
