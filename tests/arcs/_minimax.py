"""A slow, independent chain of fewest arcs: least greatest offset by linear programs, from many beginnings.

Over the length s, the offset d of a chain of tangent arcs from a curve of curvature kappa obeys, to first order
in d, d'' = k - kappa with k constant on each arc: d = q - g, with g the double integral of kappa and q a
quadratic spline of continuous slope. For given knots the least greatest |d| is a linear program; with the knots'
moves as further unknowns, to first order and within a trust region, it is a sequence of them (SLP: Fletcher,
Practical Methods of Optimization, 2nd ed. 1987, ch. 14). Whatever it finds, a chain of so many arcs exists.
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import BSpline
from scipy.optimize import linprog

from tests.arcs._fit_oracles import curvature


def heights(pieces: list[np.ndarray], count: int = 300) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Length s, double integral g of the curvature, and running integral of |kappa'|^(1/3) on samples."""
    t = np.linspace(0, 1, count + 1)
    s, g, w, theta = [np.zeros(1)], [np.zeros(1)], [np.zeros(1)], 0.0
    for control in pieces:
        kappa, speed = curvature(control, t)
        h = np.diff(t) * (speed[1:] + speed[:-1]) / 2
        angle = theta + np.concatenate([[0], np.cumsum(h * (kappa[1:] + kappa[:-1]) / 2)])
        rise = h * (angle[1:] + angle[:-1]) / 2 - h**2 / 12 * np.diff(kappa)
        s.append(s[-1][-1] + np.cumsum(h))
        g.append(g[-1][-1] + np.cumsum(rise))
        w.append(w[-1][-1] + np.cumsum(np.abs(np.diff(kappa)) ** (1 / 3) * h ** (2 / 3)))
        theta = angle[-1]
    return np.concatenate(s), np.concatenate(g), np.concatenate(w)


def _program(rows: np.ndarray, target: np.ndarray, reach: np.ndarray) -> tuple[np.ndarray, float]:
    """Least greatest |rows x - target|, the first and last row met exactly, the last unknowns within reach."""
    free = rows.shape[1] - len(reach)
    one = np.ones((len(rows), 1))
    result = linprog(
        np.append(np.zeros(rows.shape[1]), 1.0),
        A_ub=np.block([[rows, -one], [-rows, -one]]),
        b_ub=np.concatenate([target, -target]),
        A_eq=np.pad(rows[[0, -1]], ((0, 0), (0, 1))),
        b_eq=target[[0, -1]],
        bounds=[(None, None)] * free + [(-r, r) for r in reach] + [(0, None)],
        method="highs",
    )
    return (result.x[:-1], float(result.x[-1])) if result.status == 0 else (np.zeros(0), np.inf)


def _descend(s: np.ndarray, g: np.ndarray, knots: np.ndarray) -> float:
    """Least greatest offset, in units of ``g``, from these knots downhill; stops once it is below 1."""
    n, trust, best = len(knots) - 1, 0.4, np.inf
    x = np.interp(np.linspace(0, 1, 14 * n), np.linspace(0, 1, len(s)), s)
    y = np.interp(x, s, g)
    trial = knots
    for _ in range(25):
        t = np.concatenate([[trial[0]] * 3, trial[1:-1], [trial[-1]] * 3])
        basis = BSpline.design_matrix(x, t, 2).toarray()
        c, reached = _program(basis, y, np.zeros(0))
        if reached < best - 1e-4:
            best, knots, trust = reached, trial, min(1.3 * trust, 0.5)
            if best <= 1.0 or n == 1:
                break
            k = BSpline(t, c, 2).derivative(2)((knots[1:] + knots[:-1]) / 2)
            moved = (k[:-1] - k[1:]) * np.maximum(x[:, None] - knots[None, 1:-1], 0)
        else:
            trust *= 0.4
            if trust < 0.02 or best == np.inf:
                break
            t = np.concatenate([[knots[0]] * 3, knots[1:-1], [knots[-1]] * 3])
            basis = BSpline.design_matrix(x, t, 2).toarray()
            c, _ = _program(basis, y, np.zeros(0))
            k = BSpline(t, c, 2).derivative(2)((knots[1:] + knots[:-1]) / 2)
            moved = (k[:-1] - k[1:]) * np.maximum(x[:, None] - knots[None, 1:-1], 0)
        h = np.diff(knots)
        step, reached = _program(np.hstack([basis, moved]), y - basis @ c, trust * np.minimum(h[1:], h[:-1]))
        if reached == np.inf:
            break
        trial = knots.copy()
        trial[1:-1] += step[len(c) :]
        if np.diff(trial).min() <= 1e-6 * (trial[-1] - trial[0]):
            break
    return best


def fewest(pieces: list[np.ndarray], tolerance: float, most: int, starts: int = 3) -> int:
    """Least number of arcs found that keeps the tolerance, from ``most`` downwards; ``most + 1`` if none."""
    s, g, w = heights(pieces)
    rng = np.random.default_rng(4)
    n = most
    while n >= 1:
        even = np.interp(np.arange(n + 1) / n, w / w[-1], s)
        for start in range(starts):
            knots = even.copy()
            if start and n > 1:
                h = np.diff(even)
                knots[1:-1] += rng.uniform(-0.45, 0.45, n - 1) * np.minimum(h[1:], h[:-1])
            if _descend(s, g / tolerance, knots) <= 1.0:
                break
        else:
            break
        n -= 1
    return n + 1
