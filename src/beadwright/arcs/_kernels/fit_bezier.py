"""Point, derivatives and restriction of a rational Bézier piece, by de Casteljau.

Each step is a convex combination of positive weights, so the error of a point never exceeds
``2 d u`` times the extent of the piece, however far the weights differ.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper


@helper
def evaluate(control: Any, base: int, degree: int, t: float, work: Any, out: Any) -> None:
    """Write x, y, x', y', x'', y'' at ``t`` to ``out``; ``work`` is scratch of degree + 1 rows."""
    for j in range(degree + 1):
        for c in range(3):
            work[j, c] = control[base + j, c]
    s = 1.0 - t
    for r in range(degree, 2, -1):
        for j in range(r):
            for c in range(3):
                work[j, c] = s * work[j, c] + t * work[j + 1, c]
    x2 = y2 = w2 = 0.0
    if degree >= 2:
        f = degree * (degree - 1.0)
        x2 = f * (work[2, 0] - 2.0 * work[1, 0] + work[0, 0])
        y2 = f * (work[2, 1] - 2.0 * work[1, 1] + work[0, 1])
        w2 = f * (work[2, 2] - 2.0 * work[1, 2] + work[0, 2])
        for j in range(2):
            for c in range(3):
                work[j, c] = s * work[j, c] + t * work[j + 1, c]
    w1 = degree * (work[1, 2] - work[0, 2])
    w = s * work[0, 2] + t * work[1, 2]
    x = (s * work[0, 0] + t * work[1, 0]) / w
    y = (s * work[0, 1] + t * work[1, 1]) / w
    x1 = (degree * (work[1, 0] - work[0, 0]) - x * w1) / w
    y1 = (degree * (work[1, 1] - work[0, 1]) - y * w1) / w
    out[0], out[1], out[2], out[3] = x, y, x1, y1
    out[4] = (x2 - 2.0 * x1 * w1 - x * w2) / w
    out[5] = (y2 - 2.0 * y1 * w1 - y * w2) / w


@helper
def restrict(frame: Any, degree: int, lo: float, hi: float) -> None:
    """Cut the control rows ``frame`` down to the parameters ``lo`` to ``hi``, in place."""
    if hi < 1.0:
        for r in range(1, degree + 1):
            for j in range(degree, r - 1, -1):
                for c in range(3):
                    frame[j, c] = (1.0 - hi) * frame[j - 1, c] + hi * frame[j, c]
    if lo > 0.0:
        s = lo / hi
        for r in range(1, degree + 1):
            for j in range(degree + 1 - r):
                for c in range(3):
                    frame[j, c] = (1.0 - s) * frame[j, c] + s * frame[j + 1, c]


@helper
def tangent_and_curvature(
    control: Any, base: int, degree: int, t: float, work: Any, out: Any
) -> tuple[float, float, float, float, float]:
    """x, y, unit tangent and signed curvature at ``t``; where the speed is zero, the limit of the tangent."""
    evaluate(control, base, degree, t, work, out)
    x, y, dx, dy = out[0], out[1], out[2], out[3]
    e = base + degree
    span = abs(control[e, 0] / control[e, 2] - control[base, 0] / control[base, 2])
    span += abs(control[e, 1] / control[e, 2] - control[base, 1] / control[base, 2])
    speed = np.hypot(dx, dy)
    if speed > 1e-7 * span and speed > 0.0:
        return x, y, dx / speed, dy / speed, (dx * out[5] - dy * out[4]) / speed**3
    # The derivative vanishes here: the limit is that of a chord that shrinks towards this point.
    h = 1.0 / 1024.0 if t < 0.5 else -1.0 / 1024.0
    evaluate(control, base, degree, t + h, work, out)
    dx, dy = (out[0] - x) / h, (out[1] - y) / h
    evaluate(control, base, degree, t + 0.5 * h, work, out)
    dx, dy = 4.0 * (out[0] - x) / h - dx, 4.0 * (out[1] - y) / h - dy
    speed = np.hypot(dx, dy)
    if speed == 0.0:
        return x, y, 1.0, 0.0, 0.0
    return x, y, dx / speed, dy / speed, 0.0
