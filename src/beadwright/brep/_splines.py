"""B-spline basis functions and curves, vectorised over parameters."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def basis(
    knots: Array, degree: int, t: Array, order: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Values and derivatives of the basis functions that do not vanish at each parameter.

    Beyond the ends of the knots the end spans' polynomials go on.

    Parameters
    ----------
    knots : (n + degree + 1,) float
    degree : int
    t : (k,) float
    order : int
        Highest derivative.

    Returns
    -------
    first : (k,) int
        Row of the first of the ``degree + 1`` poles.
    values : (order + 1, k, degree + 1) float

    Notes
    -----
    de Boor's recurrence; derivatives by differences of the basis of lower degree (L. Piegl, W. Tiller,
    The NURBS Book, 2nd ed., 1997, eq. 2.5 and 2.7).
    """
    count = len(knots) - degree - 1
    span = np.clip(np.searchsorted(knots, t, side="right") - 1, degree, count - 1)
    levels = [np.ones((len(t), 1))]
    for p in range(1, degree + 1):
        level = np.zeros((len(t), p + 1))
        for j in range(p):
            low, high = knots[span + 1 + j - p], knots[span + 1 + j]
            share = levels[-1][:, j] / (high - low)
            level[:, j] += (high - t) * share
            level[:, j + 1] += (t - low) * share
        levels.append(level)
    values = np.zeros((order + 1, len(t), degree + 1))
    values[0] = levels[degree]
    for k in range(1, min(order, degree) + 1):
        current = levels[degree - k]
        for p in range(degree - k + 1, degree + 1):
            raised = np.zeros((len(t), p + 1))
            for j in range(p):
                share = p * current[:, j] / (knots[span + 1 + j] - knots[span + 1 + j - p])
                raised[:, j] -= share
                raised[:, j + 1] += share
            current = raised
        values[k] = current
    return span - degree, values


def rational(homogeneous: list[Array]) -> list[Array]:
    """Derivatives of the quotient of a homogeneous curve, ``(k, d + 1)`` each, by Leibniz' rule."""
    out: list[Array] = []
    weight = [h[:, -1:] for h in homogeneous]
    for k, h in enumerate(homogeneous):
        value = h[:, :-1].copy()
        binomial = 1.0
        for i in range(1, k + 1):
            binomial = binomial * (k - i + 1) / i
            value -= binomial * weight[i] * out[k - i]
        out.append(value / weight[0])
    return out


def curve_derivatives(
    knots: Array, degree: int, poles: Array, weights: Array, t: Array, order: int
) -> list[Array]:
    """Point and derivatives up to ``order`` of a B-spline curve: a list of (k, d) arrays."""
    first, values = basis(knots, degree, t, order)
    rows = first[:, None] + np.arange(degree + 1)
    if np.all(weights == 1.0):
        local = poles[rows]
        return [np.einsum("kj,kjd->kd", v, local) for v in values]
    local = np.concatenate((poles * weights[:, None], weights[:, None]), axis=1)[rows]
    return rational([np.einsum("kj,kjd->kd", v, local) for v in values])


def surface_derivatives(
    degree: tuple[int, int],
    knots: tuple[Array, Array],
    poles: Array,
    weights: Array,
    uv: Array,
    order: int,
) -> dict[tuple[int, int], Array]:
    """Point and partials (i in u, j in v, i + j <= order <= 2) of a spline surface, (k, 3) each."""
    first_u, nu = basis(knots[0], degree[0], uv[:, 0], order)
    first_v, nv = basis(knots[1], degree[1], uv[:, 1], order)
    rows = first_u[:, None, None] + np.arange(degree[0] + 1)[None, :, None]
    columns = first_v[:, None, None] + np.arange(degree[1] + 1)[None, None, :]
    polynomial = bool(np.all(weights == 1.0))
    table = poles if polynomial else np.concatenate((poles * weights[..., None], weights[..., None]), axis=2)
    local = table[rows, columns]
    along_v = [np.einsum("kj,kijd->kid", v, local) for v in nv]
    out = {
        (i, j): np.einsum("ki,kid->kd", nu[i], along_v[j])
        for i in range(order + 1)
        for j in range(order + 1 - i)
    }
    if polynomial:
        return out
    w = {key: value[:, 3:] for key, value in out.items()}
    a = {key: value[:, :3] for key, value in out.items()}
    s = {(0, 0): a[0, 0] / w[0, 0]}
    for key in ((1, 0), (0, 1)):
        if order >= 1:
            s[key] = (a[key] - w[key] * s[0, 0]) / w[0, 0]
    if order >= 2:
        s[2, 0] = (a[2, 0] - 2 * w[1, 0] * s[1, 0] - w[2, 0] * s[0, 0]) / w[0, 0]
        s[0, 2] = (a[0, 2] - 2 * w[0, 1] * s[0, 1] - w[0, 2] * s[0, 0]) / w[0, 0]
        s[1, 1] = (a[1, 1] - w[1, 0] * s[0, 1] - w[0, 1] * s[1, 0] - w[1, 1] * s[0, 0]) / w[0, 0]
    return s
