"""Layer heights by the cusp, in closed form.

Cusp = height times the vertical part of the normal: A. Dolenc, I. Makela, Computer-Aided Design 26 (1994) 119-126.
"""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from beadwright.brep import placed, steepness
from beadwright.kernel import from_shape
from beadwright.layers import cusps, schedule


def steep_of(part, matrix=None):
    return steepness(placed(from_shape(part), np.eye(3, 4) if matrix is None else matrix))


def greatest(part, *edges, matrix=None):
    return steep_of(part, matrix).greatest(np.array(edges, dtype=float))


# lean 45 and 30 degrees under layers of 4: cusps 2.828427125 and 2.0
@pytest.mark.parametrize(("lean", "cusp"), [(45, 2.828427125), (30, 2.0)])
def test_c1_c2_the_cusp_of_a_slope(lean, cusp):
    cone = cq.Workplane(obj=cq.Solid.makeCone(100, 100 - 40 * math.tan(math.radians(lean)), 40))
    edges = np.arange(0.0, 41.0, 4.0)

    assert cusps(edges, steep_of(cone).greatest) == pytest.approx([cusp] * 10, rel=1e-9)


def test_the_normal_of_a_ball_is_its_height_over_its_radius():
    found = greatest(cq.Workplane().sphere(100), -2, 2, 60, 64, 96, 100)
    assert found == pytest.approx([0.02, 0.6, 0.64, 0.96, 1.0], rel=1e-9)


def test_upright_walls_have_none_and_flats_are_told_apart():
    part = cq.Workplane().box(60, 40, 30, centered=(True, True, False)).faces(">Z").workplane().hole(10)
    steep = steep_of(part)

    assert steep.greatest(np.array([0.0, 10, 30])) == pytest.approx([0, 0], abs=1e-12)
    assert steep.flats.tolist() == [0.0, 30.0]
    assert steep.unknown == ()


def test_lying_cylinders_and_fillets():
    lying = cq.Workplane(obj=cq.Solid.makeCylinder(50, 80, cq.Vector(0, 0, 0), cq.Vector(1, 0, 0)))
    assert greatest(lying, 0, 10, 30) == pytest.approx([0.2, 0.6], rel=1e-9)
    # a ring of 10 about the axis, round the top of a post: its normal rises from level to upright
    post = cq.Workplane().circle(50).extrude(40).faces(">Z").edges().fillet(10)
    assert greatest(post, 0, 30, 35, 40) == pytest.approx([0.0, 0.5, 1.0], abs=1e-9)


def test_free_form_faces_are_bounded_from_above_and_tightly():
    # a loft that narrows: its true normals by the kernel-free evaluation of a fine grid
    from beadwright.brep import face_normals

    wire = [(60, 0), (40, 35), (0, 50), (-45, 30), (-55, 0), (0, -45)]
    low = cq.Wire.assembleEdges([cq.Edge.makeSpline([cq.Vector(*p) for p in wire], periodic=True)])
    loft = cq.Workplane(obj=cq.Solid.makeLoft([low, low.scale(0.8).translate(cq.Vector(0, 0, 40))]))
    model = placed(from_shape(loft), np.eye(3, 4))
    seen = max(float(np.abs(face_normals(f)[:, 2]).max()) for f in model.faces if f.kind not in {"plane"})
    bound = float(steepness(model).greatest(np.array([0.0, 40.0]))[0])

    assert seen <= bound <= seen + 0.05


def test_the_fewest_layers_within_the_limit():
    # a ball: no layer of more than the cusp allows, none higher or lower than the range
    steep = steep_of(cq.Workplane().sphere(100))
    made = schedule(-100, 100, least=2.0, greatest=5.0, limit=2.0, steep=steep.greatest, flats=steep.flats)
    heights = np.diff(made.edges)

    assert made.edges[[0, -1]] == pytest.approx([-100, 100])
    assert heights.min() >= 2 - 1e-9
    assert heights.max() <= 5 + 1e-9
    assert made.cusp.max() <= 2.0 + 1e-9
    # continuous lower bound: the integral of dz / h(z), h = min(5, 2 / |n_z|)
    z = np.linspace(-100, 100, 200001)
    least = float(np.mean(np.maximum(1 / 5, np.abs(z) / 100 / 2))) * 200
    assert least <= len(heights) <= 1.06 * least + 2


def test_flat_faces_are_met_by_a_top():
    steps = cq.Workplane().rect(100, 100).extrude(11).faces(">Z").workplane().rect(40, 40).extrude(12.5)
    steep = steep_of(steps)
    made = schedule(0, 23.5, least=3.0, greatest=5.0, limit=1.0, steep=steep.greatest, flats=steep.flats)

    assert made.missed == ()
    assert {11.0, 23.5} <= set(made.edges.tolist())
    assert len(made.edges) == 1 + 3 + 3
    # between 11 and 12 no layer of 3 or more fits: the lower one is given up, and told
    made = schedule(
        0, 20, least=3.0, greatest=5.0, limit=1.0, steep=lambda e: 0 * e[1:], flats=np.array([11.0, 12.0])
    )
    assert made.missed == (11.0,)
    assert 12.0 in made.edges
