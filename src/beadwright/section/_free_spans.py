"""B-spline nets cut into Bernstein rows, one a knot span, and halving of such rows."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.errors import GeometryError

Array = npt.NDArray[np.float64]

TORN = 1e-6
"""Coefficients on both sides of a knot that differ by more than this are a tear, mm."""


def bezier_rows(knots: Array, degree: int, net: Array) -> tuple[Array, Array]:
    """Bernstein coefficients of each knot span along the first axis of a net.

    Parameters
    ----------
    knots : (n + degree + 1,) float
        Clamped.
    degree : int
    net : (n, ...) float
        Poles, homogeneous where the spline is rational.

    Returns
    -------
    breaks : (s + 1,) float
    rows : (s, degree + 1, ...) float

    Raises
    ------
    GeometryError
        A knot repeated more than ``degree`` times tears the surface.

    Notes
    -----
    Coefficient k of the span [a, b] is the blossom at (a, ..., a, b, ..., b) with k times b (L. Ramshaw,
    Blossoming: a connect-the-dots approach to splines, DEC SRC 19, 1987). Neighbouring spans share the
    coefficients on their common side bit for bit.
    """
    p = degree
    last = len(knots) - p - 1
    index = [k for k in range(p, last) if knots[k + 1] > knots[k]]
    breaks = np.array([knots[k] for k in index] + [knots[last]])
    rows = np.empty((len(index), p + 1, *net.shape[1:]))
    for s, k in enumerate(index):
        a, b = knots[k], knots[k + 1]
        for c in range(p + 1):
            level = [net[k - p + j] for j in range(p + 1)]
            for r in range(1, p + 1):
                t = a if r <= p - c else b
                for j in range(p, r - 1, -1):
                    low, high = knots[k - p + j], knots[k + 1 + j - r]
                    share = (t - low) / (high - low)
                    level[j] = (1.0 - share) * level[j - 1] + share * level[j]
            rows[s, c] = level[p]
        if s > 0:
            if np.abs(rows[s, 0] - rows[s - 1, p]).max() > TORN:
                raise GeometryError(f"a spline surface is torn at the knot {a:g}: its two sides differ")
            rows[s, 0] = rows[s - 1, p]
    return breaks, rows


def halved_rows(breaks: Array, rows: Array) -> tuple[Array, Array]:
    """Every span cut in the middle of its first parameter; rows (s, t, p + 1, ...) as in a packed face."""
    middle = 0.5 * (breaks[:-1] + breaks[1:])
    out = np.empty((2 * len(rows), *rows.shape[1:]))
    work = np.moveaxis(rows, 2, 0).copy()
    n = len(work)
    low = np.empty_like(work)
    high = np.empty_like(work)
    for k in range(n):
        low[k], high[n - 1 - k] = work[0], work[n - 1 - k]
        work[: n - 1 - k] = 0.5 * (work[: n - 1 - k] + work[1 : n - k])
    out[0::2], out[1::2] = np.moveaxis(low, 0, 2), np.moveaxis(high, 0, 2)
    return np.sort(np.concatenate((breaks, middle))), out
