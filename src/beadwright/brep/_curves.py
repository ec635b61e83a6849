"""Curves of edges in space. Whatever STEP can carry is one of three forms, converted exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line3:
    """c(t) = origin + t direction, direction a unit vector."""

    origin: npt.NDArray[np.float64]
    direction: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Conic3:
    """A circle or ellipse: c(t) = centre + cos t major + sin t minor (vectors of length of the radii)."""

    centre: npt.NDArray[np.float64]
    major: npt.NDArray[np.float64]
    minor: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spline3:
    """A B-spline, clamped, not periodic; parabolas, hyperbolas, Bezier curves too (exact).

    Attributes
    ----------
    degree : int
    knots : (n + degree + 1,) float
        Flat, with repetitions; first and last ``degree + 1`` times.
    poles : (n, 3) float
        mm (or (n, 2) where it is a profile).
    weights : (n,) float
        Positive; all 1 for a polynomial curve.
    """

    degree: int
    knots: npt.NDArray[np.float64]
    poles: npt.NDArray[np.float64]
    weights: npt.NDArray[np.float64]


Curve3 = Line3 | Conic3 | Spline3
