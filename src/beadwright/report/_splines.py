"""Bézier pieces joined to one B-spline, and turned into plain cubics with a bound."""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np
import numpy.typing as npt

from beadwright.curves import CurveLoops
from beadwright.errors import BoundError

Floats = npt.NDArray[np.float64]

MOST_HALVINGS = 12
"""A cubic's error falls 16 times with each halving: 12 of them take 1 m to 1e-11 mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JoinedSpline:
    """One clamped B-spline.

    Attributes
    ----------
    degree : int
    knots : (k + degree + 1,) float
    points : (k, 2) float
        mm.
    weights : (k,) float
        All 1 where `rational` is False.
    rational : bool
    """

    degree: int
    knots: Floats
    points: Floats
    weights: Floats
    rational: bool


def bezier_pieces(loops: CurveLoops, curve: int) -> list[Floats]:
    """Homogeneous control points of each piece of a curve."""
    rows = range(int(loops.first_piece[curve]), int(loops.first_piece[curve + 1]))
    return [loops.control[loops.first_control[row] : loops.first_control[row + 1]] for row in rows]


def raised(control: Floats, degree: int) -> Floats:
    """The same piece at a higher degree: Bernstein coefficients, convex steps only."""
    while len(control) <= degree:
        n = len(control)
        share = (np.arange(1, n) / n)[:, None]
        inner = share * control[:-1] + (1 - share) * control[1:]
        control = np.concatenate((control[:1], inner, control[-1:]))
    return control


def joined(loops: CurveLoops, curve: int) -> JoinedSpline:
    """Pieces of a curve as one B-spline, the same curve: every inner knot as often as the degree."""
    pieces = bezier_pieces(loops, curve)
    degree = max(len(p) for p in pieces) - 1
    rows = [raised(pieces[0], degree)]
    for piece in pieces[1:]:
        piece = raised(piece, degree)
        rows.append(piece[1:] * (rows[-1][-1, 2] / piece[0, 2]))
    control = np.concatenate(rows)
    weights = control[:, 2]
    rational = bool(np.any(weights != weights[0]))
    inner = np.repeat(np.arange(1, len(pieces)), degree)
    knots = np.concatenate((np.zeros(degree + 1), inner, np.full(degree + 1, len(pieces)))) / len(pieces)
    return JoinedSpline(
        degree=degree,
        knots=knots,
        points=control[:, :2] / weights[:, None],
        weights=weights / weights[0],
        rational=rational,
    )


def halves(control: Floats) -> tuple[Floats, Floats]:
    """Both halves of a piece, by de Casteljau."""
    left, right = [control[0]], [control[-1]]
    while len(control) > 1:
        control = 0.5 * (control[:-1] + control[1:])
        left.append(control[0])
        right.append(control[-1])
    return np.array(left), np.array(right[::-1])


def cubics(control: Floats, bound: float) -> tuple[list[Floats], float]:
    """A homogeneous piece as polynomial cubics.

    Polynomial pieces of degree up to 3 come back as they are (raised to 3). Others are halved until the
    cubic with the same ends and end derivatives is near enough: with P = N / W, the difference to the
    cubic Q is (N - W Q) / W, so the greatest Bernstein coefficient of N - W Q over the least one of W
    bounds the distance at equal parameters.

    Parameters
    ----------
    control : (degree + 1, 3) float
    bound : float
        Allowed distance, mm.

    Returns
    -------
    list of (4, 2) float
    reached : float
        Proven distance, mm; 0 where exact.

    Raises
    ------
    BoundError
        Not reached after `MOST_HALVINGS`.
    """
    return _cubics(control, bound, MOST_HALVINGS)


def _cubics(control: Floats, bound: float, left: int) -> tuple[list[Floats], float]:
    if len(control) <= 4 and np.all(control[:, 2] == control[0, 2]):
        return [raised(control, 3)[:, :2] / control[0, 2]], 0.0
    cubic = _hermite(control)
    error = _distance(control, cubic)
    if error <= bound:
        return [cubic], error
    if left == 0:
        raise BoundError(bound, error, "a piece of the section as cubics")
    first, second = (_cubics(half, bound, left - 1) for half in halves(control))
    return first[0] + second[0], max(first[1], second[1])


def _hermite(control: Floats) -> Floats:
    """Cubic with the ends and end derivatives of a piece."""
    degree = len(control) - 1
    w = control[:, 2]
    p = control[:, :2] / w[:, None]
    out = np.empty((4, 2))
    out[0], out[3] = p[0], p[-1]
    out[1] = p[0] + degree * (w[1] / w[0]) * (p[1] - p[0]) / 3
    out[2] = p[-1] - degree * (w[-2] / w[-1]) * (p[-1] - p[-2]) / 3
    return out


def _distance(control: Floats, cubic: Floats) -> float:
    """Bound of the distance between a piece and a cubic at equal parameters."""
    degree = len(control) - 1
    # about the first point, so that a place far from the origin costs no digits
    origin = cubic[0]
    homogeneous = control[:, :2] - control[:, 2:] * origin
    total = raised(homogeneous, degree + 3) - _product(control[:, 2], cubic - origin)
    return float(np.hypot(total[:, 0], total[:, 1]).max() / control[:, 2].min())


def _product(weight: Floats, cubic: Floats) -> Floats:
    """Bernstein coefficients of a scalar polynomial times a cubic."""
    m, n = len(weight) - 1, 3
    a = weight * [comb(m, i) for i in range(m + 1)]
    b = cubic * np.array([[comb(n, i)] for i in range(n + 1)])
    scale = np.array([comb(m + n, i) for i in range(m + n + 1)], dtype=float)
    return np.column_stack([np.convolve(a, b[:, k]) / scale for k in range(2)])
