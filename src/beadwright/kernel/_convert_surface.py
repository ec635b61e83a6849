"""The kernel's surfaces as `brep` surfaces, exactly, with the map between the parameters."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import cast

import numpy as np
import numpy.typing as npt
from OCP.Geom import (
    Geom_BezierSurface,
    Geom_BSplineSurface,
    Geom_Circle,
    Geom_ConicalSurface,
    Geom_Curve,
    Geom_CylindricalSurface,
    Geom_Line,
    Geom_OffsetSurface,
    Geom_Plane,
    Geom_RectangularTrimmedSurface,
    Geom_SphericalSurface,
    Geom_Surface,
    Geom_SurfaceOfLinearExtrusion,
    Geom_SurfaceOfRevolution,
    Geom_ToroidalSurface,
    Geom_TrimmedCurve,
)
from OCP.GeomConvert import GeomConvert
from OCP.gp import gp_Ax3

from beadwright.brep import (
    CircleProfile,
    Conic3,
    ExtrusionSurface,
    Frame,
    Line3,
    LineProfile,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    Spline3,
    SplineProfile,
    SplineSurface,
    Surface,
)
from beadwright.errors import StepError
from beadwright.kernel._convert_curve import convert_curve, xyz
from beadwright.kernel._offset import offset, radius_of

Array = npt.NDArray[np.float64]

IN_PLANE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """A converted surface and how its parameters follow from the kernel's.

    Attributes
    ----------
    surface : Surface
    kind : str
        What the file calls it.
    radius : float
        mm; 0 if it has none.
    matrix, shift : (2, 2), (2,) float
        uv = matrix @ uv of the kernel + shift; only a seed where ``affine`` is False.
    affine : bool
    """

    surface: Surface
    kind: str
    radius: float = 0.0
    matrix: Array = field(default_factory=lambda: np.eye(2))
    shift: Array = field(default_factory=lambda: np.zeros(2))
    affine: bool = True


def _frame(position: gp_Ax3) -> Frame:
    axes = np.array([xyz(position.XDirection()), xyz(position.YDirection()), xyz(position.Direction())])
    return Frame(origin=xyz(position.Location()), axes=axes)


def convert_surface(surface: Geom_Surface, box: tuple[float, float, float, float]) -> Sheet:
    """One kernel surface as a `brep` surface.

    Parameters
    ----------
    surface : Geom_Surface
    box : (float, float, float, float)
        Least and greatest u, least and greatest v that the face uses, in the kernel's parameters.

    Raises
    ------
    StepError
        The surface cannot be carried.
    """
    while isinstance(surface, Geom_RectangularTrimmedSurface):
        surface = surface.BasisSurface()
    match surface:
        case Geom_Plane():
            return Sheet(surface=PlaneSurface(frame=_frame(surface.Position())), kind="plane")
        case Geom_CylindricalSurface():
            radius = surface.Radius()
            profile = LineProfile(r0=radius, w0=0.0, dr=0.0, dw=1.0)
            return _about(surface.Position(), profile, "cylinder", radius)
        case Geom_ConicalSurface():
            angle = surface.SemiAngle()
            profile = LineProfile(r0=surface.RefRadius(), w0=0.0, dr=np.sin(angle), dw=np.cos(angle))
            return _about(surface.Position(), profile, "cone", 0.0)
        case Geom_ToroidalSurface():
            ring = CircleProfile(major=surface.MajorRadius(), minor=surface.MinorRadius())
            return _about(surface.Position(), ring, "torus", surface.MinorRadius())
        case Geom_SphericalSurface():
            radius = surface.Radius()
            sphere = SphereSurface(frame=_frame(surface.Position()), radius=radius)
            return Sheet(surface=sphere, kind="sphere", radius=radius)
        case Geom_BSplineSurface():
            return Sheet(surface=_spline_surface(_clamped(surface, box)), kind="spline")
        case Geom_BezierSurface():
            return Sheet(
                surface=_spline_surface(GeomConvert.SurfaceToBSplineSurface_s(surface)), kind="spline"
            )
        case Geom_SurfaceOfLinearExtrusion():
            return _extrusion(surface, box)
        case Geom_SurfaceOfRevolution():
            return _revolution(surface, box)
        case Geom_OffsetSurface():
            return _offset(surface, box)
        case _:
            name = type(surface).__name__
            raise StepError(f"a face lies on a surface of the kind {name}, which cannot be cut exactly")


def _about(
    position: gp_Ax3, profile: LineProfile | CircleProfile | SplineProfile, kind: str, radius: float
) -> Sheet:
    return Sheet(surface=RevolutionSurface(frame=_frame(position), profile=profile), kind=kind, radius=radius)


def _clamped(surface: Geom_BSplineSurface, box: tuple[float, float, float, float]) -> Geom_BSplineSurface:
    """A not periodic, clamped copy whose knots hold the face's own range of parameters."""
    nu, nv = surface.NbUKnots(), surface.NbVKnots()
    open_u = min(surface.UMultiplicity(1), surface.UMultiplicity(nu)) <= surface.UDegree()
    open_v = min(surface.VMultiplicity(1), surface.VMultiplicity(nv)) <= surface.VDegree()
    if not (surface.IsUPeriodic() or surface.IsVPeriodic() or open_u or open_v):
        return surface
    u0, u1, v0, v1 = surface.Bounds()
    copy = cast("Geom_BSplineSurface", surface.Copy())
    if surface.IsUPeriodic():
        u0, u1 = _turn(u0, u1, box[0], box[1])
    if surface.IsVPeriodic():
        v0, v1 = _turn(v0, v1, box[2], box[3])
    copy.Segment(u0, u1, v0, v1)
    for periodic, make in (
        (copy.IsUPeriodic(), copy.SetUNotPeriodic),
        (copy.IsVPeriodic(), copy.SetVNotPeriodic),
    ):
        if periodic:
            make()
    return copy


def _turn(first: float, last: float, low: float, high: float) -> tuple[float, float]:
    """One period that holds [low, high], the curve's own where that does."""
    slack = 1e-9 * (last - first)
    if low >= first - slack and high <= last + slack:
        return first, last
    return low, low + (last - first)


def _spline_surface(surface: Geom_BSplineSurface) -> SplineSurface:
    nu, nv = surface.NbUPoles(), surface.NbVPoles()
    poles = np.empty((nu, nv, 3))
    for i in range(nu):
        for j in range(nv):
            p = surface.Pole(i + 1, j + 1)
            poles[i, j] = (p.X(), p.Y(), p.Z())
    weights = np.ones((nu, nv))
    if surface.IsURational() or surface.IsVRational():
        for i in range(nu):
            for j in range(nv):
                weights[i, j] = surface.Weight(i + 1, j + 1)
    knots_u = np.concatenate(
        [np.full(surface.UMultiplicity(i), surface.UKnot(i)) for i in range(1, surface.NbUKnots() + 1)]
    )
    knots_v = np.concatenate(
        [np.full(surface.VMultiplicity(i), surface.VKnot(i)) for i in range(1, surface.NbVKnots() + 1)]
    )
    return SplineSurface(
        degree=(surface.UDegree(), surface.VDegree()),
        knots_u=knots_u,
        knots_v=knots_v,
        poles=poles,
        weights=weights,
    )


def _basis_curve(curve: Geom_Curve) -> Geom_Curve:
    while isinstance(curve, Geom_TrimmedCurve):
        curve = curve.BasisCurve()
    return curve


def _extrusion(surface: Geom_SurfaceOfLinearExtrusion, box: tuple[float, float, float, float]) -> Sheet:
    direction = xyz(surface.Direction())
    curve = _basis_curve(surface.BasisCurve())
    piece = convert_curve(curve, box[0], box[1])
    match piece.curve:
        case Line3(origin=origin, direction=along):
            lean = float(along @ direction)
            across = direction - lean * along
            size = float(np.linalg.norm(across))
            if size < 1e-9:
                raise StepError("an extruded line runs along its own direction: the face has no area")
            axes = np.array([along, across / size, np.cross(along, across / size)])
            plane = PlaneSurface(frame=Frame(origin=origin, axes=axes))
            return Sheet(surface=plane, kind="extrusion", matrix=np.array([[1.0, lean], [0.0, size]]))
        case Conic3(centre=centre, major=major, minor=minor):
            radius = float(np.linalg.norm(major))
            round_ = abs(radius - float(np.linalg.norm(minor))) < 1e-12 * radius
            upright = max(abs(float(major @ direction)), abs(float(minor @ direction))) < 1e-12 * radius
            if round_ and upright:
                axes = np.array([major / radius, minor / radius, direction])
                profile = LineProfile(r0=radius, w0=0.0, dr=0.0, dw=1.0)
                tube = RevolutionSurface(frame=Frame(origin=centre, axes=axes), profile=profile)
                return Sheet(surface=tube, kind="extrusion", radius=radius)
    return Sheet(
        surface=ExtrusionSurface(directrix=piece.curve, direction=direction),
        kind="extrusion",
        affine=piece.same,
    )


def _revolution(surface: Geom_SurfaceOfRevolution, box: tuple[float, float, float, float]) -> Sheet:
    axis = surface.Axis()
    origin, z = xyz(axis.Location()), xyz(axis.Direction())
    curve = _basis_curve(surface.BasisCurve())
    v0, v1 = box[2], box[3]
    samples = np.array([xyz(curve.Value(t)) for t in np.linspace(v0, v1, 33)]) - origin
    radial = samples - np.outer(samples @ z, z)
    reach = np.linalg.norm(radial, axis=1)
    far = int(np.argmax(reach))
    if reach[far] < 1e-9:
        raise StepError("a curve revolved about itself: the face has no area")
    x = radial[far] / reach[far]
    x = x - (x @ z) * z
    x /= np.linalg.norm(x)
    y = np.cross(z, x)
    frame = Frame(origin=origin, axes=np.array([x, y, z]))
    size = float(np.max(np.abs(samples))) + 1.0
    if float(np.max(np.abs(samples @ y))) > IN_PLANE * size:
        return _as_spline(surface, box, "revolution")
    return _meridian(curve, frame, (v0, v1), surface, box)


def _meridian(
    curve: Geom_Curve,
    frame: Frame,
    span: tuple[float, float],
    surface: Geom_SurfaceOfRevolution,
    box: tuple[float, float, float, float],
) -> Sheet:
    """A meridian in a plane with the axis: line, circle or B-spline."""
    x, y, z = frame.axes
    if isinstance(curve, Geom_Line):
        d, p = xyz(curve.Position().Direction()), xyz(curve.Position().Location()) - frame.origin
        dr, dw = float(d @ x), float(d @ z)
        if abs(dw) < 1e-12:
            middle = float(p @ x) + 0.5 * (span[0] + span[1]) * dr
            return _disc(frame, float(p @ z), dr * middle > 0.0)
        line = LineProfile(r0=float(p @ x), w0=float(p @ z), dr=dr, dw=dw)
        radius = line.r0 if abs(dr) < 1e-12 else 0.0
        return Sheet(surface=RevolutionSurface(frame=frame, profile=line), kind="revolution", radius=radius)
    if isinstance(curve, Geom_Circle):
        found = _circle_meridian(curve, frame, span)
        if found is not None:
            return found
    piece = convert_curve(curve, *span)
    if not isinstance(piece.curve, Spline3):
        trimmed = GeomConvert.CurveToBSplineCurve_s(Geom_TrimmedCurve(curve, *span))
        piece = convert_curve(trimmed, trimmed.FirstParameter(), trimmed.LastParameter())
        piece = replace(piece, same=False)
    spline = piece.curve
    assert isinstance(spline, Spline3)
    local = spline.poles - frame.origin
    if float(np.max(np.abs(local @ y))) > IN_PLANE * (float(np.max(np.abs(local))) + 1.0):
        return _as_spline(surface, box, "revolution")
    flat = replace(spline, poles=np.stack((local @ x, local @ z), axis=1))
    profile = SplineProfile(curve=flat)
    matrix, shift = np.eye(2), np.zeros(2)
    if not piece.same:
        matrix[1, 1] = (piece.end - piece.start) / (span[1] - span[0])
        shift[1] = piece.start - matrix[1, 1] * span[0]
    return Sheet(
        surface=RevolutionSurface(frame=frame, profile=profile),
        kind="revolution",
        matrix=matrix,
        shift=shift,
        affine=piece.same,
    )


def _disc(frame: Frame, w0: float, outwards: bool) -> Sheet:
    """A meridian across the axis sweeps a plane; its polar parameters do not map to ours affinely."""
    plane = PlaneSurface(frame=replace(frame, origin=frame.origin + w0 * frame.axes[2]))
    return Sheet(
        surface=plane, kind="revolution", matrix=np.diag([1.0, -1.0 if outwards else 1.0]), affine=False
    )


def _circle_meridian(curve: Geom_Circle, frame: Frame, span: tuple[float, float]) -> Sheet | None:
    """A circle in the meridian plane: torus, or sphere if it is centred on the axis."""
    x, y, z = frame.axes
    position = curve.Position()
    if abs(abs(float(xyz(position.Direction()) @ y)) - 1.0) > 1e-12:
        return None
    radius = curve.Radius()
    centre = xyz(position.Location()) - frame.origin
    a = xyz(position.XDirection())
    b = xyz(position.YDirection())
    start = float(np.arctan2(a @ z, a @ x))
    turn = 1.0 if float((a @ x) * (b @ z) - (a @ z) * (b @ x)) > 0.0 else -1.0
    major, w0 = float(centre @ x), float(centre @ z)
    matrix = np.diag([1.0, turn])
    if abs(major) > 1e-9 * radius:
        shift = np.array([0.0, start])
        ring = CircleProfile(major=major, minor=radius, w0=w0)
        return Sheet(
            surface=RevolutionSurface(frame=frame, profile=ring),
            kind="revolution",
            radius=radius,
            matrix=matrix,
            shift=shift,
        )
    middle = start + turn * 0.5 * (span[0] + span[1])
    shift = np.array([0.0, start - 2.0 * np.pi * np.round(middle / (2.0 * np.pi))])
    ends = [shift[1] + turn * s for s in span]
    if max(abs(e) for e in ends) > 0.5 * np.pi + 1e-9:
        return None
    ball = SphereSurface(frame=Frame(origin=frame.origin + w0 * z, axes=frame.axes), radius=radius)
    return Sheet(surface=ball, kind="revolution", radius=radius, matrix=matrix, shift=shift)


def _as_spline(surface: Geom_Surface, box: tuple[float, float, float, float], kind: str) -> Sheet:
    """The exact rational B-spline of the trimmed range; its parameters are not the kernel's."""
    trimmed = Geom_RectangularTrimmedSurface(surface, *box)
    spline = GeomConvert.SurfaceToBSplineSurface_s(trimmed)
    for periodic, make in (
        (spline.IsUPeriodic(), spline.SetUNotPeriodic),
        (spline.IsVPeriodic(), spline.SetVNotPeriodic),
    ):
        if periodic:
            make()
    u0, u1, v0, v1 = spline.Bounds()
    matrix = np.diag([(u1 - u0) / (box[1] - box[0]), (v1 - v0) / (box[3] - box[2])])
    shift = np.array([u0 - matrix[0, 0] * box[0], v0 - matrix[1, 1] * box[2]])
    return Sheet(surface=_spline_surface(spline), kind=kind, matrix=matrix, shift=shift, affine=False)


def _offset(surface: Geom_OffsetSurface, box: tuple[float, float, float, float]) -> Sheet:
    base = convert_surface(surface.BasisSurface(), box)
    # The normal changes sign with the sense of the parameters.
    distance = surface.Offset() * (1.0 if np.linalg.det(base.matrix) > 0.0 else -1.0)
    moved = offset(base.surface, distance)
    shift = base.shift
    match moved:
        case RevolutionSurface(profile=CircleProfile(minor=minor) as ring) if minor < 0.0:
            # Offset inward past the tube's centre line: the same tube with v half a turn on.
            moved = replace(moved, profile=replace(ring, minor=-minor))
            shift = shift + np.array([0.0, np.pi])
        case RevolutionSurface(profile=LineProfile(r0=r0, dr=0.0) as line) if r0 < 0.0:
            moved = replace(moved, profile=replace(line, r0=-r0))
            shift = shift + np.array([np.pi, 0.0])
    return Sheet(
        surface=moved,
        kind="offset",
        radius=radius_of(moved),
        matrix=base.matrix,
        shift=shift,
        affine=base.affine,
    )
