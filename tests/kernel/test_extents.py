"""True extents and placement, against support functions in closed form."""

from __future__ import annotations

import math
import pickle

import cadquery as cq
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_NurbsConvert
from OCP.GeomAPI import GeomAPI_PointsToBSplineSurface
from OCP.gp import gp_Pnt
from OCP.TColgp import TColgp_Array2OfPnt
from scipy.spatial.transform import Rotation

from beadwright import brep, kernel
from beadwright.errors import GeometryError


def as_splines(shape: cq.Shape) -> cq.Shape:
    return cq.Shape.cast(BRepBuilderAPI_NurbsConvert(shape.wrapped, True).Shape())


def support_torus(d: np.ndarray, major: float, minor: float) -> float:
    return major * math.hypot(d[0], d[1]) + minor


def support_cylinder(d: np.ndarray, radius: float, height: float) -> float:
    return radius * math.hypot(d[0], d[1]) + max(0.0, height * d[2])


def support_cone(d: np.ndarray, radius: float, height: float) -> float:
    return max(radius * math.hypot(d[0], d[1]), height * d[2])


SHAPES = {
    "torus": (cq.Solid.makeTorus(30, 8), lambda d: support_torus(d, 30, 8)),
    "cylinder": (cq.Solid.makeCylinder(7, 20), lambda d: support_cylinder(d, 7, 20)),
    "cone": (cq.Solid.makeCone(9, 0, 15), lambda d: support_cone(d, 9, 15)),
    "sphere": (cq.Solid.makeSphere(11, angleDegrees1=-90), lambda d: 11.0),
}
DIRECTIONS = np.random.default_rng(4).normal(size=(12, 3))
DIRECTIONS = np.concatenate((DIRECTIONS / np.linalg.norm(DIRECTIONS, axis=1, keepdims=True), np.eye(3)))


@pytest.mark.parametrize("spline", [False, True])
@pytest.mark.parametrize("name", SHAPES)
def test_extents_are_the_support_function(name: str, spline: bool) -> None:
    shape, support = SHAPES[name]
    m = kernel.from_shape(as_splines(shape) if spline else shape)
    if spline:
        assert any(isinstance(f.surface, brep.SplineSurface) for f in m.faces)
    box = brep.extents(m, DIRECTIONS)

    assert box[1] == pytest.approx([support(d) for d in DIRECTIONS], abs=1e-6 if spline else 1e-9)
    assert box[0] == pytest.approx([-support(-d) for d in DIRECTIONS], abs=1e-6 if spline else 1e-9)


def test_a_dome_that_is_cut_off_reaches_only_to_its_outline() -> None:
    # A bicubic through z = 40 - (x^2 + y^2)/100, cut to x > 20 by a box: highest at (20, 0), 40 - 4.
    grid = TColgp_Array2OfPnt(1, 9, 1, 9)
    side = np.linspace(-40, 40, 9)
    for i, x in enumerate(side):
        for j, y in enumerate(side):
            grid.SetValue(i + 1, j + 1, gp_Pnt(x, y, 40 - (x * x + y * y) / 100))
    surface = GeomAPI_PointsToBSplineSurface(grid, 3, 8).Surface()
    top = cq.Workplane(
        obj=cq.Face.makeFromWires(
            cq.Wire.makePolygon([(20, -30, 0), (38, -30, 0), (38, 30, 0), (20, 30, 0)], close=True)
        )
    )
    block = cq.Solid.extrudeLinear(top.val(), cq.Vector(0, 0, 100))
    sheet = cq.Face(BRepBuilderAPI_MakeFace(surface, 1e-7).Face())
    cut = sheet.intersect(block)
    m = kernel.from_shape(cut, walls=True)

    assert m.box[1, 2] == pytest.approx(36.0, abs=1e-5)
    assert m.box[0, 0] == pytest.approx(20.0, abs=1e-6)


@settings(max_examples=12, deadline=None)
@given(st.tuples(*[st.floats(-360, 360)] * 3), st.floats(0.01, 50), st.tuples(*[st.floats(-1e3, 1e3)] * 2))
def test_placement_stands_on_the_platform(
    rotate: tuple[float, float, float], scale: float, at: tuple[float, float]
) -> None:
    m = TORUS
    matrix = brep.placement(m, scale, rotate, at)
    there = brep.placed(m, matrix)

    assert there.box[0, 2] == pytest.approx(0.0, abs=1e-9 * scale)
    assert there.box[:, :2].mean(axis=0) == pytest.approx(at, abs=1e-9 * (scale + 1000))
    # R about X, then Y, then Z (fixed axes): Rz Ry Rx, by scipy's own rotations.
    assert matrix[:, :3] == pytest.approx(
        scale * Rotation.from_euler("xyz", rotate, degrees=True).as_matrix(), abs=1e-12 * scale
    )
    for face in there.faces:
        frame = face.surface.frame
        assert np.abs(frame.axes @ frame.axes.T - np.eye(3)).max() < 1e-15 * 4


TORUS = kernel.from_shape(cq.Solid.makeTorus(30, 8))


def test_quarter_turns_are_exact() -> None:
    m = brep.placement(TORUS, 1.0, (90.0, -90.0, 180.0))

    assert set(np.abs(m[:, :3]).ravel()) == {0.0, 1.0}


def test_surfaces_edges_and_traces_move_together() -> None:
    shape = (
        cq.Workplane()
        .box(30, 20, 10)
        .edges("|Z")
        .fillet(3)
        .faces(">Z")
        .workplane()
        .hole(6)
        .faces(">Z")
        .edges()
        .chamfer(0.5)
    )
    m = kernel.from_shape(shape)
    matrix = brep.placement(m, 3.7, (11, 22, 33), (4, 5))
    there = brep.placed(m, matrix)
    for before, after in zip(m.faces, there.faces, strict=True):
        for wire, moved in zip(before.wires, after.wires, strict=True):
            for a, b in zip(wire, moved, strict=True):
                p = brep.surface_points(before.surface, a.uv) @ matrix[:, :3].T + matrix[:, 3]
                assert np.abs(p - brep.surface_points(after.surface, b.uv)).max() < 1e-12 * 200
    for before, after in zip(m.edges, there.edges, strict=True):
        for share in (0.0, 0.3, 1.0):
            p = brep.curve_points(before.curve, before.start + share * (before.end - before.start))
            q = brep.curve_points(after.curve, after.start + share * (after.end - after.start))
            assert np.abs(p @ matrix[:, :3].T + matrix[:, 3] - q).max() < 1e-12 * 200


@pytest.mark.parametrize(
    ("matrix", "words"),
    [
        (np.diag([1.0, 1.0, 1.0 + 1e-10])[:, [0, 1, 2, 2]] * [1, 1, 1, 0], "no similarity"),
        (np.diag([1.0, 1.0, -1.0])[:, [0, 1, 2, 2]] * [1, 1, 1, 0], "mirrors"),
        (np.eye(4), r"\(3, 4\)"),
        (np.full((3, 4), np.nan), "finite"),
    ],
)
def test_what_is_no_placement_is_refused(matrix: np.ndarray, words: str) -> None:
    with pytest.raises(GeometryError, match=words):
        brep.placed(TORUS, matrix)


def test_a_scale_must_be_positive() -> None:
    with pytest.raises(GeometryError, match="positive scale"):
        brep.placement(TORUS, 0.0)


def test_a_model_travels_to_a_worker() -> None:
    there = pickle.loads(pickle.dumps(TORUS))

    assert there.volume == TORUS.volume
    assert np.array_equal(there.box, TORUS.box)
    assert kernel.volume(there) == pytest.approx(TORUS.volume, rel=1e-12)
