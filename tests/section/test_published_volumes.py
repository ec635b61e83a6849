"""Volumes, quadrics and polyhedra against closed forms; every expected value is a formula of the textbook.

Volumes are Gauss-Legendre sums of exact section areas between the heights at which the section changes kind:
exact where the area is a polynomial of the height, else as good as the rule.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from OCP.BRepBuilderAPI import BRepBuilderAPI_GTransform, BRepBuilderAPI_MakeEdge
from OCP.Geom import Geom_BezierCurve
from OCP.gp import gp_GTrsf, gp_Mat, gp_Pnt, gp_XYZ
from OCP.Interface import Interface_Static
from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer
from OCP.TColgp import TColgp_Array1OfPnt
from OCP.TColStd import TColStd_Array1OfReal

from beadwright import brep, kernel, section
from beadwright.curves import CurveKind, chain_measures

cq = pytest.importorskip("cadquery")


def onto_z(normal: Sequence[float]) -> np.ndarray:
    """A rotation that turns a direction to z."""
    n = np.array(normal) / np.linalg.norm(normal)
    a = np.cross(n, [1.0, 0.0, 0.0] if abs(n[0]) < 0.9 else [0.0, 1.0, 0.0])
    a /= np.linalg.norm(a)
    return np.array([a, np.cross(n, a), n])


def turned(model: brep.Model, normal: Sequence[float]) -> brep.Model:
    return brep.placed(model, np.column_stack((onto_z(normal), np.zeros(3))))


def areas(model: brep.Model, heights: Sequence[float]) -> np.ndarray:
    sections = section.cut(section.prepare(model), list(heights))
    assert all(found.loops.closed.all() and found.counters.unmatched == 0 for found in sections)
    return np.array([float(chain_measures(found.loops)[0].sum()) for found in sections])


def volume(model: brep.Model, events: Sequence[float], nodes: int = 24) -> float:
    """Sum over the intervals between events; z = middle - half cos(phi) tames square roots at both ends."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    phi, total = (x + 1) * math.pi / 2, 0.0
    for a, b in itertools.pairwise(events):
        z = (a + b) / 2 - (b - a) / 2 * np.cos(phi)
        total += float(areas(model, z.tolist()) * np.sin(phi) @ w) * (b - a) / 2 * math.pi / 2
    return total


def test_spherical_cap() -> None:
    """Archimedes: pi h^2 (3 R - h) / 3 with h 40, R 100."""
    model = kernel.from_shape(cq.Workplane().sphere(100))

    assert volume(model, [60.0, 100.0]) == pytest.approx(435634.1812978, rel=1e-9)


def test_frustum() -> None:
    """Frustum: pi H (R^2 + R r + r^2) / 3 with 150, 80 and 200."""
    model = kernel.from_shape(cq.Workplane(cq.Solid.makeCone(150, 80, 200)))

    assert volume(model, [0.0, 200.0]) == pytest.approx(8566075.968788, rel=1e-9)


def test_parabola_of_a_cone_is_one() -> None:
    """A plane parallel to a generator (tilt 70 = 90 - 20 degrees) cuts a parabola, capped by the base."""
    g = math.tan(math.radians(20))
    model = kernel.from_shape(cq.Workplane(cq.Solid.makeCone(0.0, 400 * g, 400.0)))
    tilt = math.radians(70)

    (found,) = section.cut(
        section.prepare(turned(model, (math.sin(tilt), 0.0, math.cos(tilt)))), [100 * math.cos(tilt)]
    )

    assert {int(k) for k in found.loops.kind} == {CurveKind.PARABOLA, CurveKind.LINE}
    assert found.loops.closed.all()


def test_torus() -> None:
    """Pappus: 2 pi^2 R r^2 with R 500, r 200; upright, and turned about a horizontal axis."""
    model = kernel.from_shape(cq.Workplane(cq.Solid.makeTorus(500, 200)))

    assert volume(model, [-200.0, 0.0, 200.0]) == pytest.approx(394784176.0436, rel=1e-9)
    # Lying, the section changes kind where the tube begins, where the hole does, and in the middle.
    lying = volume(turned(model, (1.0, 0.0, 0.0)), [-700.0, -300.0, 0.0, 300.0, 700.0], nodes=40)
    assert lying == pytest.approx(394784176.0436, rel=1e-9)


def test_surface_of_a_torus_from_its_circles() -> None:
    """Pappus: 4 pi^2 R r = 3947841.760436 with R 500, r 200.

    At z the surface leans by the tube's angle: dA = perimeter r / sqrt(r^2 - z^2) dz, and z = -r cos(phi) takes
    the root away.
    """
    model = kernel.from_shape(cq.Workplane(cq.Solid.makeTorus(500, 200)))
    x, w = np.polynomial.legendre.leggauss(8)
    phi = (x + 1) * math.pi / 2
    sections = section.cut(section.prepare(model), (-200 * np.cos(phi)).tolist())
    perimeters = np.array([float(chain_measures(found.loops)[1].sum()) for found in sections])

    assert float(w @ perimeters) * math.pi / 2 * 200 == pytest.approx(3947841.760436, rel=1e-9)


def test_two_crossing_cylinders() -> None:
    """Archimedes' bicylinder: 16 r^3 / 3 = 5333333.3333 with r 100."""
    a = cq.Workplane("XZ").circle(100).extrude(150, both=True)
    b = cq.Workplane("YZ").circle(100).extrude(150, both=True)

    found = volume(kernel.from_shape(a.intersect(b)), [-100.0, 0.0, 100.0])

    assert found == pytest.approx(16e6 / 3, rel=1e-9)


def test_catenoid() -> None:
    """Rho = a cosh(z / a), a 100, between -100 and 100: volume 8838651.660034, lateral area 176773.0332007.

    pi a^2 (h + a sinh(2 h / a) / 2) and pi a (2 h + a sinh(2 h / a)), h 100. A cubic spline through 81 of its
    points carries it to 1e-5.
    """
    z = np.linspace(-100, 100, 81)
    points = [cq.Vector(100 * math.cosh(h / 100), 0, h) for h in z]
    ends = [cq.Vector(math.sinh(s), 0, 1) for s in (-1, 1)]
    top, bottom = cq.Vector(0, 0, 100), cq.Vector(0, 0, -100)
    wire = cq.Wire.assembleEdges(
        [
            cq.Edge.makeSpline(points, tangents=ends),
            cq.Edge.makeLine(points[-1], top),
            cq.Edge.makeLine(top, bottom),
            cq.Edge.makeLine(bottom, points[0]),
        ]
    )
    model = kernel.from_shape(cq.Solid.revolve(wire, [], 360.0, cq.Vector(0, 0, 0), cq.Vector(0, 0, 1)))
    x, w = np.polynomial.legendre.leggauss(24)
    sections = section.cut(section.prepare(model), (100 * x).tolist())
    sums = np.array([[float(m.sum()) for m in chain_measures(found.loops)[:2]] for found in sections])

    assert 100 * float(w @ sums[:, 0]) == pytest.approx(8838651.660034, rel=1e-5)
    # r' = sinh(z / a), so that the lateral area is the integral of the circumference times cosh(z / a)
    assert 100 * float(w @ (sums[:, 1] * np.cosh(x))) == pytest.approx(176773.0332007, rel=1e-5)


def test_three_crossing_cylinders() -> None:
    """The tricylinder: 8 (2 - sqrt 2) r^3 with r 100 (tricylinder); its edges turn at z = r / sqrt 2."""
    solid = cq.Workplane().circle(100).extrude(200, both=True)
    for plane in ("XZ", "YZ"):
        solid = solid.intersect(cq.Workplane(plane).circle(100).extrude(200, both=True))
    edge = 100 / math.sqrt(2)

    found = volume(kernel.from_shape(solid), [-100.0, -edge, 0.0, edge, 100.0])

    assert found == pytest.approx(4686291.501015, rel=1e-9)


def test_paraboloid_has_an_area_linear_in_height() -> None:
    """The paraboloid z = rho^2 / 400, H 100: radius 200 at the top, area pi 400 z, volume 6283185.30718."""
    # A parabola is a quadratic Bezier curve: vertex, the meeting of its end tangents, end.
    edge = cq.Edge.makeBezier([cq.Vector(0, 0, 0), cq.Vector(100, 0, 0), cq.Vector(200, 0, 100)])
    top = cq.Edge.makeLine(cq.Vector(200, 0, 100), cq.Vector(0, 0, 100))
    axis = cq.Edge.makeLine(cq.Vector(0, 0, 100), cq.Vector(0, 0, 0))
    face = cq.Face.makeFromWires(cq.Wire.assembleEdges([edge, top, axis]))
    solid = cq.Solid.revolve(face, 360.0, cq.Vector(0, 0, 0), cq.Vector(0, 0, 1))
    model = kernel.from_shape(solid)
    heights = [1.0, 25.0, 50.0, 99.0]

    assert areas(model, heights) == pytest.approx([math.pi * 400 * z for z in heights], rel=1e-9)
    assert volume(model, [0.0, 100.0]) == pytest.approx(6283185.30718, rel=1e-9)


def test_ellipsoid_by_an_oblique_plane() -> None:
    """Ellipsoid of semi-axes 300, 200, 100, normal (1, 1, 1), distance 50: pi a b c (1 - p^2 / D^2) / D."""
    stretch = gp_GTrsf(gp_Mat(3, 0, 0, 0, 2, 0, 0, 0, 1), gp_XYZ(0, 0, 0))
    shape = BRepBuilderAPI_GTransform(cq.Workplane().sphere(100).val().wrapped, stretch, True).Shape()
    model = turned(kernel.from_shape(shape, name="ellipsoid"), (1.0, 1.0, 1.0))

    assert areas(model, [50.0])[0] == pytest.approx(82582.03396689, rel=1e-9)


def test_tetrahedron_half_way_between_opposite_edges() -> None:
    """A square of side L / 2."""
    corners = [cq.Vector(*p) for p in ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))]
    faces = [
        cq.Face.makeFromWires(cq.Wire.makePolygon([corners[i] for i in three], close=True))
        for three in ((0, 1, 2), (0, 3, 1), (0, 2, 3), (1, 3, 2))
    ]
    solid = cq.Solid.makeSolid(cq.Shell.makeShell(faces)).scale(100.0)
    edge = 100 * 2 * math.sqrt(2)

    # The edges through (1, 1, 1) and (-1, -1, 1), and through the other two, lie across z.
    assert areas(kernel.from_shape(solid), [0.0])[0] == pytest.approx((edge / 2) ** 2, rel=1e-9)


def test_prismoidal_formula() -> None:
    """The prismoidal formula h / 6 (A0 + 4 Am + A1) is exact for a quadratic area: the middle of the frustum."""
    model = kernel.from_shape(cq.Workplane(cq.Solid.makeCone(150, 80, 200)))
    # Between the planes z = 20 and 180, of radii 143 and 87: pi h (R^2 + R r + r^2) / 3.
    low, middle, high = areas(model, [20.0, 100.0, 180.0])

    expected = math.pi * 160 * (143**2 + 143 * 87 + 87**2) / 3
    assert 160 / 6 * (low + 4 * middle + high) == pytest.approx(expected, rel=1e-9)


def hyperboloid() -> brep.Model:
    """rho^2 = a^2 (1 + z^2 / c^2) with a 100, c 150 between z = -200 and 200."""
    # The meridian as one rational quadratic: end tangents meet in rho = a^2 / r (pole of the chord rho = r), and
    # the conic passes (a, 0) = (r + w corner) / (1 + w).
    r = 100 * math.sqrt(1 + (200 / 150) ** 2)
    corner = 100.0**2 / r
    poles, weights = TColgp_Array1OfPnt(1, 3), TColStd_Array1OfReal(1, 3)
    for i, (x, z, w) in enumerate(
        ((r, -200.0, 1.0), (corner, 0.0, (r - 100) / (100 - corner)), (r, 200.0, 1.0)), 1
    ):
        poles.SetValue(i, gp_Pnt(x, 0.0, z))
        weights.SetValue(i, w)
    side = cq.Edge(BRepBuilderAPI_MakeEdge(Geom_BezierCurve(poles, weights)).Edge())
    points = [cq.Vector(r, 0, 200), cq.Vector(0, 0, 200), cq.Vector(0, 0, -200), cq.Vector(r, 0, -200)]
    rest = [cq.Edge.makeLine(a, b) for a, b in itertools.pairwise(points)]
    face = cq.Face.makeFromWires(cq.Wire.assembleEdges([side, *rest]))
    return kernel.from_shape(cq.Solid.revolve(face, 360.0, cq.Vector(0, 0, 0), cq.Vector(0, 0, 1)))


def test_hyperboloid() -> None:
    """At z = 200 the radius is 166.6666666667; volume pi a^2 (H + H^3 / (12 c^2)) with H 400."""
    model = hyperboloid()

    # A hair below the top, where the formula gives rho^2 as well; at 200 it is 166.6666666667^2.
    z = 200.0 - 1e-4
    assert pytest.approx(166.6666666667**2, rel=1e-9) == 100**2 * (1 + 200**2 / 150**2)
    assert areas(model, [z])[0] == pytest.approx(math.pi * 100**2 * (1 + z * z / 150**2), rel=1e-9)
    assert areas(model, [75.0])[0] == pytest.approx(math.pi * 100**2 * (1 + 0.25), rel=1e-9)
    assert volume(model, [-200.0, 200.0]) == pytest.approx(20013108.7562, rel=1e-9)


def test_waist_of_a_hyperboloid_is_two_crossing_lines() -> None:
    """The plane x = a touches the waist; |y| = a |z| / c are two lines, which cross at the waist."""
    model = turned(hyperboloid(), (1.0, 0.0, 0.0))

    (found,) = section.cut(section.prepare(model), [100.0])

    # Two triangles, 200 high and 2 x 100 x 200 / 150 wide; through the crossing they stay lines.
    assert found.loops.closed.all()
    assert {int(k) for k in found.loops.kind} == {CurveKind.LINE}
    assert float(chain_measures(found.loops)[0].sum()) == pytest.approx(200 * 2 * 100 * 200 / 150, rel=1e-12)


def test_inch_file_is_in_mm(tmp_path: Path) -> None:
    """A cube of 1 inch, by the STEP unit (ISO 10303-41), is 25.4 mm wide."""
    writer = STEPControl_Writer()
    before = Interface_Static.CVal_s("write.step.unit")
    Interface_Static.SetCVal_s("write.step.unit", "INCH")
    try:
        writer.Transfer(cq.Workplane().box(25.4, 25.4, 25.4).val().wrapped, STEPControl_AsIs)
        writer.Write(str(tmp_path / "cube.step"))
    finally:
        Interface_Static.SetCVal_s("write.step.unit", before)

    model = kernel.read_step(tmp_path / "cube.step")

    assert model.unit == "inch"
    assert areas(model, [1.0])[0] == pytest.approx(25.4**2, rel=1e-12)
