"""B-splines cut into Bernstein pieces, and halving of such pieces, many at a time.

Every step is a convex combination (blossoming, de Casteljau), so nothing grows.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def extraction(knots: Array, degree: int) -> tuple[Array, npt.NDArray[np.int64], Array]:
    """Matrices that take the poles of each knot span to the Bernstein coefficients of that span.

    Parameters
    ----------
    knots : (n + degree + 1,) float
    degree : int

    Returns
    -------
    spans : (s, 2) float
        Ends of the spans that are not empty.
    first : (s,) int
        Row of the first pole of each span.
    matrix : (s, degree + 1, degree + 1) float
        Coefficients = matrix @ poles.

    Notes
    -----
    Coefficient k of the span [a, b] is the blossom at (a, ..., a, b, ..., b) with k times b
    (L. Ramshaw, Blossoming: a connect-the-dots approach to splines, DEC SRC 19, 1987).
    """
    p = degree
    index = np.arange(p, len(knots) - p - 1)
    index = index[knots[index + 1] > knots[index]]
    a, b = knots[index], knots[index + 1]
    matrix = np.empty((len(index), p + 1, p + 1))
    for k in range(p + 1):
        level = np.broadcast_to(np.eye(p + 1), (len(index), p + 1, p + 1)).copy()
        for r in range(1, p + 1):
            t = a if r <= p - k else b
            for j in range(p, r - 1, -1):
                low, high = knots[index - p + j], knots[index + 1 + j - r]
                share = ((t - low) / (high - low))[:, None]
                level[:, j] = (1.0 - share) * level[:, j - 1] + share * level[:, j]
        matrix[:, k] = level[:, p]
    return np.stack((a, b), axis=1), index - p, matrix


def halves(pieces: Array, axis: int) -> tuple[Array, Array]:
    """Both halves of Bernstein pieces, cut at the middle along one axis (de Casteljau)."""
    row = np.moveaxis(pieces, axis, 0).copy()
    n = len(row)
    left, right = np.empty_like(row), np.empty_like(row)
    for k in range(n):
        left[k], right[n - 1 - k] = row[0], row[n - 1 - k]
        row[: n - 1 - k] = 0.5 * (row[: n - 1 - k] + row[1 : n - k])
    return np.moveaxis(left, 0, axis), np.moveaxis(right, 0, axis)
