"""What planes miss between them: closed forms, and a free-form wall against dense samples of the kernel's surface."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest
import shapely

import beadwright
from beadwright.brep import Model, placed
from beadwright.curves import ArcPath, points_at
from beadwright.kernel import from_shape
from beadwright.layers._between import ENOUGH, between


def model(part: cq.Workplane) -> Model:
    return placed(from_shape(part), np.eye(3, 4))


def test_a_pyramid_s_corners_lean_most() -> None:
    """Sides at 45 degrees: their edges go sideways by sqrt 2 of what they rise."""
    found = between(model(cq.Workplane().rect(120, 80).workplane(offset=8).rect(104, 64).loft(ruled=True)))
    planes = np.array([1.0, 2.0, 4.0, 4.0 + 1e-6])

    assert found.missed(planes) == pytest.approx([math.sqrt(2) / 2, math.sqrt(2), 0.0], rel=1e-9)


def test_a_ball_s_sections_between_planes_and_none_at_its_top() -> None:
    """Radius 100: at 2 mm beside its middle the surface goes sideways by 2 / sqrt(100^2 - 2^2) of what it rises."""
    found = between(model(cq.Workplane().sphere(100)))

    assert found.missed(np.array([-2.0, -1.0, 1.0, 2.0])) == pytest.approx(
        [0.5 * 2 / math.sqrt(9996), 1 / math.sqrt(9999), 0.5 * 2 / math.sqrt(9996)], rel=1e-9
    )
    assert math.isinf(found.missed(np.array([96.0, 100.0]))[0])


def test_a_lying_cylinder_s_end_circles_are_bounded_closely_from_above() -> None:
    """Radius 30, axis at z = 0: at the height z a circle goes sideways by z / sqrt(30^2 - z^2) of what it rises."""
    found = between(model(cq.Workplane("XZ").circle(30).extrude(50)))
    true = 0.5 * 15 / math.sqrt(900 - 225)

    assert true <= found.missed(np.array([14.0, 15.0]))[0] < 1.3 * true
    # the top, where the circle is level, has none
    assert math.isinf(found.missed(np.array([29.0, 30.0]))[0])


def test_planes_lie_on_both_sides_of_vertices_and_flat_faces() -> None:
    step = (
        cq.Workplane()
        .box(60, 40, 20, centered=False)
        .cut(cq.Workplane().box(20, 40, 10, centered=False).translate((0, 0, 10.3)))
    )
    heights, missed = between(model(step)).planes(8.0, 12.0, 5)

    assert missed == 0.0
    assert heights[:3] == (8.0, 9.0, 10.0)
    assert heights[3:5] == (pytest.approx(10.3, abs=2e-6), pytest.approx(10.3, abs=2e-6))
    assert heights[3] < 10.3 < heights[4]


def fine(loop: ArcPath) -> np.ndarray:
    """Points along a loop, 64 a move."""
    move = np.repeat(np.arange(len(loop.bulge)), 64)
    return points_at(loop, move, np.tile(np.arange(64) / 64, len(loop.bulge)))


WIDE, HIGH = 160.0, 24.0


def wavy(x: float, z: float) -> float:
    """A wall that looks up below and down above, and bends along itself."""
    return 40 + 3 * math.sin(z / HIGH * 2 * math.pi + x / 40)


@pytest.mark.parametrize("rule", ["outer", "inner"])
def test_a_free_form_wall_lies_within_what_is_told(rule: str, tmp_path: Path) -> None:
    grid = [[cq.Vector(x, wavy(x, z), z) for z in np.linspace(0, HIGH, 9)] for x in np.linspace(0, WIDE, 9)]
    face = cq.Face.makeSplineApprox(grid, tol=1e-4, minDeg=3, maxDeg=3)
    halves = cq.Workplane().box(WIDE, 80, HIGH, centered=False).split(cq.Workplane(obj=face)).solids()
    part = min(halves.vals(), key=lambda half: half.Center().y)
    result = beadwright.plan(part, rule=rule, workers=1, layers="1:4", contours=1)
    shift = [row[3] for row in result.document["placement"]]

    surface = face._geomAdaptor()  # the CAD kernel's own surface, which no code of ours has read
    low, high = surface.Bounds()[::2], surface.Bounds()[1::2]
    u, v = (np.linspace(a, b, 801) for a, b in zip(low, high, strict=True))
    points = [surface.Value(a, b) for a in u[::8] for b in v]
    dense = np.array([[p.X(), p.Y(), p.Z()] for p in points]) + shift

    for told, layer in zip(result.document["layers"], result.layers, strict=True):
        gap = told["rule_gap_mm"]
        assert 0 < gap <= ENOUGH
        own = dense[(dense[:, 2] > told["z0_mm"]) & (dense[:, 2] < told["z_mm"])]
        loops = [shapely.Polygon(fine(loop)) for loop in layer.layer.region.loops]
        wall = shapely.boundary(shapely.union_all(loops))
        inside = shapely.contains_xy(shapely.union_all(loops), own[:, 0], own[:, 1])
        # of the rule outer, no place of the surface may lie outside by more; of the rule inner, none inside
        wrong = ~inside if rule == "outer" else inside
        far = shapely.distance(wall, shapely.points(own[wrong][:, :2]))
        assert far.max(initial=0.0) <= gap + told["bounds_mm"]["total"]
        # and the region goes no farther than the surface does somewhere in the slab
        assert shapely.distance(wall, shapely.points(own[:, :2])).min() < 0.01
    (finding, *_) = [each for each in result.findings if each.code == "rule-planes"]
    assert (finding.level, finding.allowed) == ("note", ENOUGH)
