"""Level curves carried as quintic Bezier pieces, with the distance from the curve bounded."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel
from beadwright.section._kernels.bernstein import basis, copy_row, evaluate
from beadwright.section._kernels.free_trace import point

CHECKS = 5
"""Places inside a piece where it is compared with the surface."""
LEAST = 1e-9
"""A part shorter than this fraction of its piece is carried as it is, with the bound that it has."""
MOST = 500
"""Quintics on one piece beyond which they are taken as they are, with the bound that they have."""


@helper
def ends_of_arc(
    coef: Any,
    h: Any,
    metric: Any,
    box: Any,
    way: Any,
    ends: Any,
    f: Any,
    work: Any,
    out: Any,
    uv: Any,
    data: Any,
) -> Any:
    """Point, unit tangent and turning of the curve at a fraction of a piece.

    data (14,) gets x, y; tx, ty; curvature; u, v; first and second derivatives of (u, v) by arc length;
    tan of the angle between surface and plane; residual of the height; normal curvature times up.
    """
    point(coef, h, metric, box, way, ends, f, work, out, uv)
    evaluate(coef, uv[0], uv[1], 2, work, out)
    zu = out[1, 2]
    zv = out[2, 2]
    vx = zv * out[1, 0] - zu * out[2, 0]
    vy = zv * out[1, 1] - zu * out[2, 1]
    length = np.hypot(vx, vy)
    data[0] = out[0, 0]
    data[1] = out[0, 1]
    data[5] = uv[0]
    data[6] = uv[1]
    data[12] = abs(out[0, 2] - h)
    if length == 0.0:
        return False
    tx = vx / length
    ty = vy / length
    du = zv / length
    dv = -zu / length
    qx = out[3, 0] * du * du + 2.0 * out[4, 0] * du * dv + out[5, 0] * dv * dv
    qy = out[3, 1] * du * du + 2.0 * out[4, 1] * du * dv + out[5, 1] * dv * dv
    qz = out[3, 2] * du * du + 2.0 * out[4, 2] * du * dv + out[5, 2] * dv * dv
    # zu u'' + zv v'' = -qz and T . (Su u'' + Sv v'' + q) = 0; the determinant is -length.
    su = tx * out[1, 0] + ty * out[1, 1]
    sv = tx * out[2, 0] + ty * out[2, 1]
    r = -(tx * qx + ty * qy)
    ddu = (-qz * sv - zv * r) / -length
    ddv = (zu * r + qz * su) / -length
    cx = out[1, 0] * ddu + out[2, 0] * ddv + qx
    cy = out[1, 1] * ddu + out[2, 1] * ddv + qy
    data[2] = tx
    data[3] = ty
    data[4] = tx * cy - ty * cx
    data[7] = du
    data[8] = dv
    data[9] = ddu
    data[10] = ddv
    nz = out[1, 0] * out[2, 1] - out[1, 1] * out[2, 0]
    data[11] = length / abs(nz) if nz != 0.0 else np.inf
    return True


@helper
def quintic(d0: Any, d1: Any, length: Any, control: Any) -> Any:
    """Control points (6, 4) of (x, y, u, v): both ends' point, tangent and turning, speed ``length``."""
    for k in range(2):
        d = d0 if k == 0 else d1
        base = 0 if k == 0 else 5
        step = 1 if k == 0 else -1
        nx = -d[3] * d[4]
        ny = d[2] * d[4]
        for c in range(4):
            at = d[c] if c < 2 else d[c + 3]
            first = d[2 + c] if c < 2 else d[c + 5]
            second = (nx if c == 0 else ny) if c < 2 else d[c + 7]
            first *= length * step
            second *= length * length
            control[base, c] = at
            control[base + step, c] = at + first / 5.0
            control[base + 2 * step, c] = at + 0.4 * first + second / 20.0


@helper
def deviation(
    coef: Any, h: Any, control: Any, curvature: Any, noise: Any, table: Any, work: Any, out: Any
) -> Any:
    """Greatest distance of a quintic from the level curve, from `CHECKS` places inside; and least tan.

    At each place the quintic's (u, v) lies on the surface exactly. To first order the quintic is away from
    the curve by its offset from that point across the curve less the residual of the height over the
    slope; second order terms are added. Divided by t^3 (1 - t)^3, to which all vanish by construction,
    the distance (less what rounding makes of it) changes slowly; its greatest value gives that of the
    whole piece.
    """
    worst = 0.0
    second = 0.0
    flat = np.inf
    for k in range(CHECKS):
        x = 0.0
        y = 0.0
        u = 0.0
        v = 0.0
        for i in range(6):
            x += table[k, i] * control[i, 0]
            y += table[k, i] * control[i, 1]
            u += table[k, i] * control[i, 2]
            v += table[k, i] * control[i, 3]
        if not (-1.0 <= u <= 2.0 and -1.0 <= v <= 2.0):
            # Ends that turn as sharply as this throw the middle far off the patch: nothing said there counts.
            return np.inf, 0.0
        evaluate(coef, u, v, 1, work, out)
        nx = out[1, 1] * out[2, 2] - out[1, 2] * out[2, 1]
        ny = out[1, 2] * out[2, 0] - out[1, 0] * out[2, 2]
        nz = out[1, 0] * out[2, 1] - out[1, 1] * out[2, 0]
        rise = np.hypot(nx, ny)
        if rise == 0.0:
            return np.inf, 0.0
        flat = min(flat, rise / abs(nz) if nz != 0.0 else np.inf)
        dx = x - out[0, 0]
        dy = y - out[0, 1]
        slip = (out[0, 2] - h) * nz / rise
        d = abs((dx * nx + dy * ny) / rise - slip)
        floor = noise * max(1.0, abs(nz) / rise)
        worst = max(worst, d, (d - 2.0 * floor) / table[k, 6])
        second = max(second, (np.hypot(dx, dy) + abs(slip)) ** 2 * curvature)
    return worst + second, flat


@kernel
def carry(
    coef: Any,
    metric: Any,
    heights: Any,
    size: Any,
    tolerance: Any,
    piece_span: Any,
    piece_box: Any,
    piece_way: Any,
    piece_uv: Any,
    piece_xy: Any,
    jobs: Any,
    fractions: Any,
    control: Any,
    first: Any,
    bound: Any,
    flat: Any,
    unsure: Any,
) -> Any:
    """Quintics for parts of pieces; returns their number, -1 if ``control`` is too short.

    Parameters
    ----------
    jobs : (n, 3) int64
        Row of the result, plane, piece.
    fractions : (n, 2) float
        From where to where on the piece.
    control : (m, 6, 2) float
        Out.
    first : (n + 1,) int64
        Out: first quintic of each job.
    bound, flat, unsure : (n,) float
        Out: bound; least tan of the angle between surface and plane; what rounding may move the curve.
    """
    n = max(coef.shape[1], coef.shape[2])
    work = np.empty((6, n))
    out = np.empty((6, 4))
    uv = np.empty(2)
    table = np.empty((CHECKS, 7))
    short = np.empty((3, 6))
    for k in range(CHECKS):
        t = 0.5 - 0.5 * np.cos(np.pi * (k + 0.5) / CHECKS)
        basis(5, t, 0, short)
        copy_row(short[0], 6, table[k])
        table[k, 6] = 64.0 * (t * (1.0 - t)) ** 3
    data = np.empty((2, 14))
    stride = np.inf
    patch = np.empty((6, 4))
    count = 0
    for k in range(len(jobs)):
        plane = jobs[k, 1]
        i = jobs[k, 2]
        s = piece_span[i, 0]
        h = heights[plane]
        if k > 0 and plane != jobs[k - 1, 1]:
            # A plane's pieces must not depend on the planes cut with it: each begins without a length tried.
            stride = np.inf
        noise = 1e-15 * (size + abs(h))
        first[k] = count
        bound[k] = 0.0
        flat[k] = np.inf
        unsure[k] = 0.0
        here = fractions[k, 0]
        end = fractions[k, 1]
        box = piece_box[i]
        smooth = piece_span[i, 1] == 1
        if smooth:
            smooth = ends_of_arc(
                coef[s], h, metric[s], box, piece_way[i], piece_uv[i], here, work, out, uv, data[0]
            )
        reach = np.hypot(piece_xy[i, 2] - piece_xy[i, 0], piece_xy[i, 3] - piece_xy[i, 1])
        width = min(stride / reach, end - here) if reach > 0.0 else end - here
        if width < LEAST:
            # The piece before was a point, whose length says nothing about this one.
            width = end - here
        while True:
            width = (end - here) / np.ceil(0.999 * (end - here) / width) if width > 0.0 else 0.0
            following = here + width if here + 1.5 * width < end else end
            if count - first[k] >= MOST:
                following = end
            if smooth:
                smooth = ends_of_arc(
                    coef[s], h, metric[s], box, piece_way[i], piece_uv[i], following, work, out, uv, data[1]
                )
            if not smooth:
                # Too small a cell, or a point where surface and plane touch: straight on to the end.
                if count == len(control):
                    return -1
                for c in range(6):
                    for e in range(2):
                        a = piece_xy[i, e] + here * (piece_xy[i, 2 + e] - piece_xy[i, e])
                        b = piece_xy[i, e] + end * (piece_xy[i, 2 + e] - piece_xy[i, e])
                        control[count, c, e] = a + (b - a) * c / 5.0
                count += 1
                bound[k] = (box[2] - box[0]) * metric[s, 0] + (box[3] - box[1]) * metric[s, 1]
                flat[k] = 0.0
                break
            d0 = data[0]
            d1 = data[1]
            chord = np.hypot(d1[0] - d0[0], d1[1] - d0[1])
            turn = np.arctan2(d0[2] * d1[3] - d0[3] * d1[2], d0[2] * d1[2] + d0[3] * d1[3])
            half = 0.5 * abs(turn)
            length = chord * (half / np.sin(half) if half > 1e-6 else 1.0)
            quintic(d0, d1, length, patch)
            off, low = deviation(
                coef[s], h, patch, abs(d0[4]) + abs(d1[4]) + 2.0 / max(chord, 1e-9), noise, table, work, out
            )
            off *= 1.5
            angle = min(low, d0[11], d1[11])
            shake = noise / min(angle, 1.0) if angle > 0.0 else np.inf
            # The error goes with the sixth power of the length.
            ratio = min(max(0.95 * (tolerance / max(off, 1e-300)) ** (1.0 / 6.0), 0.1), 3.0)
            free = following - here > LEAST and count - first[k] < MOST
            wild = not off < np.inf
            if free and (wild or (off > 3.0 * shake and (off + shake > tolerance or half > 0.8))):
                width = (following - here) * min(ratio, 0.7)
                continue
            if wild:
                smooth = False
                continue
            if count == len(control):
                return -1
            for c in range(6):
                copy_row(patch[c], 2, control[count, c])
            count += 1
            bound[k] = max(bound[k], off + shake)
            flat[k] = min(flat[k], angle)
            unsure[k] = max(unsure[k], shake)
            stride = chord * ratio
            if following == end:
                break
            width = min((following - here) * ratio, end - following)
            here = following
            copy_row(data[1], 14, data[0])
    first[len(jobs)] = count
    return count
