"""Level curves carried as quintic Bezier pieces, with the distance from the curve bounded."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel
from beadwright.section._kernels.bernstein import basis, copy_row, evaluate
from beadwright.section._kernels.free_cells import CONE
from beadwright.section._kernels.free_proof import ORDER, PLACES, deviation
from beadwright.section._kernels.free_trace import point

DEGENERATE = 1e-6
"""Derivatives that span less than this part of the span's size are parallel or vanish."""
LEAST = 1e-9
"""A part shorter than this fraction of its piece is carried as it is; straight, if nothing is proven, and the next such
part may be twice as long."""
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
    tan of the angle between surface and plane; residual of the height; size of dS/du x dS/dv.
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
    nz = out[1, 0] * out[2, 1] - out[1, 1] * out[2, 0]
    data[11] = length / abs(nz) if nz != 0.0 else np.inf
    data[13] = np.hypot(nz, length)
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


@kernel
def carry(
    coef: Any,
    metric: Any,
    heights: Any,
    size: Any,
    tolerance: Any,
    steep: Any,
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
    chords: Any,
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
    steep : (s, 2) float
        Greatest |dS/du|, |dS/dv| of each span.
    bound, flat, unsure : (n,) float
        Out: bound; least tan of the angle between surface and plane; what rounding may move the curve.
    chords : (n, 3) float
        Out: greatest bound of a part carried as a chord because its cell is too small to be decided, because the
        surface's derivatives are parallel or vanish there, because the curve turns too sharply to be followed.
    """
    n = max(coef.shape[1], coef.shape[2])
    work = np.empty((6, n))
    out = np.empty((6, 4))
    uv = np.empty(2)
    row = np.empty(n)
    net = np.empty((coef.shape[1], coef.shape[2], 6))
    path = np.empty((2, 6))
    most = np.empty(2)
    table = np.empty((len(PLACES), 6))
    short = np.empty((3, 6))
    for k in range(len(PLACES)):
        basis(5, PLACES[k], 0, short)
        copy_row(short[0], 6, table[k])
    # Sums of that many products, each of a few half units of the last place.
    rounding = (coef.shape[1] + coef.shape[2] + 1) * 2.0**-53
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
        noise = rounding * (size + abs(h))
        first[k] = count
        bound[k] = 0.0
        flat[k] = np.inf
        unsure[k] = 0.0
        for c in range(3):
            chords[k, c] = 0.0
        here = fractions[k, 0]
        end = fractions[k, 1]
        box = piece_box[i]
        simple = piece_span[i, 1] == 1
        reach = np.hypot(piece_xy[i, 2] - piece_xy[i, 0], piece_xy[i, 3] - piece_xy[i, 1])
        width = min(stride / reach, end - here) if reach > 0.0 else end - here
        if width < LEAST or not simple:
            # The piece before was a point, whose length says nothing about this one.
            width = end - here
        d0 = data[0]
        d1 = data[1]
        begins = False
        least = LEAST
        if simple:
            begins = ends_of_arc(
                coef[s], h, metric[s], box, piece_way[i], piece_uv[i], here, work, out, uv, d0
            )
        while True:
            width = (end - here) / np.ceil(0.999 * (end - here) / width) if width > 0.0 else 0.0
            following = here + width if here + 1.5 * width < end else end
            free = simple and following - here > least and count - first[k] < MOST
            if count - first[k] >= MOST:
                following = end
            off = np.inf
            shake = 0.0
            ratio = 0.1
            half = 0.0
            chord = 0.0
            goes_on = False
            if simple:
                goes_on = ends_of_arc(
                    coef[s], h, metric[s], box, piece_way[i], piece_uv[i], following, work, out, uv, d1
                )
            if begins and goes_on:
                chord = np.hypot(d1[0] - d0[0], d1[1] - d0[1])
                turn = np.arctan2(d0[2] * d1[3] - d0[3] * d1[2], d0[2] * d1[2] + d0[3] * d1[3])
                half = 0.5 * abs(turn)
                length = chord * (half / np.sin(half) if half > 1e-6 else 1.0)
                quintic(d0, d1, length, patch)
                off, shake, low, ninth = deviation(
                    coef[s],
                    h,
                    patch,
                    tolerance,
                    noise,
                    max(d0[12], d1[12]),
                    table,
                    row,
                    net,
                    path,
                    most,
                    work,
                    out,
                )
                angle = min(low, d0[11], d1[11])
                # The error goes with the sixth power of the length, what is not seen of it with the ninth.
                ratio = (tolerance / max(off, 1e-300)) ** (1.0 / ORDER if ninth else 1.0 / 6.0)
                ratio = min(max(0.95 * ratio, 0.1), 3.0)
            wild = not off < np.inf
            if free and (wild or (off > 3.0 * shake and (off + shake > tolerance or half > 0.8))):
                width = (following - here) * min(ratio, 0.7)
                continue
            if count == len(control):
                return -1
            if wild:
                # Too small a cell, or where derivatives vanish or the curve turns at once: a straight line.
                for e in range(2):
                    a = d0[e] if simple else piece_xy[i, e] + here * (piece_xy[i, 2 + e] - piece_xy[i, e])
                    b = d1[e] if simple else piece_xy[i, e] + end * (piece_xy[i, 2 + e] - piece_xy[i, e])
                    for c in range(6):
                        control[count, c, e] = a + (b - a) * c / 5.0
                off = (box[2] - box[0]) * steep[s, 0] + (box[3] - box[1]) * steep[s, 1]
                why = 0
                if simple:
                    # A curve whose tangents keep to the cell's cone is no longer than this.
                    across = (piece_uv[i, 2] - piece_uv[i, 0]) * metric[s, 0] * piece_way[i, 1]
                    across -= (piece_uv[i, 3] - piece_uv[i, 1]) * metric[s, 1] * piece_way[i, 0]
                    along = abs(across) * (following - here) / CONE
                    off = min(off, along * (steep[s, 0] / metric[s, 0] + steep[s, 1] / metric[s, 1]))
                    why = 1 if min(d0[13], d1[13]) <= DEGENERATE * metric[s, 0] * metric[s, 1] else 2
                if why == 2 and min(d0[11], d1[11]) == 0.0:
                    flat[k] = 0.0
                else:
                    chords[k, why] = max(chords[k, why], off)
                least *= 2.0
                ratio = 2.0
                stride = np.inf
            else:
                for c in range(6):
                    copy_row(patch[c], 2, control[count, c])
                flat[k] = min(flat[k], angle)
                unsure[k] = max(unsure[k], noise / min(angle, 1.0) if angle > 0.0 else np.inf)
                stride = chord * ratio
            count += 1
            bound[k] = max(bound[k], off + shake)
            if following == end:
                break
            width = min((following - here) * ratio, end - following)
            here = following
            begins = goes_on
            copy_row(d1, 14, d0)
    first[len(jobs)] = count
    return count
