"""Nodes on branches: nearest point in the plane."""

from __future__ import annotations

from math import asinh, atan2, hypot, pi
from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel
from beadwright.section._kernels.codes import B_ANGLE, B_CIRCLE, B_FREE, B_LEVEL, B_LINE, B_PUSHED
from beadwright.section._kernels.level import point

TURN = 2.0 * pi
LOCATE_SAMPLES = 24
FINER = 32
FAR = 1e-3
"""A node farther than this from every branch is sought again from finer samples, mm: a curve that just passed a
saddle turns between two coarse ones, and the nearest may lie on its other strand. Few files gap more."""
FARTHEST = 60.0
"""Greatest parameter on a hyperbola: e^60 times its size away."""


@kernel
def span_of(kind: int, par: Any, ends: Any, first: int, last: int) -> Any:
    """Least and greatest parameter of a branch."""
    if kind == B_PUSHED:
        if par[1] > 0.0:
            return ends[first, 0], ends[last - 1, 1]
        return -ends[last - 1, 1], -ends[first, 0]
    if kind == B_LEVEL:
        if par[0] == 1.0 or par[0] == 2.0:
            return -1.0, 1.0
        if par[0] == 3.0:
            return 0.0, par[2] - par[1]
        return 0.0, TURN
    if kind == B_ANGLE and par[13] == 1.0:
        return -FARTHEST, FARTHEST
    if kind == B_ANGLE and par[11] > 0.0:
        # the sense turned the angle round
        c = par[10]
        return c - par[11], c + par[11]
    return 0.0, TURN


@helper
def locate(
    kind: int,
    closed: int,
    par: Any,
    face_kind: int,
    fpar: Any,
    first: int,
    last: int,
    spans: Any,
    x: float,
    y: float,
    samples: int,
    work: Any,
    out: Any,
) -> Any:
    """Parameter of the branch's point nearest to (x, y) in the plane, and its distance."""
    if kind == B_LINE:
        dx, dy = x - par[0], y - par[1]
        s = dx * par[2] + dy * par[3]
        if s * par[13] > 0.0:
            # beyond the end of a half
            return 0.0, hypot(dx, dy)
        return s, abs(dx * par[3] - dy * par[2])
    if kind == B_CIRCLE:
        dx, dy = x - par[0], y - par[1]
        s = atan2(par[3] * dy, dx)
        return (s if s >= 0.0 else s + TURN), abs(hypot(dx, dy) - par[2])
    low, high = span_of(kind, par, spans[0], first, last)
    parts, step = 0, 1e-6
    s = low
    if kind == B_ANGLE:
        # invert the linear map (1, cos, sin) -> (x W, y W, W) at the point, roughly
        a1, b1 = par[1] - x * par[7], par[2] - x * par[8]
        a2, b2 = par[4] - y * par[7], par[5] - y * par[8]
        c1, c2 = x * par[6] - par[0], y * par[6] - par[3]
        det = a1 * b2 - a2 * b1
        c, d = (c1 * b2 - c2 * b1), (a1 * c2 - a2 * c1)
        sign = 1.0 if det > 0.0 else -1.0
        s = atan2(par[9] * sign * d, sign * c)
        if par[13] == 1.0:
            s = min(high, max(low, asinh(par[9] * d / c))) if c != 0.0 else high
        elif closed == 0:
            low, high = low + 1e-12, high - 1e-12
            mid = par[10]
            s = mid + (s - mid - TURN * np.floor((s - mid) / TURN + 0.5))
            s = min(high, max(low, s))
    else:
        parts = samples if kind == B_LEVEL else max(samples, 4 * (last - first))
        step = 1e-5 * (high - low)
    # One call of `point` serves the scan, the two neighbours for the tangent and the trials: phases 0 to 3.
    reach = 0.25 * (high - low)
    best, gx, gy = 1e300, 0.0, 0.0
    phase, i, halvings, rounds = 0, 0, 0, 0
    t, ta, ax, ay, move = s, s, 0.0, 0.0, 0.0
    while rounds < 12:
        point(kind, par, face_kind, fpar, first, last, spans, t, work, out)
        px, py = out[2], out[3]
        if phase == 0:
            d = hypot(px - x, py - y)
            if d < best:
                best, s, gx, gy = d, t, x - px, y - py
            i += 1
            if i <= parts:
                t = low + (high - low) * i / parts
                continue
            phase = 1
        elif phase == 1:
            ax, ay, ta = px, py, t
            t = s + step
            if closed == 0:
                t = min(high, t)
            phase = 2
            continue
        elif phase == 2:
            tx, ty = (px - ax) / (t - ta), (py - ay) / (t - ta)
            speed = tx * tx + ty * ty
            if speed == 0.0:
                break
            move = min(reach, max(-reach, (gx * tx + gy * ty) / speed))
            halvings = 0
            phase = 3
        else:
            d = hypot(px - x, py - y)
            if d < best:
                gain = best - d
                best, s, gx, gy = d, t, x - px, y - py
                rounds += 1
                if gain < 1e-13 * (1.0 + abs(x) + abs(y)):
                    break
                phase = 1
            else:
                halvings += 1
                if halvings == 6:
                    break
                move *= 0.25
        if phase == 1:
            t = s - step
            if closed == 0:
                t = max(low, t)
        else:
            t = s + move
            if closed == 0:
                t = min(high, max(low, t))
    if closed == 1:
        turn = high - low
        s = s - turn * np.floor((s - low) / turn)
    return s, best


@kernel
def locate_all(
    first_use: Any,
    use_node: Any,
    points: Any,
    first_branch: Any,
    table: Any,
    par: Any,
    pair_face: Any,
    face_kind: Any,
    fpar: Any,
    first_span: Any,
    spans: Any,
) -> Any:
    """Nearest branch, parameter and distance of every node use; free faces are left at -1."""
    n = len(use_node)
    branch = np.full(n, -1, np.int64)
    s = np.zeros(n)
    distance = np.zeros(n)
    most = 2
    for i in range(len(spans[1])):
        most = max(most, spans[1][i])
    work = np.empty((most + 3, 4))
    out = np.empty(7)
    for p in range(len(pair_face)):
        f = pair_face[p]
        a, b = first_branch[p], first_branch[p + 1]
        for u in range(first_use[p], first_use[p + 1]):
            x, y = points[use_node[u], 0], points[use_node[u], 1]
            best = 1e300
            for fine in range(2):
                samples = LOCATE_SAMPLES if fine == 0 else FINER * LOCATE_SAMPLES
                for r in range(a, b):
                    if table[r, 0] == B_FREE:
                        continue
                    t, d = locate(
                        table[r, 0],
                        table[r, 1],
                        par[r],
                        face_kind[f],
                        fpar[f],
                        first_span[f],
                        first_span[f + 1],
                        spans,
                        x,
                        y,
                        samples,
                        work,
                        out,
                    )
                    if d < best:
                        best = d
                        branch[u], s[u], distance[u] = r, t, d
                if best <= FAR:
                    break
    return branch, s, distance
