"""The raw offset curve: source plus boundaries of the swept strips.

Its winding number is that of the source plus or minus the number of strips and sectors that cover a point,
all of one sign; so the points of winding above 0 are exactly the offset region.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.span import COLUMNS, EX, EY, SWEEP, TX, TY, X0, X1, Y0, Y1, K, put
from beadwright.compiled import helper, kernel

# What a raw span is: a moved source span, an arc round a corner, a helper line that never survives.
MOVED, JOIN, HELPER = 0, 1, 2
# A corner that moves the ends of its spans apart by less than this is smooth, mm.
SMOOTH = 1e-10
# An arc shrunk to a smaller radius than this is a point, mm.
POINT = 1e-11


@helper
def _line(raw: Any, tag: Any, n: int, x0: float, y0: float, x1: float, y1: float, own: int) -> int:
    if x0 == x1 and y0 == y1:
        return n
    put(raw, n, x0, y0, x1, y1, 0.0)
    tag[n, 0], tag[n, 1] = own, HELPER
    return n + 1


@kernel
def raw_curve(s: Any, after: Any, d: float) -> tuple[Any, Any]:
    """Raw curve at a distance to the left of spans.

    Parameters
    ----------
    s : (n, 10) float64
        Source spans.
    after : (n,) int64
        Span that follows, -1 at an open end.
    d : float
        Distance to the left, mm, not 0.

    Returns
    -------
    raw : (m, 10) float64
        Raw spans.
    tag : (m, 2) int64
        Source span (of an arc round a corner: the one before), and `MOVED`, `JOIN` or `HELPER`.
    """
    raw = np.empty((6 * len(s) + 1, COLUMNS))
    tag = np.empty((6 * len(s) + 1, 2), np.int64)
    n = 0
    smooth = False
    bx = by = 0.0
    for i in range(len(s)):
        k = s[i, K]
        # Smooth neighbours share their end to the last digit.
        ax, ay = (bx, by) if smooth else (s[i, X0] - d * s[i, TY], s[i, Y0] + d * s[i, TX])
        smooth = False
        bx, by = s[i, X1] - d * s[i, EY], s[i, Y1] + d * s[i, EX]
        left = 1.0 - d * k
        if k != 0.0 and left <= abs(k) * POINT:
            if left < -abs(k) * POINT:
                cx, cy = s[i, X0] - s[i, TY] / k, s[i, Y0] + s[i, TX] / k
                n = _line(raw, tag, n, ax, ay, cx, cy, i)
                n = _line(raw, tag, n, cx, cy, bx, by, i)
        else:
            raw[n, X0], raw[n, Y0], raw[n, X1], raw[n, Y1] = ax, ay, bx, by
            raw[n, TX], raw[n, TY], raw[n, EX], raw[n, EY] = s[i, TX], s[i, TY], s[i, EX], s[i, EY]
            raw[n, K], raw[n, SWEEP] = k / left, s[i, SWEEP]
            tag[n, 0], tag[n, 1] = i, MOVED
            n += 1
        j = after[i]
        if j < 0:
            continue
        turn = s[i, EX] * s[j, TY] - s[i, EY] * s[j, TX]
        ahead = s[i, EX] * s[j, TX] + s[i, EY] * s[j, TY]
        if ahead > 0.0 and abs(d * turn) <= SMOOTH:
            smooth = j == i + 1
            continue
        px, py = s[j, X0], s[j, Y0]
        ex, ey = px - d * s[j, TY], py + d * s[j, TX]
        # A spike that turns straight back gets its arc too: what it covers is near the source on any side.
        if turn * d < 0.0 or (ahead < 0.0 and abs(turn) < 1e-9):
            sweep = np.arctan2(turn, ahead)
            if sweep * d > 0.0:
                sweep -= np.copysign(2.0 * np.pi, d)
            count = max(1, int(np.ceil(abs(sweep) / (0.5 * np.pi) - 1e-9)))
            ox, oy, fx, fy = bx, by, -s[i, EY], s[i, EX]
            for p in range(count):
                if p == count - 1:
                    qx, qy = ex, ey
                else:
                    c, w = np.cos(sweep * (p + 1) / count), np.sin(sweep * (p + 1) / count)
                    qx, qy = px + d * (fx * c - fy * w), py + d * (fy * c + fx * w)
                if ox != qx or oy != qy:
                    put(raw, n, ox, oy, qx, qy, -1.0 / d)
                    tag[n, 0], tag[n, 1] = i, JOIN
                    n += 1
                ox, oy = qx, qy
        else:
            n = _line(raw, tag, n, bx, by, px, py, i)
            n = _line(raw, tag, n, px, py, ex, ey, i)
    kept = np.empty((n, COLUMNS))
    tags = np.empty((n, 2), np.int64)
    for i in range(n):
        for c in range(COLUMNS):
            kept[i, c] = raw[i, c]
        tags[i, 0], tags[i, 1] = tag[i, 0], tag[i, 1]
    return kept, tags
