"""The angle between surface and plane along a branch: its least sine over a part, and the radius there.

Rounding and whatever else moves a surface by d moves its section by d / sin(angle). Below `NEAR` the part is
nearly tangent: then the section may lie sqrt(2 d R) beside, R the greatest radius of curvature of the surface.
"""

from __future__ import annotations

from math import atan2, cos, floor, hypot, pi, sin, sqrt
from typing import Any

from beadwright.compiled import helper
from beadwright.section._kernels.codes import (
    B_LEVEL,
    B_PUSHED,
    PUSHED_CONIC,
    TURNED_CIRCLE,
    TURNED_LINE,
    TURNED_SPLINE,
)
from beadwright.section._kernels.level import level_point, meridian, point, span_at
from beadwright.section._kernels.nodes import bezier3

NEAR = 1e-4
"""Sine below which a part of a curve is nearly tangent."""
SURE = 0.01
"""Sine above which no closer look is needed: a hundred times rounding is still nothing."""
ARC = 1.6
"""Length of an arc over its chord, at most, for steps along a level curve (half a turn has pi / 2)."""
STEPS = 8
STRAIGHT = 1e9
"""A radius of curvature beyond this, mm, is a straight line's."""
ASIDE = 1e-5


@helper
def quadric_of(kind: int, f: Any, out: Any) -> None:
    """``out[0:4]`` = a, b, c, w of r^2 = a + b t + c t^2, t the way along the axis from w."""
    if kind == TURNED_LINE:
        g = f[11] / f[12]
        out[0], out[1], out[2], out[3] = f[9] * f[9], 2.0 * g * f[9], g * g, f[10]
    else:
        out[0], out[1], out[2], out[3] = f[11], f[12], f[13], f[14]


@helper
def conic_sine(
    a: float, b: float, c: float, az: float, rho: float, height: float, x0: float, x1: float, out: Any
) -> None:
    """``out[0:2]`` = least sine for X in [x0, x1] on the section of r^2 = a + b w + c w^2; radius there.

    In the frame (e, Z x e) about the axis' origin the section is Y^2 = a + b w + c w^2 - q^2 with
    w = rho X + az height, q = rho height - az X. With p = b / 2 + c w the normal is (-az q - rho p, Y,
    rho q - az p): squares of the horizontal and the vertical part are quadratics in X, and the greatest
    quotient lies at the ends or at the root of a linear equation.
    """
    p0, p1 = 0.5 * b + c * az * height, c * rho
    q0, q1 = rho * height, -az
    w0 = az * height
    e0, e1 = -az * q0 - rho * p0, -az * q1 - rho * p1
    z0, z1 = rho * q0 - az * p0, rho * q1 - az * p1
    a0 = e0 * e0 + a + b * w0 + c * w0 * w0 - q0 * q0
    a1 = 2.0 * e0 * e1 + rho * (b + 2.0 * c * w0) - 2.0 * q0 * q1
    a2 = e1 * e1 + c * rho * rho - q1 * q1
    slope = z1 * a1 - 2.0 * a2 * z0
    turn = (z0 * a1 - 2.0 * z1 * a0) / slope if slope != 0.0 else x0
    if not min(x0, x1) < turn < max(x0, x1):
        turn = x0
    least, at = 2.0, x0
    for k in range(3):
        x = x0 if k == 0 else (x1 if k == 1 else turn)
        flat, up = max(0.0, a0 + x * (a1 + x * a2)), z0 + z1 * x
        whole = flat + up * up
        sine = sqrt(flat / whole) if whole > 0.0 else 0.0
        if sine < least:
            least, at = sine, x
    w = w0 + rho * at
    square, p = max(0.0, a + w * (b + c * w)), 0.5 * b + c * w
    size = sqrt(square + p * p)
    bent = abs(c * square - p * p)
    radius = size
    if bent * STRAIGHT > size**3:
        radius = max(radius, size**3 / bent)
    out[0], out[1] = least, radius


@helper
def pushed_normal(
    f: Any, kind: int, first: int, last: int, spans: Any, u: float, work: Any, out: Any
) -> None:
    """``out[0:3]`` = normal of an extrusion at the directrix' parameter u: tangent x direction."""
    if kind == PUSHED_CONIC:
        c, s = cos(u), sin(u)
        tx, ty, tz = c * f[9] - s * f[6], c * f[10] - s * f[7], c * f[11] - s * f[8]
    else:
        ends, degree, base, control = spans
        i = span_at(first, last, ends, u)
        bezier3(control, base[i], degree[i], (u - ends[i, 0]) / (ends[i, 1] - ends[i, 0]), work)
        w, w1 = work[0, 3], work[2, 3] - work[1, 3]
        tx = work[2, 0] - work[1, 0] - work[0, 0] / w * w1
        ty = work[2, 1] - work[1, 1] - work[0, 1] / w * w1
        tz = work[2, 2] - work[1, 2] - work[0, 2] / w * w1
    out[0], out[1], out[2] = ty * f[2] - tz * f[1], tz * f[0] - tx * f[2], tx * f[1] - ty * f[0]


@helper
def pushed_sine(
    f: Any, kind: int, first: int, last: int, spans: Any, u0: float, u1: float, work: Any, out: Any
) -> None:
    """``out[0:2]`` = least sine of an extrusion between two parameters of its directrix, and the radius.

    A tangent plane holds the direction of extrusion, so it is nowhere less steep than that. Conics: the
    greatest n_z^2 / |n_xy|^2 is a quotient of quadratic forms in (cos u, sin u), closed. Splines: the
    steeper of the direction and half the least of some places.
    """
    least, at = 2.0, u0
    rise = abs(f[2])
    count = 3 if kind == PUSHED_CONIC else 4 * (last - first) + 2
    for k in range(count):
        u = u0 + (u1 - u0) * k / (count - 1)
        if kind == PUSHED_CONIC and k == 1:
            # n = cos u P + sin u Q with P = minor x direction, Q = -major x direction
            pushed_normal(f, kind, first, last, spans, 0.0, work, out)
            px, py, pz = out[0], out[1], out[2]
            pushed_normal(f, kind, first, last, spans, 0.5 * pi, work, out)
            qx, qy, qz = out[0], out[1], out[2]
            aa, ab, bb = px * px + py * py, px * qx + py * qy, qx * qx + qy * qy
            u = atan2(aa * qz - ab * pz, bb * pz - ab * qz)
            u += pi * floor((max(u0, u1) - u) / pi)
            if u < min(u0, u1):
                continue
        pushed_normal(f, kind, first, last, spans, u, work, out)
        size = sqrt(out[0] ** 2 + out[1] ** 2 + out[2] ** 2)
        sine = hypot(out[0], out[1]) / size if size > 0.0 else 0.0
        if sine < least:
            least, at = sine, u
    if kind != PUSHED_CONIC and u0 != u1:
        least = max(min(1.0, rise), 0.5 * least)
    radius = 0.0
    if least < NEAR:
        # how fast the normal turns across the direction
        low, high = at - ASIDE, at + ASIDE
        if kind != PUSHED_CONIC:
            i = span_at(first, last, spans[0], at)
            aside = ASIDE * (spans[0][i, 1] - spans[0][i, 0])
            low, high = max(at - aside, spans[0][i, 0]), min(at + aside, spans[0][i, 1])
        pushed_normal(f, kind, first, last, spans, low, work, out)
        ax, ay, az = out[0], out[1], out[2]
        pushed_normal(f, kind, first, last, spans, high, work, out)
        mean = 0.5 * (sqrt(ax * ax + ay * ay + az * az) + sqrt(out[0] ** 2 + out[1] ** 2 + out[2] ** 2))
        cx, cy, cz = ay * out[2] - az * out[1], az * out[0] - ax * out[2], ax * out[1] - ay * out[0]
        turn = sqrt(cx * cx + cy * cy + cz * cz) / (mean * mean) if mean > 0.0 else 0.0
        way = mean * (high - low)
        if kind != PUSHED_CONIC:
            # de Casteljau's last step is the derivative over the degree, for a span of width one
            way *= spans[1][i] / (spans[0][i, 1] - spans[0][i, 0]) / work[0, 3]
        radius = way / turn if turn * STRAIGHT > way else STRAIGHT
    out[0], out[1] = least, radius


@helper
def level_sine(
    par: Any,
    kind: int,
    f: Any,
    first: int,
    last: int,
    spans: Any,
    bend: Any,
    s0: float,
    s1: float,
    work: Any,
    out: Any,
    found: Any,
) -> None:
    """``found[0:4]`` = least sine on a part of a level curve, radius and x, y there.

    The normal turns by at most the greatest curvature times the way, so between two places the sine is
    at least the mean of both less half of that; steps are shortened until this says something.
    """
    height, rho, az = par[4], par[5], par[6]
    here, step = s0, (s1 - s0) / STEPS
    found[0], found[1] = 2.0, 0.0
    smallest = 2.0
    t0, x0, y0, r0, i0 = 0.0, 0.0, 0.0, 0.0, first
    begun = False
    while True:
        s = min(s1, here + step) if begun else s0
        level_point(par, kind, f, first, last, spans, s, work, out)
        x1, y1, v = out[2], out[3], out[4]
        meridian(kind, f, first, last, spans, v, work, out)
        r1, i1 = abs(out[0]), first
        if kind == TURNED_SPLINE:
            i1 = span_at(first, last, spans[0], v)
        q = (height - az * out[1]) / rho
        across = max(-1.0, min(1.0, q / out[0])) if out[0] != 0.0 else 0.0
        side = sqrt((1.0 - across) * (1.0 + across))
        t1 = hypot(rho * out[6] - az * out[5] * across, out[5] * side)
        if begun:
            way = ARC * hypot(x1 - x0, y1 - y0)
            curved = 1.0 / abs(f[10]) if kind == TURNED_CIRCLE else 0.0
            if kind == TURNED_SPLINE:
                for i in range(min(i0, i1), max(i0, i1) + 1):
                    curved = max(curved, bend[i])
            inner = min(r0, r1) - way
            low = -1.0
            if inner > 0.0:
                low = 0.5 * (t0 + t1 - way * max(curved, 1.0 / inner))
            least = min(t0, t1)
            fine = low >= SURE or low >= 0.5 * least
            if not fine and least >= NEAR and step > 1e-9 * (s1 - s0):
                step *= 0.25
                continue
            found[0] = min(found[0], low if fine else 0.5 * least)
            here = s
            step *= 2.0
        if t1 < smallest:
            smallest = t1
            found[2], found[3] = x1, y1
            curve = (
                abs(f[10]) if kind == TURNED_CIRCLE else meridian_radius(f, first, last, spans, v, work, out)
            )
            found[1] = max(curve, r1 / max(abs(out[5]), 1.0 / STRAIGHT))
        t0, x0, y0, r0, i0 = t1, x1, y1, r1, i1
        begun = True
        if here >= s1:
            break


@helper
def meridian_radius(f: Any, first: int, last: int, spans: Any, v: float, work: Any, out: Any) -> Any:
    """Radius of curvature of a spline meridian, from the turn of its normal close by; out as `meridian`."""
    ends = spans[0]
    i = span_at(first, last, ends, v)
    aside = ASIDE * (ends[i, 1] - ends[i, 0])
    meridian(TURNED_SPLINE, f, i, i + 1, spans, max(ends[i, 0], v - aside), work, out)
    r, w, nr, nw = out[0], out[1], out[5], out[6]
    meridian(TURNED_SPLINE, f, i, i + 1, spans, min(ends[i, 1], v + aside), work, out)
    way = hypot(out[0] - r, out[1] - w)
    turn = abs(nr * out[6] - nw * out[5])
    meridian(TURNED_SPLINE, f, i, i + 1, spans, v, work, out)
    return way / turn if turn * STRAIGHT > way else STRAIGHT


@helper
def least_sine(
    branch: int,
    par: Any,
    kind: int,
    f: Any,
    first: int,
    last: int,
    spans: Any,
    bend: Any,
    s0: float,
    s1: float,
    work: Any,
    out: Any,
    found: Any,
) -> None:
    """``found[0:4]`` = least sine on [s0, s1] of an angle, pushed or level branch, radius and x, y there."""
    if branch == B_LEVEL:
        level_sine(par, kind, f, first, last, spans, bend, s0, s1, work, out, found)
        return
    point(branch, par, kind, f, first, last, spans, s0, work, out)
    x, y = out[2], out[3]
    if kind == PUSHED_CONIC:
        pushed_sine(f, kind, first, last, spans, par[9] * s0, par[9] * s1, work, out)
    elif branch == B_PUSHED:
        low, high = spans[0][first, 0], spans[0][last - 1, 1]
        u0, u1 = par[1] * s0, par[1] * s1
        if min(u0, u1) < low or max(u0, u1) > high:
            u0, u1 = low, high
        pushed_sine(f, kind, first, last, spans, u0, u1, work, out)
    else:
        # the way along the tilt is monotone in cos s: ends, and where the cosine turns
        rho = hypot(f[3], f[4])
        quadric_of(kind, f, out)
        a, b, c, w = out[0], out[1], out[2], out[3]
        ex, ey = f[3] / rho, f[4] / rho
        ox, oy = f[0] + w * f[3], f[1] + w * f[4]
        low, high = 1e300, -1e300
        for k in range(4):
            s = s0 if k == 0 else s1
            if k > 1 and par[13] == 1.0:
                s = min(s1, max(s0, 0.0))
            elif k > 1:
                s = (k - 2.0) * pi + 2.0 * pi * floor((s1 - (k - 2.0) * pi) / (2.0 * pi))
                if s < s0:
                    continue
            point(branch, par, kind, f, first, last, spans, s, work, out)
            along = (out[2] - ox) * ex + (out[3] - oy) * ey
            low, high = min(low, along), max(high, along)
        conic_sine(a, b, c, f[5], rho, par[14], low, high, out)
    found[0], found[1], found[2], found[3] = out[0], out[1], x, y
