"""Surfaces of faces. Every kind that STEP can carry is one of six, converted exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep._curves import Curve3, Spline3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """An origin and three orthogonal unit axes; may be left-handed (common in modelled fillets).

    Attributes
    ----------
    origin : (3,) float
        mm.
    axes : (3, 3) float
        Rows x, y, z.
    """

    origin: npt.NDArray[np.float64]
    axes: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaneSurface:
    """S(u, v) = origin + u x + v y."""

    frame: Frame


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SphereSurface:
    """S(u, v) = origin + radius (cos v cos u x + cos v sin u y + sin v z)."""

    frame: Frame
    radius: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineProfile:
    """r(v) = r0 + v dr, w(v) = w0 + v dw, dr^2 + dw^2 = 1: cylinder (dr = 0) and cone."""

    r0: float
    w0: float
    dr: float
    dw: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CircleProfile:
    """r(v) = major + minor cos v, w(v) = w0 + minor sin v: torus (minor > major: spindle)."""

    major: float
    minor: float
    w0: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SplineProfile:
    """(r(v), w(v)) is a plane B-spline, poles (n, 2), moved by ``offset`` along the surface normal.

    The normal is the unit vector of (dS/du x dS/dv) of the surface before the offset.
    """

    curve: Spline3
    offset: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RevolutionSurface:
    """S(u, v) = origin + w(v) z + r(v) (cos u x + sin u y), about the z of its frame."""

    frame: Frame
    profile: LineProfile | CircleProfile | SplineProfile


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExtrusionSurface:
    """S(u, v) = directrix(u) + v direction, direction a unit vector."""

    directrix: Curve3
    direction: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SplineSurface:
    """A B-spline surface, clamped, not periodic (closed ones have a seam edge).

    Attributes
    ----------
    degree : (int, int)
        In u and in v.
    knots_u, knots_v : (nu + degree_u + 1,), (nv + degree_v + 1,) float
        Flat, with repetitions.
    poles : (nu, nv, 3) float
        mm.
    weights : (nu, nv) float
        Positive; all 1 for a polynomial surface.
    """

    degree: tuple[int, int]
    knots_u: npt.NDArray[np.float64]
    knots_v: npt.NDArray[np.float64]
    poles: npt.NDArray[np.float64]
    weights: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OffsetSurface:
    """base(u, v) + distance n(u, v), n the unit normal (dS/du x dS/dv) of the base.

    Offsets of planes, spheres, cylinders, cones, tori and surfaces of revolution never come in this
    form: their offset is of the same kind.
    """

    base: SplineSurface | ExtrusionSurface
    distance: float


Surface = PlaneSurface | SphereSurface | RevolutionSurface | ExtrusionSurface | SplineSurface | OffsetSurface
