"""Stock as solids of its own: volumes by Steiner's formula, prisms on single faces, in any pose.

Steiner's formula (J. Steiner 1840; R. Schneider, Convex Bodies, 2014, section 4.1): the points within r of a convex
body of volume V, area S and integral of mean curvature M have the volume V + S r + M r^2 + 4/3 pi r^3; M is
pi (a + b + c) for a box, pi (h + pi r) for a cylinder, 4 pi r for a ball.
"""

from __future__ import annotations

import math
from itertools import pairwise

import cadquery as cq
import numpy as np
import pytest

from beadwright.arcs import fit, unite
from beadwright.brep import blank_of, placed
from beadwright.curves import region_area
from beadwright.kernel import from_shape
from beadwright.section import cut, prepare, take_plane

BALL = 4 / 3 * math.pi


def turned(seed):
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return np.column_stack((q * np.sign(np.linalg.det(q)), np.zeros(3)))


def grown(shape, amount, heights, matrix=None, rows=None):
    """Areas of the sections of a part with stock."""
    model = placed(from_shape(shape), np.eye(3, 4) if matrix is None else matrix)
    chosen = range(len(model.faces)) if rows is None else rows(model)
    blank = blank_of(model, dict.fromkeys(chosen, amount), inwards=0.05)
    assert blank.tips == ()
    cutters = [prepare(model), prepare(blank.model)]
    out = []
    for z in heights:
        both = []
        for cutter in cutters:
            section = cut(cutter, [take_plane(cutter, z, "below").taken])[0]
            assert section.loops.closed.all()
            assert section.counters.unmatched == 0
            both.append(unite(fit(section.loops, tolerance=1e-5).region).region)
        made = unite(both)
        assert made.fallbacks == 0
        out.append(region_area(made.region))
    return np.array(out), blank


def volume(shape, amount, seed, n=24):
    """By Gauss-Legendre between the heights at which faces begin and end."""
    model = placed(from_shape(shape), turned(seed))
    blank = blank_of(model, dict.fromkeys(range(len(model.faces)), amount), inwards=0.05)
    low, high = blank.model.box[:, 2]
    kinks = np.unique(np.concatenate((model.vertices[:, 2], [low, high])))
    x, w = np.polynomial.legendre.leggauss(n)
    total = 0.0
    for a, b in pairwise(kinks):
        areas, _ = grown(shape, amount, 0.5 * (a + b) + 0.5 * (b - a) * x, turned(seed))
        total += 0.5 * (b - a) * float(w @ areas)
    return total


# the sections of rods and balls are no polynomials between the kinks: what 5 points leave
def test_a_box_in_a_random_pose_by_steiner():
    a, b, c, r = 60.0, 40.0, 30.0, 4.0
    want = a * b * c + 2 * (a * b + b * c + a * c) * r + math.pi * (a + b + c) * r**2 + BALL * r**3

    assert volume(cq.Workplane().box(a, b, c), r, seed=3, n=5) == pytest.approx(want, rel=1e-3)


@pytest.mark.parametrize("z", [-2.0, 7.0, 42.0])
def test_a_box_as_it_stands(z):
    # beside the box a disc of 4, above and below one of sqrt(16 - 4)
    areas, blank = grown(cq.Workplane().box(100, 60, 40, centered=(True, True, False)), 4.0, [z])
    r = 4.0 if 0 < z < 40 else math.sqrt(12)

    assert areas[0] == pytest.approx(6000 + 320 * r + math.pi * r**2, rel=1e-12)
    assert blank.box == pytest.approx(np.array([[-54, -34, -4], [54, 34, 44]]), abs=1e-9)
    assert blank.off == 0.0


def test_a_cylinder_and_a_ball():
    areas, _ = grown(cq.Workplane().circle(50).extrude(40), 4.0, [20.0, 42.0])
    assert areas == pytest.approx([math.pi * 54**2, math.pi * (50 + math.sqrt(12)) ** 2], rel=1e-12)
    areas, _ = grown(cq.Workplane().sphere(100), 4.0, [60.0])
    assert areas[0] == pytest.approx(math.pi * (104**2 - 60**2), rel=1e-9)


def test_a_frustum_has_a_on_its_slope_along_the_normal():
    # the slope falls 40 over 100: at height z the stock reaches a / cos(lean) farther out
    frustum = cq.Workplane(obj=cq.Solid.makeCone(100, 60, 100))
    areas, _ = grown(
        frustum, 4.0, [50.0], rows=lambda m: [r for r, f in enumerate(m.faces) if f.kind == "cone"]
    )
    out = 80 + 4.0 * math.hypot(100, 40) / 100

    assert areas[0] == pytest.approx(math.pi * out**2, rel=1e-9)


@pytest.mark.parametrize("seed", [None, 5])
def test_one_face_gets_a_prism_and_no_other_a_sliver(seed):
    # 60 x 40 face of a box, 4 thick: the step is at the edge, in any pose
    matrix = None if seed is None else turned(seed)
    normal = np.array([1.0, 0, 0]) if matrix is None else matrix[:, 0]

    def side(model):
        return [r for r, f in enumerate(model.faces) if abs(f.area - 1200) < 1e-6 and f.centroid @ normal > 0]

    box = cq.Workplane().box(60, 40, 30)
    fine = np.linspace(-36, 36, 25)[:-1] + 0.03
    with_it, blank = grown(box, 4.0, fine, matrix, rows=side)
    longer, _ = grown(
        cq.Workplane().box(64, 40, 30).translate((2, 0, 0)), 0.0, fine, matrix, rows=lambda _: []
    )

    assert with_it == pytest.approx(longer, abs=2e-4)
    assert len(blank.model.faces) == 6


def test_smooth_faces_become_one_body_without_walls_between():
    part = cq.Workplane().box(100, 60, 40).edges("|Z").fillet(10)
    model = placed(from_shape(part), np.eye(3, 4))
    rows = [r for r, f in enumerate(model.faces) if abs(f.centroid[2]) < 1]
    areas, blank = grown(part, 4.0, [0.0], rows=lambda _: rows)
    # a box with corners of 14
    want = 108 * 68 - (4 - math.pi) * 14**2

    assert areas[0] == pytest.approx(want, rel=1e-12)
    assert len(blank.model.solids) == 1
    assert len(blank.model.faces) == 8 * 2 + 16  # sheets, and walls above and below


def test_a_concave_edge_needs_no_rod_and_a_hole_fills_to_its_middle():
    part = cq.Workplane().box(100, 60, 40).faces(">Z").workplane().hole(6)
    areas, blank = grown(part, 4.0, [0.0])

    bore = next(r for r, f in enumerate(placed(from_shape(part), np.eye(3, 4)).faces) if f.kind == "cylinder")
    assert blank.amount[bore] == pytest.approx(3.0, abs=1e-3)
    assert areas[0] == pytest.approx(6000 + 320 * 4 + math.pi * 16, abs=1e-5)


def test_a_free_form_wall_moves_along_its_normal():
    # an ellipse extruded: Steiner in the plane, area + perimeter r + pi r^2
    a, b, r = 50.0, 30.0, 4.0
    part = cq.Workplane().ellipse(a, b).extrude(40)
    rows = [i for i, f in enumerate(from_shape(part).faces) if f.kind != "plane"]
    areas, blank = grown(part, r, [20.0], rows=lambda _: rows)
    t = (np.arange(4096) + 0.5) / 4096 * 2 * math.pi
    around = float(np.hypot(a * np.sin(t), b * np.cos(t)).mean() * 2 * math.pi)

    assert areas[0] == pytest.approx(math.pi * a * b + around * r + math.pi * r**2, abs=1e-5 * around)
    assert blank.off <= 1e-7


def test_a_tip_is_told():
    model = placed(from_shape(cq.Workplane(obj=cq.Solid.makeCone(50, 0, 80))), np.eye(3, 4))
    blank = blank_of(model, dict.fromkeys(range(2), 4.0), inwards=0.05)

    assert [model.faces[row].kind for row in blank.tips] == ["cone"]
