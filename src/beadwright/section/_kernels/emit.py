"""Segments of branches as rows of exact curves and Bézier pieces."""

from __future__ import annotations

from math import cos, hypot, sin, sqrt
from typing import Any

import numpy as np

from beadwright.compiled import kernel
from beadwright.section._kernels.codes import (
    B_ANGLE,
    B_CIRCLE,
    B_FREE,
    B_LEVEL,
    B_LINE,
    B_PUSHED,
    C_CONNECTOR,
    PLANE,
    PUSHED_CONIC,
)
from beadwright.section._kernels.level import level_point
from beadwright.section._kernels.locate import span_of
from beadwright.section._kernels.put import (
    grown_control,
    grown_pieces,
    put_angle,
    put_bitangent,
    put_level,
    put_pushed,
)
from beadwright.section._kernels.tangency import NEAR, least_sine

ROUNDING = 8.0 * 2.3e-16
"""Of a point and of the surface there, as a part of its coordinates."""
ABSORB = 2e-7  # a gap up to this is taken up by moving the curve's end and counts in its bound, mm


@kernel
def emit(
    chain: Any,
    segments: Any,
    node: Any,
    points: Any,
    s: Any,
    table: Any,
    par: Any,
    pair_face: Any,
    pair_height: Any,
    face_kind: Any,
    fpar: Any,
    first_span: Any,
    spans: Any,
    bend: Any,
    lobatto: Any,
    to_bezier: Any,
    to_checks: Any,
    checks: Any,
    free_row: Any,
    free: Any,
) -> Any:
    """Curves of all segments in the order of their chains.

    Returns
    -------
    curves : (n, 2) int64
        Kind and face.
    shape : (n, 9) float
        Ends (4), circle (4), bound.
    first_piece, pieces (degree, first control), control, first_curve of each segment (k + 1)
    gap : (k,) float
        Longest connector of each segment.
    tangent : (n, 3) float
        Where surface and plane are nearly tangent: how far the curve may lie beside, mm, and a place; else 0.
    """
    k = len(chain)
    curves = np.zeros((7 * k + 1, 2), np.int64)
    shape = np.zeros((7 * k + 1, 9))
    tangent = np.zeros((7 * k + 1, 3))
    found = np.zeros(4)
    first_piece = np.zeros(7 * k + 2, np.int64)
    pieces = np.zeros((max(16, k), 2), np.int64)
    control = np.zeros((max(64, 4 * k), 3))
    count = np.zeros(2, np.int64)
    first_curve = np.zeros(k + 1, np.int64)
    gap = np.zeros(k)
    most = 2
    for i in range(len(spans[1])):
        most = max(most, spans[1][i])
    work = np.empty((most + 3, 4))
    out = np.empty(7)
    free_first, free_degree, free_first_control, free_control, free_bound = free
    c = 0
    for m in range(k):
        i = chain[m]
        pair, r, ua, ub = segments[i, 0], segments[i, 1], segments[i, 2], segments[i, 3]
        f = pair_face[pair]
        if r < 0:
            a, b = node[ua], node[ub]
            curves[c, 0], curves[c, 1] = C_CONNECTOR, -1
            shape[c, 0], shape[c, 1], shape[c, 2], shape[c, 3] = (
                points[a, 0],
                points[a, 1],
                points[b, 0],
                points[b, 1],
            )
            gap[m] = hypot(points[a, 0] - points[b, 0], points[a, 1] - points[b, 1])
            c += 1
            first_piece[c] = count[0]
            first_curve[m + 1] = c
            continue
        kind = table[r, 0]
        first, last = first_span[f], first_span[f + 1]
        whole = ua < 0
        s0, s1 = 0.0, 0.0
        if kind != B_LINE and kind != B_FREE:
            low, high = span_of(kind, par[r], spans[0], first, last)
            s0 = low if whole else s[ua]
            s1 = high if whole else s[ub]
            if table[r, 1] == 1 and s1 <= s0:
                s1 += high - low
        elif kind == B_LINE:
            s0, s1 = s[ua], s[ub]
        piece_a, control_a = count[0], count[1]
        c_first, bound = c, 0.0
        # the curve's own end points
        if kind == B_FREE:
            row = free_row[i]
            pa, pb = free_first[row], free_first[row + 1]
            pieces = grown_pieces(pieces, count[0] + pb - pa)
            ca, cb = free_first_control[pa], free_first_control[pb]
            control = grown_control(control, count[1] + cb - ca)
            for q in range(pa, pb):
                pieces[count[0], 0] = free_degree[q]
                pieces[count[0], 1] = count[1] + free_first_control[q] - ca
                count[0] += 1
            for q in range(ca, cb):
                for x in range(3):
                    control[count[1], x] = free_control[q, x]
                count[1] += 1
            bound = free_bound[row]
        elif kind == B_ANGLE:
            pieces, control = put_angle(par[r], s0, s1, pieces, control, count)
        elif kind == B_PUSHED:
            pieces, control = put_pushed(
                par[r], fpar[f], first, last, spans, s0, s1, pieces, control, count, work
            )
        elif kind == B_LEVEL and par[r, 0] < 5.0:
            pieces, control, bound = put_level(
                par[r],
                face_kind[f],
                fpar[f],
                first,
                last,
                spans,
                s0,
                s1,
                lobatto,
                to_bezier,
                to_checks,
                checks,
                pieces,
                control,
                count,
                work,
                out,
            )
        if count[0] > piece_a:
            w = control[control_a, 2]
            x0, y0 = control[control_a, 0] / w, control[control_a, 1] / w
            w = control[count[1] - 1, 2]
            x1, y1 = control[count[1] - 1, 0] / w, control[count[1] - 1, 1] / w
        else:
            x0, y0, x1, y1 = par[r, 0], par[r, 1], par[r, 0], par[r, 1]
            if kind == B_LEVEL:
                level_point(par[r], face_kind[f], fpar[f], first, last, spans, s0, work, out)
                x0, y0 = out[2], out[3]
                level_point(par[r], face_kind[f], fpar[f], first, last, spans, s1, work, out)
                x1, y1 = out[2], out[3]
            elif kind == B_LINE:
                x0, y0 = x0 + s0 * par[r, 2], y0 + s0 * par[r, 3]
                x1, y1 = x1 + s1 * par[r, 2], y1 + s1 * par[r, 3]
            else:
                radius, up = par[r, 2], par[r, 3] * par[r, 2]
                x0, y0 = x0 + radius * cos(s0), y0 + up * sin(s0)
                x1, y1 = x1 + radius * cos(s1), y1 + up * sin(s1)
        if whole:
            x1, y1 = x0, y0
        else:
            a, b = node[ua], node[ub]
            ax, ay, bx, by = points[a, 0], points[a, 1], points[b, 0], points[b, 1]
            # what both ends are moved by is shared out along the curve: the greater counts
            taken = 0.0
            d = hypot(ax - x0, ay - y0)
            if d <= ABSORB:
                taken = d
                x0, y0 = ax, ay
            else:
                curves[c, 0], curves[c, 1] = C_CONNECTOR, -1
                shape[c, 0], shape[c, 1], shape[c, 2], shape[c, 3] = ax, ay, x0, y0
                gap[m] = d
                c += 1
                first_piece[c] = piece_a
            d = hypot(bx - x1, by - y1)
            if d <= ABSORB:
                taken = max(taken, d)
                x1, y1 = bx, by
            bound += taken
        if kind == B_LEVEL and par[r, 0] == 5.0:
            c = put_bitangent(par[r], fpar[f], f, s0, s1, x0, y0, curves, shape, first_piece, c, piece_a)
            x0, y0 = shape[c, 0], shape[c, 1]
        shape[c, 0], shape[c, 1], shape[c, 2], shape[c, 3] = x0, y0, x1, y1
        if count[0] > piece_a:
            w = control[control_a, 2]
            control[control_a, 0], control[control_a, 1] = x0 * w, y0 * w
            w = control[count[1] - 1, 2]
            control[count[1] - 1, 0], control[count[1] - 1, 1] = x1 * w, y1 * w
        elif kind == B_CIRCLE:
            shape[c, 4], shape[c, 5], shape[c, 6] = par[r, 0], par[r, 1], par[r, 2]
            shape[c, 7] = par[r, 3] * (s1 - s0)
        size = max(max(abs(x0), abs(y0)), max(abs(x1), abs(y1))) + abs(shape[c, 6])
        if kind == B_FREE:
            bound += ROUNDING * size
        else:
            off = ROUNDING * (size + abs(pair_height[pair]))
            off += par[r, 16] * (
                max(abs(s0), abs(s1)) if kind == B_LINE and face_kind[f] >= PUSHED_CONIC else 1.0
            )
            if kind in (B_LINE, B_CIRCLE):
                found[0], found[1], found[2], found[3] = par[r, 14], par[r, 15], x0, y0
            else:
                least_sine(
                    kind, par[r], face_kind[f], fpar[f], first, last, spans, bend, s0, s1, work, out, found
                )
            flat = face_kind[f] == PLANE
            bound += par[r, 12] + off / (found[0] if flat else max(found[0], NEAR))
            if found[0] < NEAR:
                tangent[c, 0] = off / found[0] if flat else sqrt(2.0 * off * found[1])
                tangent[c, 1], tangent[c, 2] = found[2], found[3]
        shape[c, 8] = bound
        for i in range(c_first, c):
            # the arcs of one branch before its last
            shape[i, 8] = bound if curves[i, 0] != C_CONNECTOR else 0.0
        curves[c, 0], curves[c, 1] = table[r, 2], f
        c += 1
        first_piece[c] = count[0]
        if not whole and (bx != x1 or by != y1):
            curves[c, 0], curves[c, 1] = C_CONNECTOR, -1
            shape[c, 0], shape[c, 1], shape[c, 2], shape[c, 3] = x1, y1, bx, by
            gap[m] = max(gap[m], hypot(bx - x1, by - y1))
            c += 1
            first_piece[c] = count[0]
        first_curve[m + 1] = c
    return c, count, curves, shape, first_piece, pieces, control, first_curve, gap, tangent
