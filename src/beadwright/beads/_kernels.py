"""Compiled loops of the bead room."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import kernel

# Contacts whose normal leans less than this against that of the place itself are the same smooth boundary.
SAME_SIDE = 1e-9


@kernel
def discs(at: Any, normal: Any, own: Any, spans: Any, most: float) -> Any:
    """Greatest disc inside a boundary that touches it at each of some places.

    Parameters
    ----------
    at, normal : (n, 2) float64
        Places on the boundary, mm, and the unit normals into the material there.
    own : (n, 2) int64
        Spans that each place lies on, which its disc touches there.
    spans : (m, 10) float64
        Boundary: start, end, unit tangent at the start, signed curvature, unit tangent at the end, greatest
        distance of the span from its chord's middle; material on the left, no more than a quarter turn each.
    most : float
        Greatest radius looked for, mm.

    Returns
    -------
    (n, 4) float64
        Radius, at most `most`; span it touches (-1 none); which part of it (0 inside, 1 start, 2 end); cosine
        between the two directions from the boundary to the centre (1 where nothing is touched).
    """
    out = np.empty((len(at), 4))
    for i in range(len(at)):
        px, py, nx, ny = at[i, 0], at[i, 1], normal[i, 0], normal[i, 1]
        best, who, part, lean = most, -1, 0, 1.0
        for j in range(len(spans)):
            if j == own[i, 0] or j == own[i, 1]:
                continue
            x0, y0, x1, y1 = spans[j, 0], spans[j, 1], spans[j, 2], spans[j, 3]
            # A disc of radius `best` at this place lies within `best` of its centre.
            far = np.hypot(0.5 * (x0 + x1) - px - best * nx, 0.5 * (y0 + y1) - py - best * ny)
            if far > best + spans[j, 9]:
                continue
            tx, ty, k = spans[j, 4], spans[j, 5], spans[j, 6]
            vx, vy = px - x0, py - y0
            f = vy * tx - vx * ty - 0.5 * k * (vx * vx + vy * vy)
            cosine = ny * tx - nx * ty - k * (nx * vx + ny * vy)
            below = 1.0 - cosine
            if below > SAME_SIDE and f >= 0.0:
                r = f / below
                if r < best:
                    cx, cy = px + r * nx, py + r * ny
                    ahead = (cx - x0) * tx + (cy - y0) * ty
                    beyond = (cx - x1) * spans[j, 7] + (cy - y1) * spans[j, 8]
                    if ahead >= 0.0 and beyond <= 0.0:
                        best, who, part = r, j, 0
                        # Unit normal of the touched span at the centre's foot, against the place's own.
                        wx, wy = cx - x0, cy - y0
                        mx, my = -ty - k * wx, tx - k * wy
                        lean = (mx * nx + my * ny) / np.hypot(mx, my)
            for end in range(2):
                qx, qy = (x1, y1) if end == 1 else (x0, y0)
                towards = (qx - px) * nx + (qy - py) * ny
                if towards > SAME_SIDE:
                    r = 0.5 * ((qx - px) ** 2 + (qy - py) ** 2) / towards
                    if r < best:
                        best, who, part = r, j, 1 + end
                        lean = ((px + r * nx - qx) * nx + (py + r * ny - qy) * ny) / r
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = best, who, part, lean
    return out
