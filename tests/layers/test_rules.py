"""The rules outer and inner against closed forms: trade checks C3 to C8, swept ellipses, leaning walls."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

import beadwright
from beadwright.arcs import fit
from beadwright.brep import placed
from beadwright.kernel import from_shape, read_step
from beadwright.layers import find_folds, layer_region, plan_layers, rule_region
from beadwright.numeric import Budget
from beadwright.section import cut, prepare, take_plane
from tests.layers.test_solids import A, B, corner_error

FINE = 0.0005


def regions(part, tmp_path, low, high, height, rule, tolerance=FINE):
    """Regions of all layers of a part between two heights, as the part lies."""
    file = tmp_path / "part.step"
    cq.exporters.export(cq.Workplane(obj=part), str(file))
    model = placed(read_step(file), np.eye(3, 4))
    cutter, folds = prepare(model), find_folds(model)
    made = []
    for plan in plan_layers(low, high, height, rule=rule, platform_z=low):
        bottom, top = plan.section_z
        heights = [take_plane(cutter, bottom, "above").taken, take_plane(cutter, top, "below").taken]
        sections = cut(cutter, heights)
        made.append(
            rule_region(
                plan,
                folds,
                *sections,
                cut_at=lambda z: cut(cutter, [take_plane(cutter, v, "below").taken for v in z]),
                tolerance=tolerance,
            )
        )
    return made


def area(made):
    assert all(each.fallbacks == 0 and each.findings == () for each in made)
    assert all(each.budget.region <= 1e-6 for each in made)
    return sum(each.area for each in made)


# How far inside the slab a plane lies, mm: 1e-8, and 1e-6 (and a thousandth) where a flat face or a pole is met.
OPEN, CLEAR = 1e-8, 1.001e-6
SPHERE = cq.Solid.makeSphere(100, angleDegrees1=-90, angleDegrees2=90)


@pytest.mark.parametrize(("rule", "volume"), [("outer", 4312778.394848), ("inner", 4061450.982561)])
def test_c6_a_sphere(tmp_path, rule, volume):
    made = regions(SPHERE, tmp_path, -100, 100, 4, rule)
    # d(area)/dz = 2 pi z: at both poles by CLEAR, at the planes of the other layers by OPEN
    moved = 4 * (2 * 2 * math.pi * 100 * CLEAR + math.pi * 100**2 / 4 * 2 * OPEN)

    assert area(made) * 4 == pytest.approx(volume, rel=1e-12, abs=moved)


@pytest.mark.parametrize(
    ("rule", "z", "height", "cusp"),
    [
        # sqrt(R^2 + 2 z h + h^2) - R and R - sqrt(R^2 - 2 z h - h^2), R 100
        ("outer", 60, 4.0, 2.449987799),
        ("inner", 60, 4.0, 2.511539144),
        # the height at which the cusp of the rule outer is 1: -z + sqrt(z^2 + 2 R c + c^2)
        ("outer", 60, 1.652250567, 1.0),
    ],
)
def test_c3_c4_the_cusp_of_a_layer_on_a_sphere(tmp_path, rule, z, height, cusp):
    """The stair's corner: at the top of a layer by the rule outer, at the bottom of one by the rule inner."""
    (layer, *_) = regions(SPHERE, tmp_path, z, z + height, height, rule)
    radius = math.sqrt(layer.area / math.pi)
    corner = math.hypot(radius, z + height if rule == "outer" else z)

    # the plane lies OPEN inside the slab, where the radius changes by 0.75 and 0.84 of that
    assert abs(corner - 100) == pytest.approx(cusp, abs=1e-8)


@pytest.mark.parametrize(
    ("part", "low", "high", "volume"),
    [
        # V + pi R h^2 / 6 of a ball of 100, V - pi R^2 h^2 / (12 H) of a cone of 100, 200 high
        ("ball", -100, 100, 4189627.962827),
        ("cone", 0, 200, 2094185.662883),
    ],
)
def test_c5_c7_layers_at_mid_height(part, low, high, volume):
    made = {"ball": cq.Workplane().sphere(100), "cone": cq.Workplane(obj=cq.Solid.makeCone(100, 0, 200))}
    cutter = prepare(placed(from_shape(made[part]), np.eye(3, 4)))
    plans = plan_layers(low, high, 4, rule="neutral", platform_z=low)
    sections = cut(cutter, [take_plane(cutter, plan.section_z[0], "below").taken for plan in plans])
    areas = [
        layer_region(
            plan,
            section.loops,
            fit(section.loops, tolerance=FINE).region,
            section_z=(section.taken,),
            budget=Budget(),
        )
        for plan, section in zip(plans, sections, strict=True)
    ]

    assert sum(4 * layer.area for layer in areas) == pytest.approx(volume, rel=1e-9)


@pytest.mark.parametrize(("rule", "volume"), [("outer", 2157645.834485), ("inner", 2031982.128342)])
def test_c7_a_cone(tmp_path, rule, volume):
    cone = cq.Solid.makeCone(100, 0, 200)
    assert area(regions(cone, tmp_path, 0, 200, 4, rule)) * 4 == pytest.approx(volume, rel=1e-9)


@pytest.mark.parametrize(("rule", "square"), [("outer", 100.0**2), ("inner", 100.0**2 - 2.0**2)])
def test_c8_a_slab_about_the_equator(tmp_path, rule, square):
    # radius 100, not the 99.979998 of the end sections
    middle = regions(SPHERE, tmp_path, -102, 100, 4, rule)[25]

    assert (middle.plan.z0, middle.plan.z) == (-2.0, 2.0)
    assert area([middle]) == pytest.approx(math.pi * square, rel=1e-9)


@pytest.mark.parametrize(("rule", "half"), [("outer", 100.0), ("inner", math.sqrt(100.0**2 - 2.0**2))])
def test_a_lying_cylinder(tmp_path, rule, half):
    lying = cq.Solid.makeCylinder(100, 300, cq.Vector(0, 0, 0), cq.Vector(1, 0, 0))
    assert area([regions(lying, tmp_path, -102, 100, 4, rule)[25]]) == pytest.approx(300 * 2 * half, rel=1e-9)


@pytest.mark.parametrize(("rule", "half"), [("outer", 200.0), ("inner", math.sqrt(200.0**2 - 2.0**2))])
def test_a_torus_about_its_plane(tmp_path, rule, half):
    # both the outer and the inner equator: pi ((500 + q)^2 - (500 - q)^2)
    torus = cq.Solid.makeTorus(500, 200)
    middle = regions(torus, tmp_path, -202, 200, 4, rule)[50]

    assert (middle.n_loops, middle.n_holes) == (2, 1)
    assert area([middle]) == pytest.approx(math.pi * 4 * 500 * half, rel=1e-9)


@pytest.mark.parametrize(("rule", "width"), [("outer", 1.0 + 4.0), ("inner", 0.0)])
def test_a_thin_wall_that_leans_by_its_height(tmp_path, rule, width):
    # 1 mm thick, 45 degrees: the end sections of a slab of 4 mm do not meet
    outline = [(0, 0), (1, 0), (41, 40), (40, 40)]
    wall = cq.Workplane("XZ").polyline(outline).close().extrude(-100).val()
    made = regions(wall, tmp_path, 0, 40, 4, rule)

    # the planes of the first and last layer stay off the flat faces
    moved = 100 * (CLEAR + OPEN) if width else 0.0
    assert [each.area for each in made] == pytest.approx([100 * width] * 10, rel=1e-12, abs=moved + 1e-7)


@pytest.mark.parametrize("rule", ["outer", "inner"])
def test_a_leaning_cylinder(tmp_path, rule):
    # Sections are ellipses r / cos a by r that move by d = h tan a along their longer axis. Outer: the swept
    # ellipse. Inner: what two of them share, a lens of unit circles d / (r / cos a) apart, stretched.
    r, lean, h = 50.0, math.radians(30), 4.0
    axis = cq.Vector(math.sin(lean), 0, math.cos(lean))
    leaning = cq.Solid.makeCylinder(r, 400, cq.Vector(0, 0, 0), axis)
    middle = regions(leaning, tmp_path, 100, 200, h, rule)[5]
    long, d = r / math.cos(lean), h * math.tan(lean)
    apart = d / long
    lens = 2 * math.acos(apart / 2) - apart / 2 * math.sqrt(4 - apart * apart)
    wanted = math.pi * long * r + 2 * r * d if rule == "outer" else long * r * lens

    # the arcs stay within FINE of the curves
    assert area([middle]) == pytest.approx(wanted, abs=FINE * 2 * math.pi * long)


def test_flat_faces_on_the_borders_of_slabs_are_not_met(tmp_path):
    # steps of 8 mm at whole layers: each layer is the step's own section, by both rules
    steps = cq.Workplane().rect(100, 100).extrude(8).faces(">Z").workplane().rect(40, 40).extrude(8).val()
    for rule in ("outer", "inner"):
        made = regions(steps, tmp_path, 0, 16, 4, rule)
        assert [each.area for each in made] == pytest.approx([1e4, 1e4, 1600, 1600], rel=1e-9)


def test_a_step_inside_a_slab(tmp_path):
    # the step at 8 mm lies inside the slab from 6 to 12 mm
    steps = cq.Workplane().rect(100, 100).extrude(8).faces(">Z").workplane().rect(40, 40).extrude(10).val()
    outer = regions(steps, tmp_path, 0, 18, 6, "outer")
    inner = regions(steps, tmp_path, 0, 18, 6, "inner")

    assert [each.area for each in outer] == pytest.approx([1e4, 1e4, 1600], rel=1e-9)
    assert [each.area for each in inner] == pytest.approx([1e4, 1600, 1600], rel=1e-9)


def test_planes_that_stand_in_for_folds_are_told(tmp_path):
    # silhouettes of a tilted torus have no closed form
    torus = cq.Solid.makeTorus(50, 20).rotate(cq.Vector(0, 0, 0), cq.Vector(1, 0, 0), 25)
    outer = regions(torus, tmp_path, -8, 0, 4, "outer")[1]
    inner = regions(torus, tmp_path, -8, 0, 4, "inner")[1]

    assert outer.fallbacks == inner.fallbacks == 1
    assert [(f.code, f.level, f.measured) for f in outer.findings] == [
        ("rule-planes", "warning", pytest.approx(0.25, abs=2 * CLEAR / 16))
    ]
    assert outer.area > inner.area > 0


def test_a_plan_by_rule_tells_its_planes_and_lays_beads_inside():
    result = beadwright.plan(cq.Workplane().box(60, 40, 8), rule="outer", workers=1)

    lines = [line for line in result.program.splitlines() if line.startswith("(layer ")]
    assert all(" rule=outer " in line for line in lines)
    assert [layer["section_z_mm"] for layer in result.document["layers"]] == [
        pytest.approx([0.0, 4.0], abs=2e-6),
        pytest.approx([4.0, 8.0], abs=2e-6),
    ]
    assert all(
        layer["z0_mm"] < z < layer["z_mm"]
        for layer in result.document["layers"]
        for z in layer["section_z_mm"]
    )
    assert result.document["totals"]["area_mm2"] == pytest.approx(2 * 60 * 40, rel=1e-9)


def test_free_form_faces_judged_by_samples_are_counted(tmp_path):
    # a wall that leans inwards all round: a loft between a closed spline and a smaller one
    low = cq.Wire.assembleEdges([cq.Edge.makeSpline([cq.Vector(*p) for p in RING], periodic=True)])
    high = low.scale(0.8).translate(cq.Vector(0, 0, 40))
    loft = cq.Solid.makeLoft([low, high])
    file = tmp_path / "loft.step"
    cq.exporters.export(cq.Workplane(obj=loft), str(file))
    folds = find_folds(placed(read_step(file), np.eye(3, 4)))
    free = sum(face.kind not in {"plane", "cylinder", "cone"} for face in read_step(file).faces)

    assert free > 0
    assert [(f.code, f.level, f.measured) for f in folds.findings()] == [
        ("rule-sampled", "note", float(free))
    ]


RING = [(60.0, 0, 0), (40.0, 35, 0), (0.0, 50, 0), (-45.0, 30, 0), (-55.0, 0, 0), (0.0, -45, 0)]


@pytest.mark.parametrize("rule", ["outer", "inner"])
def test_the_corner_between_solids_that_cross_is_within_the_bounds_by_both_rules(tmp_path, rule):
    """Two upright cylinders over ellipses that cross at x = 0, y = b sqrt(1 - d^2 / a^2) at every height."""
    d, tolerance = 249.5, 0.01
    posts = [cq.Workplane().center(x, 0.0).ellipse(A, B).extrude(8.0).val() for x in (-d, d)]
    (made, *_) = regions(cq.Compound.makeCompound(posts), tmp_path, 0, 8, 4, rule, tolerance)

    assert made.n_loops == 1
    assert made.fallbacks == 0
    assert made.findings == ()
    # The walls run against each other at an angle whose half is this: the corner is off by 1 / sin of it as much.
    half = math.atan(A * math.sqrt(A * A - d * d) / (B * d))
    assert 1 / math.sin(half) > 6
    told = made.budget.fit + made.budget.section + made.budget.region
    assert made.budget.fit / math.sin(half) <= told * 1.001
    assert corner_error(made.region, d) <= told <= 1.2 * tolerance
