"""Arcs and biarcs beside tabulated places."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.fit_table import X, Y
from beadwright.compiled import helper

# Kink, rad, at which an arc counts as tangent to what follows.
KINK = 1e-8
# Sine of the half sweep of one arc: at most about a third of a turn.
MAX_SINE = 0.86


@helper
def bulge_of(tx: float, ty: float, cx: float, cy: float) -> float:
    """tan(sweep / 4) of the arc that leaves along t over the chord c."""
    return float((tx * cy - ty * cx) / (np.hypot(cx, cy) + tx * cx + ty * cy))


@helper
def _curvature(tx: float, ty: float, cx: float, cy: float) -> float:
    """Curvature of the arc that leaves along t over the chord c; NaN beyond the greatest sweep."""
    square = cx * cx + cy * cy
    s = tx * cy - ty * cx
    if tx * cx + ty * cy <= 0.0 or s * s > MAX_SINE * MAX_SINE * square:
        return np.nan
    return 2.0 * s / square


@helper
def _stray(x: float, y: float, tx: float, ty: float, k: float) -> float:
    """Distance of a point, relative to an arc's start, from its circle."""
    a, b = x * tx + y * ty, y * tx - x * ty
    f = b - 0.5 * k * (a * a + b * b)
    q = 2.0 * k * f
    if abs(q) < 1e-3:
        return abs(f)
    return abs(2.0 * f / (1.0 + np.sqrt(1.0 - q))) if q < 1.0 else np.inf


@helper
def try_arc(table: Any, i: int, j: int, tx: float, ty: float, res: Any) -> float:
    """Greatest distance of the places between two rows from the arc there; its end tangent to ``res``."""
    x, y = table[i, X], table[i, Y]
    cx, cy = table[j, X] - x, table[j, Y] - y
    k = _curvature(tx, ty, cx, cy)
    if k != k:
        return np.inf
    worst = 0.0
    for p in range(i + 1, j):
        worst = max(worst, _stray(table[p, X] - x, table[p, Y] - y, tx, ty, k))
    double = 2.0 * (tx * cx + ty * cy) / (cx * cx + cy * cy)
    res[0], res[1] = double * cx - tx, double * cy - ty
    return worst


@helper
def single_arc(table: Any, i0: int, i1: int) -> tuple[float, float]:
    """Bulge of the one arc between two rows that strays least from the places, and how far it strays."""
    x, y = table[i0, X], table[i0, Y]
    cx, cy = table[i1, X] - x, table[i1, Y] - y
    chord = np.hypot(cx, cy)
    best, result = np.inf, 0.0
    if chord == 0.0:
        return 0.0, np.inf
    lo, hi = -0.5, 0.5
    for step in range(40):
        bulge = 0.0 if step == 0 else 0.5 * (lo + hi)
        s, c = 2.0 * bulge / (1.0 + bulge * bulge), (1.0 - bulge * bulge) / (1.0 + bulge * bulge)
        tx, ty = (cx * c + cy * s) / chord, (cy * c - cx * s) / chord
        k = 2.0 * s / chord
        least = most = 0.0
        for p in range(i0 + 1, i1):
            vx, vy = table[p, X] - x, table[p, Y] - y
            a, b = vx * tx + vy * ty, vy * tx - vx * ty
            f = b - 0.5 * k * (a * a + b * b)
            least, most = min(least, f), max(most, f)
        worst = max(most, -least)
        if worst < best:
            best, result = worst, bulge
        if step == 0:
            continue
        # A counter-clockwise arc lies right of its chord: where the curve is left of it, less bulge.
        if most > -least:
            hi = bulge
        else:
            lo = bulge
    return result, best


@helper
def try_biarc(
    table: Any, first: int, last: int, x: float, y: float, tx: float, ty: float,
    bx: float, by: float, ex: float, ey: float, ratio: float, enough: float, res: Any,
) -> float:  # fmt: skip
    """Least greatest distance of a biarc from the rows [first, last) over a few joints; the joint to ``res``.

    The first joint that keeps ``enough`` is taken, so that a curve run through the other way, or a hole with a
    pin in it, gets the same arcs. The family of biarcs with given ends has one parameter, the ratio of its two
    tangent lengths.
    """
    vx, vy = bx - x, by - y
    square = vx * vx + vy * vy
    one = 1.0 - (tx * ex + ty * ey)
    best = np.inf
    for _ in range(4):
        lean = ratio * (vx * tx + vy * ty) + vx * ex + vy * ey
        root = lean + np.sqrt(lean * lean + 2.0 * ratio * one * square)
        if not root > 0.0:
            break
        d2 = square / root
        d1 = ratio * d2
        px, py = d1 * tx, d1 * ty
        qx, qy = vx - d2 * ex, vy - d2 * ey
        jx, jy = (d2 * px + d1 * qx) / (d1 + d2), (d2 * py + d1 * qy) / (d1 + d2)
        norm = np.hypot(qx - px, qy - py)
        if not norm > 0.0:
            break
        ux, uy = (qx - px) / norm, (qy - py) / norm
        k1 = _curvature(tx, ty, jx, jy)
        k2 = _curvature(ux, uy, vx - jx, vy - jy)
        if not (k1 == k1 and k2 == k2):
            break
        e1 = e2 = 0.0
        for p in range(first, last):
            dx, dy = table[p, X] - x, table[p, Y] - y
            sx, sy = dx - jx, dy - jy
            if sx * ux + sy * uy < 0.0:
                e1 = max(e1, _stray(dx, dy, tx, ty, k1))
            else:
                e2 = max(e2, _stray(sx, sy, ux, uy, k2))
        worst = max(e1, e2)
        if worst < best:
            best = worst
            res[0], res[1], res[2], res[3] = x + jx, y + jy, ux, uy
        elif worst > 1.05 * best:
            break
        if abs(e1 - e2) < 0.05 * worst or worst <= enough:
            break
        ratio *= ((e2 + 0.02 * worst) / (e1 + 0.02 * worst)) ** 0.25
    return best


@helper
def hidden_radius(table: Any, i0: int, i1: int, start: Any, end: Any, free: Any) -> float:
    """Radius of the circle that all rows of a section lie on to 1e-9 mm, signed by its turn; 0 if none.

    Where the tangents at the ends are given, they must be the circle's.
    """
    a, b = i0 + (i1 - i0) // 3, i0 + 2 * (i1 - i0) // 3
    if a == i0 or b == a:
        return 0.0
    x, y = table[i0, X], table[i0, Y]
    ux, uy = table[a, X] - x, table[a, Y] - y
    vx, vy = table[b, X] - x, table[b, Y] - y
    cross = ux * vy - uy * vx
    u2, v2 = ux * ux + uy * uy, vx * vx + vy * vy
    if abs(cross) < 1e-6 * np.sqrt(u2 * v2):
        return 0.0
    cx, cy = 0.5 * (u2 * vy - v2 * uy) / cross, 0.5 * (v2 * ux - u2 * vx) / cross
    radius = np.hypot(cx, cy)
    for p in range(i0, i1 + 1):
        if abs(np.hypot(table[p, X] - x - cx, table[p, Y] - y - cy) - radius) > 1e-9:
            return 0.0
    side = 1.0 if cross > 0.0 else -1.0
    for k in range(2):
        p = i1 if k == 1 else i0
        t = end if k == 1 else start
        if not free[k]:
            along = (table[p, X] - x - cx) * t[0] + (table[p, Y] - y - cy) * t[1]
            if abs(along) > KINK * radius:
                return 0.0
    return side * radius
