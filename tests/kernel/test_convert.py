"""Every kind of surface and curve against the kernel's own evaluation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from OCP.Geom import (
    Geom_BezierCurve,
    Geom_BezierSurface,
    Geom_BSplineCurve,
    Geom_BSplineSurface,
    Geom_Circle,
    Geom_ConicalSurface,
    Geom_CylindricalSurface,
    Geom_Ellipse,
    Geom_Hyperbola,
    Geom_Line,
    Geom_OffsetCurve,
    Geom_OffsetSurface,
    Geom_Parabola,
    Geom_Plane,
    Geom_RectangularTrimmedSurface,
    Geom_SphericalSurface,
    Geom_SurfaceOfLinearExtrusion,
    Geom_SurfaceOfRevolution,
    Geom_ToroidalSurface,
    Geom_TrimmedCurve,
)
from OCP.GeomConvert import GeomConvert
from OCP.gp import gp_Ax1, gp_Ax2, gp_Ax3, gp_Dir, gp_Pnt, gp_Vec
from OCP.TColgp import TColgp_Array1OfPnt, TColgp_Array2OfPnt
from OCP.TColStd import TColStd_Array1OfInteger, TColStd_Array1OfReal, TColStd_Array2OfReal

from beadwright import brep
from beadwright.kernel._convert_curve import convert_curve
from beadwright.kernel._convert_surface import convert_surface

RIGHT = gp_Ax3(gp_Pnt(11, -7, 3), gp_Dir(0.3, 0.5, 0.8), gp_Dir(0.9, -0.1, 0.2))
LEFT = gp_Ax3(RIGHT.Ax2())
LEFT.YReverse()
AXIS = gp_Ax1(RIGHT.Location(), RIGHT.Direction())


def xyz(p) -> np.ndarray:
    return np.array([p.X(), p.Y(), p.Z()])


def at(r: float, w: float, off: float = 0.0) -> gp_Pnt:
    """A point by radius and height in a meridian plane of RIGHT, and distance from that plane."""
    return gp_Pnt(
        *(
            xyz(RIGHT.Location())
            + r * xyz(RIGHT.XDirection())
            + w * xyz(RIGHT.Direction())
            + off * xyz(RIGHT.YDirection())
        )
    )


def reals(values) -> TColStd_Array1OfReal:
    out = TColStd_Array1OfReal(1, len(values))
    for i, v in enumerate(values):
        out.SetValue(i + 1, float(v))
    return out


def integers(values) -> TColStd_Array1OfInteger:
    out = TColStd_Array1OfInteger(1, len(values))
    for i, v in enumerate(values):
        out.SetValue(i + 1, int(v))
    return out


def points(rows) -> TColgp_Array1OfPnt:
    out = TColgp_Array1OfPnt(1, len(rows))
    for i, p in enumerate(rows):
        out.SetValue(i + 1, p)
    return out


def net(seed: int, n: int, m: int) -> TColgp_Array2OfPnt:
    rng = np.random.default_rng(seed)
    out = TColgp_Array2OfPnt(1, n, 1, m)
    for i in range(n):
        for j in range(m):
            out.SetValue(i + 1, j + 1, gp_Pnt(10.0 * i, 10.0 * j, float(rng.uniform(-4, 4))))
    return out


def weights(seed: int, n: int, m: int) -> TColStd_Array2OfReal:
    rng = np.random.default_rng(seed)
    out = TColStd_Array2OfReal(1, n, 1, m)
    for i in range(n):
        for j in range(m):
            out.SetValue(i + 1, j + 1, float(rng.uniform(0.5, 2.0)))
    return out


def profile_spline() -> Geom_BSplineCurve:
    return Geom_BSplineCurve(
        points([at(30, 0), at(42, 11), at(25, 24), at(38, 39), at(31, 52)]),
        reals([0, 0.4, 1]),
        integers([4, 1, 4]),
        3,
    )


def periodic_curve() -> Geom_BSplineCurve:
    ring = [
        gp_Pnt(20 * math.cos(a) + 3 * math.cos(3 * a), 20 * math.sin(a), 2 * math.sin(2 * a))
        for a in np.linspace(0, 2 * math.pi, 8, endpoint=False)
    ]
    return Geom_BSplineCurve(points(ring), reals(np.arange(9)), integers([1] * 9), 3, True)


def periodic_surface() -> Geom_BSplineSurface:
    poles = TColgp_Array2OfPnt(1, 8, 1, 3)
    for i, a in enumerate(np.linspace(0, 2 * math.pi, 8, endpoint=False)):
        for j in range(3):
            r = 20 + 4 * math.sin(i + j)
            poles.SetValue(i + 1, j + 1, gp_Pnt(r * math.cos(a), r * math.sin(a), 9.0 * j))
    return Geom_BSplineSurface(
        poles, reals(np.arange(9)), reals([0, 1]), integers([1] * 9), integers([3, 3]), 3, 2, True, False
    )


def bspline_surface(rational: bool) -> Geom_BSplineSurface:
    ku, kv = reals([0, 0.3, 1]), reals([-2, 1, 1.5, 4])
    mu, mv = integers([4, 2, 4]), integers([3, 1, 2, 3])
    if rational:
        return Geom_BSplineSurface(net(1, 6, 6), weights(2, 6, 6), ku, kv, mu, mv, 3, 2)
    return Geom_BSplineSurface(net(1, 6, 6), ku, kv, mu, mv, 3, 2)


def circle_at(r: float, w: float, radius: float, sense: float = 1.0, off: float = 0.0) -> Geom_Circle:
    """A circle in the meridian plane."""
    normal = gp_Dir(*(sense * xyz(RIGHT.YDirection())))
    return Geom_Circle(gp_Ax2(at(r, w, off), normal, gp_Dir(0.3, 0.5, 0.8)), radius)


def frames(make) -> list:
    return [make(RIGHT), make(LEFT)]


E2 = gp_Ax2(gp_Pnt(1, 2, 3), gp_Dir(0.1, 0.2, 1), gp_Dir(1, 0, 0))
RANGE = (0.2, 1.3, -0.4, 0.7)
SURFACES = {
    "plane": (frames(Geom_Plane), RANGE, "plane"),
    "cylinder": (frames(lambda f: Geom_CylindricalSurface(f, 12.0)), RANGE, "cylinder"),
    "cone": (frames(lambda f: Geom_ConicalSurface(f, 0.4, 12.0)), RANGE, "cone"),
    "sphere": (frames(lambda f: Geom_SphericalSurface(f, 9.0)), RANGE, "sphere"),
    "torus": (frames(lambda f: Geom_ToroidalSurface(f, 30.0, 7.0)), RANGE, "torus"),
    "spindle torus": (frames(lambda f: Geom_ToroidalSurface(f, 4.0, 7.0)), RANGE, "torus"),
    "spline": ([bspline_surface(False)], (0.1, 0.9, -1.5, 3.5), "spline"),
    "rational spline": ([bspline_surface(True)], (0.1, 0.9, -1.5, 3.5), "spline"),
    "periodic spline": ([periodic_surface()], (0.5, 7.5, 0.1, 0.9), "spline"),
    "periodic spline across its start": ([periodic_surface()], (6.5, 10.5, 0.1, 0.9), "spline"),
    "Bezier": ([Geom_BezierSurface(net(3, 4, 5), weights(4, 4, 5))], (0.1, 0.9, 0.2, 0.7), "spline"),
    "trimmed": (
        [Geom_RectangularTrimmedSurface(Geom_CylindricalSurface(RIGHT, 5.0), 0.1, 2.0, -3.0, 4.0)],
        RANGE,
        "cylinder",
    ),
    "extrusion of a line": (
        [Geom_SurfaceOfLinearExtrusion(Geom_Line(gp_Pnt(1, 2, 3), gp_Dir(1, 1, 0)), gp_Dir(0.2, 0.9, 0.4))],
        RANGE,
        "extrusion",
    ),
    "extrusion of a circle": (
        [
            Geom_SurfaceOfLinearExtrusion(Geom_Circle(E2, 8.0), gp_Dir(*(s * xyz(E2.Direction()))))
            for s in (1, -1)
        ],
        RANGE,
        "extrusion",
    ),
    "slanted extrusion of a circle": (
        [Geom_SurfaceOfLinearExtrusion(Geom_Circle(E2, 8.0), gp_Dir(0.3, 0.2, 0.9))],
        RANGE,
        "extrusion",
    ),
    "extrusion of an ellipse": (
        [Geom_SurfaceOfLinearExtrusion(Geom_Ellipse(E2, 8.0, 3.0), gp_Dir(0.1, 0.2, 1))],
        RANGE,
        "extrusion",
    ),
    "extrusion of a spline": (
        [Geom_SurfaceOfLinearExtrusion(periodic_curve(), gp_Dir(0.1, 0.2, 1))],
        (6.5, 10.5, -3, 5),
        "extrusion",
    ),
    "extrusion of a parabola": (
        [Geom_SurfaceOfLinearExtrusion(Geom_Parabola(E2, 3.0), gp_Dir(0.1, 0.2, 1))],
        RANGE,
        "extrusion",
    ),
    "extrusion of a hyperbola": (
        [Geom_SurfaceOfLinearExtrusion(Geom_Hyperbola(E2, 5.0, 3.0), gp_Dir(0.1, 0.2, 1))],
        RANGE,
        "extrusion",
    ),
    "revolved line": (
        [Geom_SurfaceOfRevolution(Geom_Line(at(20, 5), gp_Dir(*(xyz(at(3, 7)) - xyz(at(0, 0))))), AXIS)],
        RANGE,
        "revolution",
    ),
    "revolved line across": (
        [
            Geom_SurfaceOfRevolution(Geom_Line(at(20, 5), gp_Dir(*(s * xyz(RIGHT.XDirection())))), AXIS)
            for s in (1, -1)
        ],
        RANGE,
        "revolution",
    ),
    "skew revolved line": (
        [Geom_SurfaceOfRevolution(Geom_Line(at(20, 5), gp_Dir(0.1, 0.2, 1)), AXIS)],
        RANGE,
        "revolution",
    ),
    "revolved circle": (
        [Geom_SurfaceOfRevolution(circle_at(30, 4, 6, s), AXIS) for s in (1, -1)],
        RANGE,
        "revolution",
    ),
    "revolved circle on the axis": (
        [Geom_SurfaceOfRevolution(circle_at(0, 4, 6, s), AXIS) for s in (1, -1)],
        (0.2, 1.3, 0.3, 1.2),
        "revolution",
    ),
    "revolved circle on the axis, far side": (
        [Geom_SurfaceOfRevolution(circle_at(0, 4, 6, s), AXIS) for s in (1, -1)],
        (0.2, 1.3, 3.5, 4.4),
        "revolution",
    ),
    "revolved circle beside the plane": (
        [Geom_SurfaceOfRevolution(circle_at(30, 4, 6, 1, 1.5), AXIS)],
        RANGE,
        "revolution",
    ),
    "revolved ellipse": (
        [Geom_SurfaceOfRevolution(Geom_Ellipse(gp_Ax2(at(30, 4), RIGHT.YDirection()), 8.0, 3.0), AXIS)],
        RANGE,
        "revolution",
    ),
    "revolved spline": (
        [Geom_SurfaceOfRevolution(profile_spline(), AXIS)],
        (0.2, 1.3, 0.1, 0.9),
        "revolution",
    ),
    "revolved Bezier": (
        [Geom_SurfaceOfRevolution(Geom_BezierCurve(points([at(9, 0), at(14, 6), at(8, 13)])), AXIS)],
        (0.2, 1.3, 0.1, 0.9),
        "revolution",
    ),
}
OFFSETS = [
    k
    for k in SURFACES
    if k not in ("trimmed", "periodic spline", "revolved circle beside the plane", "skew revolved line")
]


def check(surface, box, kind: str, tolerance: float = 1e-9) -> None:
    sheet = convert_surface(surface, box)
    uv = np.random.default_rng(5).uniform((box[0], box[2]), (box[1], box[3]), size=(60, 2))
    theirs = np.array([xyz(surface.Value(*p)) for p in uv])
    ours = uv @ sheet.matrix.T + sheet.shift
    if not sheet.affine:
        ours, distance = brep.project(sheet.surface, theirs, ours)
        assert distance.max() < tolerance
    assert np.abs(brep.surface_points(sheet.surface, ours) - theirs).max() < tolerance
    assert sheet.kind == kind

    # The unit normals agree, with the sign that the map of the parameters gives.
    sign = 1.0 if np.linalg.det(sheet.matrix) > 0 else -1.0
    normals = sign * brep.surface_normals(sheet.surface, ours)
    for p, n in zip(uv, normals, strict=True):
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        surface.D1(float(p[0]), float(p[1]), point, du, dv)
        cross = np.cross(xyz(du), xyz(dv))
        assert np.abs(cross / np.linalg.norm(cross) - n).max() < 1e-7


@pytest.mark.parametrize("name", SURFACES)
def test_a_surface_is_the_kernels_own(name: str) -> None:
    surfaces, box, kind = SURFACES[name]
    for surface in surfaces:
        check(surface, box, kind)


@pytest.mark.parametrize("distance", [0.7, -0.7, -15.0])
@pytest.mark.parametrize("name", OFFSETS)
def test_an_offset_is_the_kernels_own(name: str, distance: float) -> None:
    surfaces, box, _ = SURFACES[name]
    if distance < -1.0 and name not in ("plane", "torus"):
        pytest.skip("the offset would fold over")
    for surface in surfaces:
        check(Geom_OffsetSurface(surface, distance, True), box, "offset")


@pytest.mark.parametrize(
    ("name", "form"),
    [
        ("extrusion of a line", brep.PlaneSurface),
        ("extrusion of a circle", brep.RevolutionSurface),
        ("revolved line across", brep.PlaneSurface),
        ("revolved circle", brep.RevolutionSurface),
        ("revolved circle on the axis", brep.SphereSurface),
        ("revolved circle on the axis, far side", brep.SphereSurface),
        ("revolved ellipse", brep.RevolutionSurface),
        ("skew revolved line", brep.SplineSurface),
        ("revolved circle beside the plane", brep.SplineSurface),
        ("slanted extrusion of a circle", brep.ExtrusionSurface),
    ],
)
def test_a_surface_takes_its_simplest_exact_form(name: str, form: type) -> None:
    surfaces, box, _ = SURFACES[name]

    assert all(type(convert_surface(s, box).surface) is form for s in surfaces)


@pytest.mark.parametrize("name", [k for k in SURFACES if k != "revolved line across"])
def test_second_derivatives_are_the_kernels(name: str) -> None:
    surfaces, box, _ = SURFACES[name]
    sheet = convert_surface(surfaces[0], box)
    if not sheet.affine or not np.allclose(sheet.matrix, np.eye(2)):
        pytest.skip("other parameters")
    uv = np.random.default_rng(6).uniform((box[0], box[2]), (box[1], box[3]), size=(20, 2))
    ours = brep.surface_derivatives(sheet.surface, uv + sheet.shift, 2)
    for k, p in enumerate(uv):
        point, vectors = gp_Pnt(), [gp_Vec() for _ in range(5)]
        surfaces[0].D2(float(p[0]), float(p[1]), point, *vectors)
        for key, vector in zip([(1, 0), (0, 1), (2, 0), (0, 2), (1, 1)], vectors, strict=True):
            assert np.abs(ours[key][k] - xyz(vector)).max() < 1e-9 * (1 + np.abs(xyz(vector)).max())


CURVES = {
    "line": (Geom_Line(gp_Pnt(1, 2, 3), gp_Dir(1, 1, 2)), (-3.0, 8.0), brep.Line3, True),
    "circle": (Geom_Circle(E2, 8.0), (0.3, 5.0), brep.Conic3, True),
    "ellipse": (Geom_Ellipse(E2, 8.0, 3.0), (0.3, 5.0), brep.Conic3, True),
    "trimmed": (Geom_TrimmedCurve(Geom_Circle(E2, 8.0), 0.1, 3.0), (0.3, 2.0), brep.Conic3, True),
    "parabola": (Geom_Parabola(E2, 3.0), (-5.0, 8.0), brep.Spline3, False),
    "hyperbola": (Geom_Hyperbola(E2, 5.0, 3.0), (-1.0, 1.4), brep.Spline3, False),
    "spline": (profile_spline(), (0.1, 0.9), brep.Spline3, True),
    "periodic spline": (periodic_curve(), (0.0, 8.0), brep.Spline3, True),
    "periodic spline across its start": (periodic_curve(), (6.0, 11.0), brep.Spline3, True),
    "Bezier": (Geom_BezierCurve(points([at(9, 0), at(14, 6), at(8, 13)])), (0.0, 1.0), brep.Spline3, True),
    "offset of a line": (
        Geom_OffsetCurve(Geom_Line(gp_Pnt(1, 2, 3), gp_Dir(1, 1, 2)), 2.0, gp_Dir(1, -1, 0)),
        (0.0, 9.0),
        brep.Line3,
        True,
    ),
    "offset of a circle": (
        Geom_OffsetCurve(Geom_Circle(E2, 8.0), 2.0, E2.Direction()),
        (0.3, 5.0),
        brep.Conic3,
        True,
    ),
}


@pytest.mark.parametrize("name", CURVES)
def test_a_curve_is_the_kernels_own(name: str) -> None:
    curve, (a, b), form, same = CURVES[name]
    piece = convert_curve(curve, a, b)
    t = np.linspace(a, b, 41)
    theirs = np.array([xyz(curve.Value(v)) for v in t])
    ends = brep.curve_points(piece.curve, np.array([piece.start, piece.end]))

    assert isinstance(piece.curve, form)
    assert piece.same is same
    assert np.abs(ends - theirs[[0, -1]]).max() < 1e-9
    if same:
        assert np.abs(brep.curve_points(piece.curve, t) - theirs).max() < 1e-9
    else:
        # Other parameters: each point lies on y^2 = 4 f x, and x^2/a^2 - y^2/b^2 = 1.
        ours = brep.curve_points(piece.curve, np.linspace(piece.start, piece.end, 41))
        axes = np.array([xyz(E2.XDirection()), xyz(E2.YDirection())])
        local = axes @ (ours - xyz(E2.Location())).T
        if name == "parabola":
            assert np.abs(local[1] ** 2 - 4 * 3.0 * local[0]).max() < 1e-9
        else:
            assert np.abs((local[0] / 5.0) ** 2 - (local[1] / 3.0) ** 2 - 1).max() < 1e-12


def test_an_offset_curve_without_exact_form_says_how_far_it_is() -> None:
    curve = Geom_OffsetCurve(Geom_Ellipse(E2, 8.0, 3.0), 1.0, E2.Direction())
    piece = convert_curve(curve, 0.3, 4.0)
    t = np.linspace(0.3, 4.0, 200)
    off = np.linalg.norm(brep.curve_points(piece.curve, t) - [xyz(curve.Value(v)) for v in t], axis=1)

    assert 0.0 < piece.bound < 1e-5
    assert off.max() <= piece.bound


def test_a_rational_spline_of_a_circle_is_round() -> None:
    spline = GeomConvert.CurveToBSplineCurve_s(Geom_TrimmedCurve(Geom_Circle(E2, 8.0), 0.0, 4.0))
    piece = convert_curve(spline, spline.FirstParameter(), spline.LastParameter())
    p = brep.curve_points(piece.curve, np.linspace(piece.start, piece.end, 50)) - xyz(E2.Location())

    assert np.abs(np.linalg.norm(p, axis=1) - 8.0).max() < 1e-13


def test_a_sphere_offset_past_its_centre_is_the_sphere_beyond() -> None:
    # p + d n with n = (p - c) / 9: c + (9 - 15) (p - c) / 9.
    base = convert_surface(Geom_SphericalSurface(RIGHT, 9.0), RANGE).surface
    moved = convert_surface(Geom_OffsetSurface(Geom_SphericalSurface(RIGHT, 9.0), -15.0, True), RANGE).surface
    uv = np.random.default_rng(8).uniform(-1, 1, size=(50, 2))
    centre = xyz(RIGHT.Location())
    expected = centre - 6.0 / 9.0 * (brep.surface_points(base, uv) - centre)

    assert moved.radius == 6.0
    assert np.abs(brep.surface_points(moved, uv) - expected).max() < 1e-13
