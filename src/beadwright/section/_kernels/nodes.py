"""Where monotone pieces of edges pass through planes."""

from __future__ import annotations

from math import acos, cos, pi, sin
from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel

LINE = 0
CONIC = 1
SPLINE = 2


@helper
def bezier3(control: Any, base: int, degree: int, t: float, work: Any) -> None:
    """Point ``(w x, w y, w z, w)`` in ``work[0]`` and the last two de Casteljau points in ``work[1:3]``."""
    for j in range(degree + 1):
        for c in range(4):
            work[j, c] = control[base + j, c]
    s = 1.0 - t
    for r in range(degree, 1, -1):
        for j in range(r):
            for c in range(4):
                work[j, c] = s * work[j, c] + t * work[j + 1, c]
    for c in range(4):
        work[2, c] = work[1, c]
        work[1, c] = work[0, c]
        work[0, c] = s * work[1, c] + t * work[2, c]


@helper
def spline_root(control: Any, base: int, degree: int, h: float, work: Any) -> float:
    """The parameter in [0, 1] where z = h on a piece of monotone z: Newton held in a bracket."""
    low, high = 0.0, 1.0
    f_low = control[base, 2] - h * control[base, 3]
    f_high = control[base + degree, 2] - h * control[base + degree, 3]
    if f_low * f_high > 0.0:
        w0, w1 = control[base, 3], control[base + degree, 3]
        return 0.0 if abs(f_low / w0) <= abs(f_high / w1) else 1.0
    rising = f_high > f_low
    t = f_low / (f_low - f_high) if f_low != f_high else 0.5
    for _ in range(80):
        bezier3(control, base, degree, t, work)
        f = work[0, 2] - h * work[0, 3]
        if f == 0.0:
            return t
        if (f > 0.0) == rising:
            high = t
        else:
            low = t
        slope = degree * ((work[2, 2] - work[1, 2]) - h * (work[2, 3] - work[1, 3]))
        step = t - f / slope if slope != 0.0 else -1.0
        if not (low < step < high):
            step = 0.5 * (low + high)
        if abs(step - t) < 1e-16 + 4e-16 * t or high - low < 1e-16:
            return step
        t = step
    return t


@kernel
def node_points(
    kind: Any, par: Any, base: Any, degree: Any, control: Any, low: Any, high: Any, first: Any, heights: Any
) -> Any:
    """Points (n, 3) of all nodes: piece ``i`` has one in each of the planes ``low[i]`` up to ``high[i]``."""
    out = np.empty((first[-1], 3))
    most = 2
    for i in range(len(kind)):
        most = max(most, degree[i])
    work = np.empty((most + 2, 4))
    for i in range(len(kind)):
        for k in range(low[i], high[i]):
            n = first[i] + k - low[i]
            h = heights[k]
            if kind[i] == LINE:
                rise = par[i, 5] - par[i, 2]
                t = (h - par[i, 2]) / rise if rise != 0.0 else 0.5
                t = min(1.0, max(0.0, t))
                for c in range(3):
                    out[n, c] = par[i, c] + t * (par[i, 3 + c] - par[i, c])
            elif kind[i] == CONIC:
                # z = centre + size cos(t - phase), on half turn number `half` of it
                g = min(1.0, max(-1.0, (h - par[i, 2]) / par[i, 11]))
                half = par[i, 12]
                t = par[i, 13] + half * pi
                t += acos(g) if half % 2.0 == 0.0 else pi - acos(g)
                t = min(par[i, 10], max(par[i, 9], t))
                ct, st = cos(t), sin(t)
                for c in range(3):
                    out[n, c] = par[i, c] + ct * par[i, 3 + c] + st * par[i, 6 + c]
            else:
                t = spline_root(control, base[i], degree[i], h, work)
                bezier3(control, base[i], degree[i], t, work)
                for c in range(3):
                    out[n, c] = work[0, c] / work[0, 3]
    return out


@kernel
def bernstein_roots(coefficients: Any) -> Any:
    """Sign changes of a Bernstein polynomial on (0, 1), by variation-diminishing halving."""
    n = len(coefficients)
    stack = np.empty((64, n))
    ends = np.empty((64, 2))
    for j in range(n):
        stack[0, j] = coefficients[j]
    ends[0, 0], ends[0, 1] = 0.0, 1.0
    depth = 1
    roots = np.empty(4 * n + 4)
    found = 0
    work = np.empty(n)
    row = np.empty(n)
    while depth > 0:
        depth -= 1
        for j in range(n):
            row[j] = stack[depth, j]
        a, b = ends[depth, 0], ends[depth, 1]
        changes = 0
        last = 0.0
        for j in range(n):
            if row[j] != 0.0:
                if last * row[j] < 0.0:
                    changes += 1
                last = row[j]
        if changes == 0:
            continue
        if b - a < 1e-15 or depth >= 62:
            if found < len(roots):
                roots[found] = 0.5 * (a + b)
                found += 1
            continue
        if changes == 1 and b - a < 1e-3 and row[0] * row[n - 1] < 0.0:
            low, high = 0.0, 1.0
            rising = row[n - 1] > 0.0
            for _ in range(60):
                t = 0.5 * (low + high)
                for j in range(n):
                    work[j] = row[j]
                for r in range(n - 1, 0, -1):
                    for j in range(r):
                        work[j] = (1.0 - t) * work[j] + t * work[j + 1]
                if (work[0] > 0.0) == rising:
                    high = t
                else:
                    low = t
            if found < len(roots):
                roots[found] = a + (b - a) * 0.5 * (low + high)
                found += 1
            continue
        middle = 0.5 * (a + b)
        for r in range(n):
            stack[depth + 1, r] = row[0]
            stack[depth, n - 1 - r] = row[n - 1 - r]
            for j in range(n - 1 - r):
                row[j] = 0.5 * (row[j] + row[j + 1])
        if stack[depth, 0] == 0.0 and found < len(roots):
            # neither half sees a sign change at their common end
            roots[found] = middle
            found += 1
        ends[depth, 0], ends[depth, 1] = middle, b
        ends[depth + 1, 0], ends[depth + 1, 1] = a, middle
        depth += 2
    return roots, found
