"""Sections against closed forms: every expected value is a formula of the textbook, written beside it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright import brep, kernel, section
from beadwright.curves import CurveKind, chain_measures

cq = pytest.importorskip("cadquery")


def turned(model: brep.Model, matrix: np.ndarray) -> brep.Model:
    return brep.placed(model, np.column_stack((matrix, np.zeros(3))))


def onto_z(normal: tuple[float, float, float]) -> np.ndarray:
    """A rotation that turns a direction to z."""
    n = np.array(normal) / np.linalg.norm(normal)
    a = np.cross(n, [1.0, 0.0, 0.0] if abs(n[0]) < 0.9 else [0.0, 1.0, 0.0])
    a /= np.linalg.norm(a)
    return np.array([a, np.cross(n, a), n])


def cut_one(model: brep.Model, z: float, side: section.Side = "below") -> section.Section:
    cutter = section.prepare(model)
    plane = section.take_plane(cutter, z, side)
    return section.cut(cutter, [plane.taken], asked=[z])[0]


def area(found: section.Section) -> float:
    return float(chain_measures(found.loops)[0].sum())


def outline(found: section.Section) -> float:
    return float(chain_measures(found.loops)[1].sum())


def kinds(found: section.Section) -> set[int]:
    return {int(k) for k in found.loops.kind}


def closes(found: section.Section) -> None:
    loops = found.loops
    assert loops.closed.all()
    for a, b in zip(loops.first_curve[:-1], loops.first_curve[1:], strict=True):
        ends = loops.ends[a:b]
        assert np.array_equal(ends[:, 2:], np.roll(ends[:, :2], -1, axis=0))


@pytest.mark.parametrize("z", [0.0, 60.0, 95.0], ids="ball R 100 at z {} has radius sqrt(R^2 - z^2)".format)
def test_sphere_is_a_circle(z: float) -> None:
    found = cut_one(kernel.from_shape(cq.Workplane().sphere(100)), z)

    assert kinds(found) == {CurveKind.CIRCLE}
    # radius sqrt(R^2 - z^2)
    assert area(found) == pytest.approx(math.pi * (100.0**2 - z * z), rel=1e-9)
    closes(found)


def test_plane_that_touches_a_sphere_cuts_nothing() -> None:
    found = cut_one(kernel.from_shape(cq.Workplane().sphere(100)), 100.0, "above")

    assert found.loops.n_chains == 0


def test_tilted_cylinder_is_an_ellipse() -> None:
    model = kernel.from_shape(cq.Workplane().circle(50).extrude(400, both=True))
    tilt = math.radians(30)

    found = cut_one(turned(model, onto_z((math.sin(tilt), 0.0, math.cos(tilt)))), 0.0)

    assert kinds(found) == {CurveKind.ELLIPSE}
    # semi-axes r and r / cos 30 degrees; perimeter 4 a E(e)
    assert area(found) == pytest.approx(9068.996821171, rel=1e-9)
    assert outline(found) == pytest.approx(338.8958806351, rel=1e-9)


@pytest.mark.parametrize(
    ("tilt_deg", "kind"),
    [(30.0, CurveKind.ELLIPSE), (70.0, CurveKind.PARABOLA), (80.0, CurveKind.HYPERBOLA)],
    ids=[
        "cone of half angle 20 tilted 30 is an ellipse",
        "cone of half angle 20 tilted 70 along a generator is a parabola",
        "cone of half angle 20 tilted 80 is a hyperbola",
    ],
)
def test_tilted_cone(tilt_deg: float, kind: CurveKind) -> None:
    g, tilt = math.tan(math.radians(20)), math.radians(tilt_deg)
    cone = cq.Solid.makeCone(0.0, 400.0 * g, 400.0)  # apex at the origin, opening upwards
    matrix = onto_z((math.sin(tilt), 0.0, math.cos(tilt)))
    # the plane meets the axis 100 from the apex
    found = cut_one(turned(kernel.from_shape(cq.Workplane(cone)), matrix), 100.0 * math.cos(tilt))

    assert kind in kinds(found)
    closes(found)
    if kind == CurveKind.ELLIPSE:
        # a = d g / ((1 - g^2 t^2) cos phi), b = d g / sqrt(1 - g^2 t^2)
        t = math.tan(tilt)
        a, b = 100 * g / ((1 - (g * t) ** 2) * math.cos(tilt)), 100 * g / math.sqrt(1 - (g * t) ** 2)
        assert area(found) == pytest.approx(math.pi * a * b, rel=1e-9)
        assert area(found) == pytest.approx(5142.471437936, rel=1e-9)
    else:
        # width across the tilt where the plane leaves through the cone's base, by y^2 = g^2 z^2 - x^2
        line = next(i for i in range(len(found.loops.kind)) if found.loops.kind[i] == CurveKind.LINE)
        x = (100.0 - 400.0) / math.tan(tilt)
        assert np.hypot(*(found.loops.ends[line, 2:] - found.loops.ends[line, :2])) == pytest.approx(
            2 * math.sqrt((400 * g) ** 2 - x * x), rel=1e-9
        )


@pytest.mark.parametrize(
    ("z", "expected"),
    [(0.0, 1256637.061436), (120.0, 1005309.649149)],
    ids=["torus 500, 200 at z 0: radii 700 and 300", "torus 500, 200 at z 120: radii 660 and 340"],
)
def test_torus_across_its_axis(z: float, expected: float) -> None:
    found = cut_one(kernel.from_shape(cq.Workplane(cq.Solid.makeTorus(500, 200))), z)

    assert kinds(found) == {CurveKind.CIRCLE}
    # 4 pi R sqrt(r^2 - z^2)
    assert area(found) == pytest.approx(expected, rel=1e-9)


def test_plane_that_touches_a_torus_along_a_circle_cuts_nothing() -> None:
    found = cut_one(kernel.from_shape(cq.Workplane(cq.Solid.makeTorus(500, 200))), 200.0, "above")

    assert found.loops.n_chains == 0


@pytest.mark.parametrize(
    ("p", "expected", "loops"),
    # spiric sections by quadrature of 2 sqrt((R +- sqrt(r^2 - x^2))^2 - p^2); the axial one 2 pi r^2
    [
        (0.0, 251327.4122872, 2),
        (200.0, 279020.4716053, 2),
        (300.0, 352954.1079562, 0),
        (400.0, 399668.1626113, 1),
        (600.0, 202302.1094869, 1),
    ],
    ids=[
        "torus 500, 200 cut along its axis: two circles of the tube",
        "torus 500, 200, spiric at p 200 inside the hole: two ovals",
        "torus 500, 200, spiric at p 300 touching the hole: a figure of eight",
        "torus 500, 200, spiric at p 400: one waisted oval",
        "torus 500, 200, spiric at p 600: one oval",
    ],
)
def test_torus_along_its_axis(p: float, expected: float, loops: int) -> None:
    torus = cq.Solid.makeTorus(500, 200, dir=cq.Vector(1, 0, 0))
    found = cut_one(kernel.from_shape(cq.Workplane(torus)), p)

    assert area(found) == pytest.approx(expected, rel=1e-7)
    assert found.bound < 1e-6
    closes(found)
    if loops:
        assert found.loops.n_chains == loops
    if p == 0.0:
        assert kinds(found) == {CurveKind.CIRCLE}


def spindle(side: int) -> brep.Model:
    """A torus whose tube, r 100, reaches over its axis at R 50: its outer part (side 1), or its inner one (-1)."""
    tip = math.sqrt(100.0**2 - 50.0**2)
    low, high = cq.Vector(0, 0, -tip), cq.Vector(0, 0, tip)
    arc = cq.Edge.makeThreePointArc(low, cq.Vector(100 + side * 50, 0, 0), high)
    wire = cq.Wire.assembleEdges([arc, cq.Edge.makeLine(high, low)])
    solid = cq.Solid.revolve(wire, [], 360.0, cq.Vector(0, 0, 0), cq.Vector(0, 0, 1))
    return kernel.from_shape(cq.Workplane(solid))


@pytest.mark.parametrize("side", [1, -1], ids=["apple", "lemon"])
@pytest.mark.parametrize("z", [0.0, 30.0, -80.0, 95.0])
def test_spindle_torus_across_its_axis(side: int, z: float) -> None:
    found = cut_one(spindle(side), z)

    # radii sqrt(r^2 - z^2) +- R; over the tip of the lemon only the apple goes on, as a ring
    half = math.sqrt(100.0**2 - z * z)
    radii = [half + side * 50.0] if half > 50.0 else [half + 50.0, 50.0 - half]
    if side < 0 and half < 50.0:
        assert found.loops.n_chains == 0
        return
    squares = [r * r for r in radii]
    assert area(found) == pytest.approx(math.pi * (squares[0] - sum(squares[1:])), rel=1e-9)
    assert sorted(found.loops.circle[found.loops.kind == CurveKind.CIRCLE, 2]) == pytest.approx(sorted(radii))
    closes(found)


@pytest.mark.parametrize("side", [1, -1], ids=["apple", "lemon"])
@pytest.mark.parametrize("p", [10.0, 45.0])
def test_spindle_torus_along_its_axis(side: int, p: float) -> None:
    found = cut_one(turned(spindle(side), onto_z((1.0, 0.0, 0.0))), p)

    # y goes to sqrt(rho^2 - p^2) on both sides, with rho = sqrt(r^2 - z^2) +- R; z = top sin(phi) takes the
    # root at the ends away
    if side < 0:
        top = math.sqrt(100.0**2 - (50.0 + p) ** 2)
        x, w = np.polynomial.legendre.leggauss(60)
        z = top * np.sin(0.5 * math.pi * x)
        rho = np.sqrt(100.0**2 - z * z) - 50.0
        whole = w @ (2 * np.sqrt(rho * rho - p * p) * top * 0.5 * math.pi * np.cos(0.5 * math.pi * x))
    else:
        # the tube's angle t from its outermost point, z = r sin t, up to where rho = p again
        last = math.acos((p - 50.0) / 100.0)
        x, w = np.polynomial.legendre.leggauss(80)
        t = last * np.sin(0.5 * math.pi * x)
        rho = 100.0 * np.cos(t) + 50.0
        step = last * 0.5 * math.pi * np.cos(0.5 * math.pi * x)
        whole = w @ (2 * np.sqrt(np.maximum(rho * rho - p * p, 0.0)) * 100.0 * np.cos(t) * step)
    assert area(found) == pytest.approx(float(whole), rel=1e-7)
    closes(found)


def test_lemniscate() -> None:
    torus = cq.Solid.makeTorus(200, 100, dir=cq.Vector(1, 0, 0))
    found = cut_one(kernel.from_shape(cq.Workplane(torus)), 100.0)

    # Cassini oval with product R^2: Bernoulli's lemniscate, area 2 R^2
    assert area(found) == pytest.approx(80000.0, rel=1e-7)
    closes(found)
    # at its node the plane is tangent: listed, with sqrt(2 d R) for d some roundings and R 100
    assert found.near_tangent
    assert all(entry.uncertainty < math.sqrt(2 * 1e-11 * 100) for entry in found.near_tangent)
    x, y, _ = np.mean([entry.at for entry in found.near_tangent], axis=0)
    assert math.hypot(x, y) < 1e-3


def test_villarceau() -> None:
    tilt = math.asin(300 / 500)
    # turned about its axis, so that its seam is not where the plane touches
    model = kernel.from_shape(cq.Workplane(cq.Solid.makeTorus(500, 300)).rotate((0, 0, 0), (0, 0, 1), 37))
    found = cut_one(turned(model, onto_z((math.sin(tilt), 0.0, math.cos(tilt)))), 0.0)

    # symmetric difference of two circles of radius 500, centres 600 apart
    assert area(found) == pytest.approx(1123501.108793, rel=1e-7)
    assert outline(found) == pytest.approx(6283.18530718, rel=1e-9)
    assert kinds(found) == {CurveKind.CIRCLE}
    assert found.loops.circle[:, 2] == pytest.approx(500.0, abs=1e-9)
    closes(found)
    # the plane touches the torus twice; tangent planes there lie along the circles (L. Moroni, The toric
    # sections, arXiv 1708.00803)
    assert found.near_tangent
    assert all(entry.uncertainty < 1e-4 for entry in found.near_tangent)


@pytest.mark.parametrize(
    ("z", "side"),
    [(0.0, 200.0), (60.0, 160.0)],
    ids=["crossing rods r 100 at z 0: square of 200", "crossing rods r 100 at z 60: square of 160"],
)
def test_two_crossing_cylinders(z: float, side: float) -> None:
    a = cq.Workplane("XZ").circle(100).extrude(150, both=True)
    b = cq.Workplane("YZ").circle(100).extrude(150, both=True)
    found = cut_one(kernel.from_shape(a.intersect(b)), z)

    # a square of side 2 sqrt(r^2 - z^2)
    assert area(found) == pytest.approx(side * side, rel=1e-9)
    assert kinds(found) <= {CurveKind.LINE, CurveKind.CONNECTOR}


def test_hexagon_of_a_cube() -> None:
    model = kernel.from_shape(cq.Workplane().box(200, 200, 200, centered=False))
    found = cut_one(turned(model, onto_z((1.0, 1.0, 1.0))), 300.0 / math.sqrt(3))

    # side 100 sqrt 2; area 3 sqrt(3) / 2 side^2
    assert area(found) == pytest.approx(51961.52422707, rel=1e-9)
    assert outline(found) == pytest.approx(848.5281374239, rel=1e-9)


def test_catenoid_by_a_spline() -> None:
    z = np.linspace(-100, 100, 81)
    points = [cq.Vector(100 * math.cosh(h / 100), 0, h) for h in z]
    edge = cq.Edge.makeSpline(
        points, tangents=[cq.Vector(math.sinh(-1), 0, 1), cq.Vector(math.sinh(1), 0, 1)]
    )
    top, bottom = points[-1], points[0]
    wire = cq.Wire.assembleEdges(
        [
            edge,
            cq.Edge.makeLine(top, cq.Vector(0, 0, 100)),
            cq.Edge.makeLine(cq.Vector(0, 0, 100), cq.Vector(0, 0, -100)),
            cq.Edge.makeLine(cq.Vector(0, 0, -100), bottom),
        ]
    )
    solid = cq.Solid.revolve(wire, [], 360.0, cq.Vector(0, 0, 0), cq.Vector(0, 0, 1))
    found = cut_one(kernel.from_shape(cq.Workplane(solid)), 60.0)

    assert kinds(found) == {CurveKind.CIRCLE}
    # r = a cosh(z / a); the spline through the points carries it to 1e-5
    assert found.loops.circle[0, 2] == pytest.approx(100 * math.cosh(0.6), rel=1e-5)


def test_planes_keep_clear_of_flats() -> None:
    model = kernel.from_shape(cq.Workplane().box(100, 100, 40, centered=(True, True, False)))
    cutter = section.prepare(model)

    below, above = (section.take_plane(cutter, 40.0, side) for side in ("below", "above"))

    assert below.taken < 40.0 - 1e-6
    assert above.taken > 40.0 + 1e-6
    assert below.why
    assert above.why
    first, second = section.cut(cutter, [below.taken, above.taken])
    assert area(first) == pytest.approx(10000.0, rel=1e-9)
    assert second.loops.n_chains == 0


def test_turn_at_the_very_middle_of_a_piece_is_found() -> None:
    # z = 4 t (1 - t) as a cubic: its slope is zero exactly where halving cuts
    from beadwright.section._pieces import critical

    assert critical(np.array([0.0, 4 / 3, 4 / 3, 0.0]), np.ones(4)) == pytest.approx([0.5], abs=1e-15)


def barrel() -> brep.Model:
    """Turned about z: r = 100 - 36 (v - 1 / 60)^2, z = 200 v: greatest close to its lower end."""
    # a parabola as a quadratic Bezier curve: the middle pole is where the end tangents meet
    first, slope = 100.0 - 36.0 / 3600.0, 2.0 * 36.0 / 60.0
    last = 100.0 - 36.0 * (59.0 / 60.0) ** 2
    poles = [cq.Vector(first, 0, 0), cq.Vector(first + 0.5 * slope, 0, 100), cq.Vector(last, 0, 200)]
    low, high = cq.Vector(0, 0, 0), cq.Vector(0, 0, 200)
    wire = cq.Wire.assembleEdges(
        [
            cq.Edge.makeBezier(poles),
            cq.Edge.makeLine(poles[2], high),
            cq.Edge.makeLine(high, low),
            cq.Edge.makeLine(low, poles[0]),
        ]
    )
    solid = cq.Solid.revolve(wire, [], 360.0, cq.Vector(0, 0, 0), cq.Vector(0, 0, 1))
    return kernel.from_shape(cq.Workplane(solid))


@pytest.mark.parametrize("p", [99.9905, 99.995, 99.9999, 100.0 - 1e-9])
def test_a_small_loop_near_the_end_of_a_meridian_is_not_lost(p: float) -> None:
    # The plane at distance p from the axis meets the barrel only where |v - 1 / 60| < sqrt((100 - p) / 36).
    model = barrel()
    (surface,) = {type(f.surface) for f in model.faces} - {brep.PlaneSurface}
    assert surface is brep.RevolutionSurface

    (found,) = section.cut(section.prepare(turned(model, onto_z((1.0, 0.0, 0.0)))), [p])

    # integral of 2 sqrt(r^2 - p^2) 200 dv with v = 1 / 60 + half sin(phi), Gauss-Legendre
    half = math.sqrt((100.0 - p) / 36.0)
    x, w = np.polynomial.legendre.leggauss(40)
    phi = 0.5 * math.pi * x
    r = 100.0 - 36.0 * (half * np.sin(phi)) ** 2
    expected = float(w @ (400.0 * half * np.cos(phi) * np.sqrt((r - p) * (r + p)))) * 0.5 * math.pi
    assert found.loops.n_chains == 1
    # 1e-9 under the crest heights have seven digits left, and so has the loop; it costs no more pieces for that
    assert area(found) == pytest.approx(expected, rel=1e-6 if p < 99.99999 else 1e-3)
    assert len(found.loops.degree) < 1000
    closes(found)


def test_an_ellipse_from_an_extruded_one() -> None:
    model = kernel.from_shape(cq.Workplane().ellipse(300, 200).extrude(50))
    found = cut_one(model, 20.0)

    assert kinds(found) == {CurveKind.ELLIPSE}
    # pi a b; 4 a E(e)
    assert area(found) == pytest.approx(188495.5592154, rel=1e-9)
    assert outline(found) == pytest.approx(1586.543958929, rel=1e-9)
