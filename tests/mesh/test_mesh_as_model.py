"""Meshes as solids of plane faces: sections against the mesh's own plane cuts and closed forms."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from beadwright.curves import chain_measures
from beadwright.errors import BeadwrightError, StepError
from beadwright.mesh import TriangleMesh, as_model, as_model_with_picture, cut, joints
from beadwright.pipeline import plan, verify_program
from beadwright.pipeline._warm import SAMPLE
from beadwright.report import read_sheet
from beadwright.section import cut as cut_solid
from beadwright.section import prepare
from tests.mesh.test_mesh import prism, regular, together

trimesh = pytest.importorskip("trimesh")


def solid(mesh: TriangleMesh):
    return as_model(mesh, sha256="0" * 64)


def test_the_triangles_of_one_plane_are_one_face() -> None:
    model = solid(prism([(0, 0), (60, 0), (60, 40), (0, 40)], 12.0))

    assert sorted(face.area for face in model.faces) == pytest.approx(
        [480, 480, 720, 720, 2400, 2400], rel=1e-12
    )
    assert model.volume == pytest.approx(60 * 40 * 12, rel=1e-12)
    assert all(len(face.wires) == 1 and len(face.wires[0]) == 4 for face in model.faces)


def test_a_meshs_picture_is_its_own_triangles_each_with_its_face() -> None:
    mesh = prism(regular(12, 40.0), 9.0)
    model, shown = as_model_with_picture(mesh, sha256="0" * 64)

    np.testing.assert_array_equal(shown.corners, mesh.triangles)
    corner = shown.points[shown.corners]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.linalg.norm(normal, axis=1) / 2
    # bottom, top and twelve sides; the triangles of each make up its face, and look its way
    assert len(model.faces) == 14
    for face in model.faces:
        own = shown.face == face.id
        assert area[own].sum() == pytest.approx(face.area, rel=1e-12)
        assert (normal[own] @ face.surface.frame.axes[2] > 0).all()


def test_a_meshs_sheet_shows_it_and_the_edges_where_it_bends(tmp_path: Path) -> None:
    part = tmp_path / "post.stl"
    trimesh.creation.cylinder(radius=60.0, height=8.0, sections=48).export(part)
    plan(part, tmp_path / "out", workers=1)
    sheet = read_sheet(tmp_path / "out" / "report.html")

    assert sheet.triangles is not None
    # 48 triangles of each end and two of each side; STL holds single precision
    assert len(sheet.triangles.corners) == 4 * 48
    assert np.ptp(sheet.triangles.points, axis=0) == pytest.approx([120, 120, 8], abs=1e-4)
    # the sides turn by 7.5 degrees only, so just the two circles are drawn: 48 edges each
    assert len(sheet.edges) == 2 * 48
    assert all(np.ptp(chain[:, 2]) == 0 for chain in sheet.edges)


@pytest.mark.parametrize("turned", [0.0, 0.7])
def test_sections_are_those_of_the_mesh_by_another_library(turned: float) -> None:
    ball = trimesh.creation.icosphere(subdivisions=2, radius=50.0)
    axis = trimesh.transformations.rotation_matrix(turned, [1.0, 0.4, 0.2])
    ball.apply_transform(axis)
    mesh = TriangleMesh(name="ball", vertices=ball.vertices, triangles=np.asarray(ball.faces, np.int64))
    heights = [-33.3, 0.123, 47.0]
    sections = cut_solid(prepare(solid(mesh)), heights)
    wanted = cut(mesh, heights)

    for section, other in zip(sections, wanted, strict=True):
        # the other way rounds its ends to 1e-7 mm, along the boundary
        area = float(chain_measures(section.loops)[0].sum())
        assert area == pytest.approx(other.polygon.area, abs=1e-7 * other.polygon.length)


def test_bodies_that_touch_in_an_edge_still_close() -> None:
    mesh = together(
        prism([(0, 0), (10, 0), (10, 10), (0, 10)], 5.0), prism([(10, 10), (20, 10), (20, 20), (10, 20)], 5.0)
    )
    (section,) = cut_solid(prepare(solid(mesh)), [2.0])

    assert float(chain_measures(section.loops)[0].sum()) == pytest.approx(200.0, rel=1e-12)


@pytest.mark.parametrize(("fault", "says"), [("open", "open or torn"), ("inside out", "inside out")])
def test_a_mesh_without_an_inside_is_refused(fault: str, says: str) -> None:
    whole = prism(regular(6, 30.0), 10.0)
    triangles = whole.triangles[1:] if fault == "open" else whole.triangles[:, ::-1]

    with pytest.raises(StepError, match=says):
        solid(TriangleMesh(name="bad.stl", vertices=whole.vertices, triangles=triangles))


def test_a_scan_is_planned_and_makes_no_claim(tmp_path: Path) -> None:
    mesh = prism(regular(24, 60.0), 8.0)
    part = tmp_path / "scan.stl"
    trimesh.Trimesh(vertices=mesh.vertices, faces=mesh.triangles, process=False).export(part)
    result = plan(part, workers=1)

    # a regular polygon: n r^2 sin(2 pi / n) / 2; STL holds single precision
    area = 12 * 3600 * math.sin(math.pi / 12)
    assert [layer.layer.area for layer in result.layers] == pytest.approx([area, area], rel=1e-6)
    assert "from-mesh" in {finding.code for finding in result.findings}
    assert "NO EXACTNESS CLAIM" in result.program

    program = tmp_path / "program.nc"
    program.write_text(result.program)
    with pytest.raises(BeadwrightError, match="referee"):
        verify_program(program, part)


def scanned(tmp_path: Path, solid: trimesh.Trimesh) -> Path:
    part = tmp_path / "scan.stl"
    solid.export(part)
    return part


def test_arcs_along_a_finely_divided_cylinder_have_its_radius(tmp_path: Path) -> None:
    part = scanned(tmp_path, trimesh.creation.cylinder(radius=60.0, height=8.0, sections=120))
    result = plan(part, workers=1, fit_arcs=0.1)

    sagitta = 60 * (1 - math.cos(math.pi / 120))
    for layer in result.layers:
        (loop,) = layer.layer.region.loops
        assert np.hypot(*loop.points.T) == pytest.approx(np.full(2, 60.0), abs=1e-4)
        # STL holds single precision: 60 to 4e-6
        assert layer.budget.fit == pytest.approx(sagitta, abs=1e-5)
    assert result.document["totals"]["moves"]["line"] == 0
    told = {finding.code: finding for finding in result.findings}
    assert told["mesh-arcs"].measured == pytest.approx(sagitta, abs=1e-5)
    assert told["mesh-arcs"].allowed == 0.1
    assert "fit_arcs_mm value=0.1" in result.program
    assert "is a guess" in " ".join(result.program.replace(")\n(", " ").split())


def test_arcs_along_a_finely_divided_ball_are_within_their_bound_of_its_circles(tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=40.0)
    result = plan(scanned(tmp_path, ball), workers=1, fit_arcs=0.2, layers=(4, 9))

    # a triangle is nowhere deeper than the cap that is cut off at its corners: R - sqrt(R^2 - r^2), and the
    # radius r of the circle round it is at most its greatest side by the root of 3
    depth = 40 - math.sqrt(1600 - float(ball.edges_unique_length.max()) ** 2 / 3)
    for layer in result.layers:
        (z,) = layer.layer.section_z
        circle = math.sqrt(1600 - (z - 40) ** 2)
        (loop,) = layer.layer.region.loops
        steep = circle / 40
        assert len(loop.bulge) == 2
        off = np.abs(np.hypot(*loop.points.T) - circle)
        assert off.max() <= layer.budget.fit + depth / steep
        assert layer.budget.fit <= 0.2


def test_arcs_along_a_scan_join_smoothly_and_kinks_that_are_left_are_told(tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(subdivisions=3, radius=40.0)
    ball.apply_scale([2.0, 1.0, 1.0])
    part = scanned(tmp_path, ball)
    smooth, tight = (plan(part, workers=1, fit_arcs=fit, layers=(7, 9)) for fit in (0.6, 0.01))
    told = {finding.code: finding for finding in tight.findings}

    assert "mesh-kinks" not in {finding.code for finding in smooth.findings}
    for layer in smooth.layers:
        (loop,) = layer.layer.region.loops
        assert np.degrees(joints(loop.points, loop.bulge).turn).max() < 0.1
        assert len(loop.bulge) < 40
    # chords of the ball's triangles stray by more than a hundredth: they stay, with their kinks
    kinks = told["mesh-kinks"]
    assert kinks.measured is not None
    assert 0.1 < kinks.measured < 35
    assert kinks.at_mm is not None
    assert "35 degrees is taken for a corner" in kinks.text


def test_arcs_are_for_meshes(tmp_path: Path) -> None:
    with pytest.raises(BeadwrightError, match="is no mesh"):
        plan(SAMPLE, fit_arcs=0.1, workers=1)
    with pytest.raises(BeadwrightError, match=r"0\.001 to 5"):
        plan(SAMPLE, fit_arcs=7.0)
    with pytest.raises(BeadwrightError, match="cannot go with fit_arcs"):
        plan(SAMPLE, fit_arcs=0.1, rule="outer")
