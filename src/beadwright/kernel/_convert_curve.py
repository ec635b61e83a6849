"""The kernel's curves as `brep` curves: exact, or with a measured bound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt
from OCP.Geom import (
    Geom_BezierCurve,
    Geom_BSplineCurve,
    Geom_Circle,
    Geom_Curve,
    Geom_Ellipse,
    Geom_Line,
    Geom_OffsetCurve,
    Geom_TrimmedCurve,
)
from OCP.GeomAbs import GeomAbs_Shape
from OCP.GeomConvert import GeomConvert, GeomConvert_ApproxCurve
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt, gp_Vec

from beadwright.brep import Conic3, Curve3, Line3, Spline3
from beadwright.errors import StepError

Array = npt.NDArray[np.float64]

OFFSET_TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CurvePiece:
    """A converted curve on a range of its own parameters.

    Attributes
    ----------
    curve : Curve3
    start, end : float
    same : bool
        Whether its parameters are those of the kernel's curve.
    bound : float
        Greatest distance from the kernel's curve, mm; 0 for an exact form.
    """

    curve: Curve3
    start: float
    end: float
    same: bool = True
    bound: float = 0.0


def xyz(p: gp_Pnt | gp_Vec | gp_Dir) -> Array:
    """Coordinates of a kernel point or vector, (3,)."""
    return np.array([p.X(), p.Y(), p.Z()])


def spline3(curve: Geom_BSplineCurve) -> Spline3:
    """A clamped, not periodic B-spline as arrays; the kernel's curve must be so already."""
    n = curve.NbPoles()
    degree = curve.Degree()
    poles = np.array([[p.X(), p.Y(), p.Z()] for p in (curve.Pole(i) for i in range(1, n + 1))])
    if curve.IsRational():
        weights = np.array([curve.Weight(i) for i in range(1, n + 1)])
    else:
        weights = np.ones(n)
    knots = np.concatenate(
        [np.full(curve.Multiplicity(i), curve.Knot(i)) for i in range(1, curve.NbKnots() + 1)]
    )
    return Spline3(degree=degree, knots=knots, poles=poles, weights=weights)


def clamped(curve: Geom_BSplineCurve, start: float, end: float) -> Geom_BSplineCurve:
    """A not periodic copy whose knots hold [start, end] where the curve is periodic or unclamped."""
    first, last = curve.Knot(1), curve.Knot(curve.NbKnots())
    degree = curve.Degree()
    whole = curve.Multiplicity(1) > degree and curve.Multiplicity(curve.NbKnots()) > degree
    if not curve.IsPeriodic() and whole:
        return curve
    copy = cast("Geom_BSplineCurve", curve.Copy())
    if curve.IsPeriodic() and (start < first or end > last):
        copy.Segment(start, min(end, start + curve.Period()))
        return copy
    if curve.IsPeriodic():
        copy.SetNotPeriodic()
        return copy
    copy.Segment(curve.FirstParameter(), curve.LastParameter())
    return copy


def convert_curve(curve: Geom_Curve, start: float, end: float) -> CurvePiece:
    """One kernel curve on [start, end] as a `brep` curve.

    Raises
    ------
    StepError
        The curve cannot be carried.
    """
    while isinstance(curve, Geom_TrimmedCurve):
        curve = curve.BasisCurve()
    match curve:
        case Geom_Line():
            p = curve.Position()
            line = Line3(origin=xyz(p.Location()), direction=xyz(p.Direction()))
            return CurvePiece(curve=line, start=start, end=end)
        case Geom_Circle():
            conic = _conic(curve.Position(), curve.Radius(), curve.Radius())
            return CurvePiece(curve=conic, start=start, end=end)
        case Geom_Ellipse():
            conic = _conic(curve.Position(), curve.MajorRadius(), curve.MinorRadius())
            return CurvePiece(curve=conic, start=start, end=end)
        case Geom_BSplineCurve():
            return CurvePiece(curve=spline3(clamped(curve, start, end)), start=start, end=end)
        case Geom_BezierCurve():
            spline = spline3(GeomConvert.CurveToBSplineCurve_s(curve))
            return CurvePiece(curve=spline, start=start, end=end)
        case Geom_OffsetCurve():
            return _offset_curve(curve, start, end)
        case _:
            exact = spline3(GeomConvert.CurveToBSplineCurve_s(Geom_TrimmedCurve(curve, start, end)))
            return CurvePiece(
                curve=exact, start=float(exact.knots[0]), end=float(exact.knots[-1]), same=False
            )


def _conic(position: gp_Ax2, major: float, minor: float) -> Conic3:
    return Conic3(
        centre=xyz(position.Location()),
        major=major * xyz(position.XDirection()),
        minor=minor * xyz(position.YDirection()),
    )


def _offset_curve(curve: Geom_OffsetCurve, start: float, end: float) -> CurvePiece:
    """Offset of a line or circle in its plane: the same kind; else a spline with a measured bound."""
    base = curve.BasisCurve()
    while isinstance(base, Geom_TrimmedCurve):
        base = base.BasisCurve()
    reference = xyz(curve.Direction())
    if isinstance(base, Geom_Line):
        origin, along = xyz(curve.Value(0.0)), xyz(curve.Value(1.0)) - xyz(curve.Value(0.0))
        line = Line3(origin=origin, direction=along / np.linalg.norm(along))
        return CurvePiece(curve=line, start=start, end=end)
    if isinstance(base, Geom_Circle):
        normal = xyz(base.Position().Direction())
        if np.linalg.norm(np.cross(normal, reference)) < 1e-12:
            centre = xyz(base.Position().Location())
            conic = Conic3(
                centre=centre,
                major=xyz(curve.Value(0.0)) - centre,
                minor=xyz(curve.Value(0.5 * np.pi)) - centre,
            )
            return CurvePiece(curve=conic, start=start, end=end)
    trimmed = Geom_TrimmedCurve(curve, start, end)
    fit = GeomConvert_ApproxCurve(trimmed, OFFSET_TOLERANCE, GeomAbs_Shape.GeomAbs_C1, 1000, 9)
    if not fit.HasResult():
        raise StepError("an offset curve of the file cannot be expressed as a spline; re-export the file")
    spline = spline3(fit.Curve())
    return CurvePiece(curve=spline, start=start, end=end, bound=fit.MaxError())
