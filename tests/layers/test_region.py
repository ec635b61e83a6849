"""A layer's region: united, measured before the fit (trade checks O15, O16 and closed forms)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.curves import ArcPath, ArcRegion, CurveKind, CurveLoops, signed_area
from beadwright.layers import layer_region, plan_layers, wall_region
from beadwright.numeric import Budget
from tests.post._build_programs import circle, path

PLAN = plan_layers(0.0, 4.0, 4.0)[0]
BUDGET = Budget(section=1e-7, fit=0.01, model=0.002)


def exact(*loops: ArcPath) -> CurveLoops:
    """Lines and circles as exact curves."""
    kind, ends, circles = [], [], []
    for loop in loops:
        following = np.roll(loop.points, -1, axis=0) if loop.closed else loop.points[1:]
        for p, q, b in zip(loop.points, following, loop.bulge, strict=False):
            ends.append([*p, *q])
            kind.append(CurveKind.CIRCLE if b else CurveKind.LINE)
            sweep = 4 * math.atan(b)
            radius = math.dist(p, q) / 2 / math.sin(abs(sweep) / 2) if b else 0.0
            circles.append([0.0, 0.0, radius, sweep])
    n = len(kind)
    return CurveLoops(
        kind=np.array(kind, np.int8),
        face=np.zeros(n, np.int32),
        ends=np.array(ends, float).reshape(-1, 4),
        circle=np.array(circles, float).reshape(-1, 4),
        first_piece=np.zeros(n + 1, np.int32),
        degree=np.zeros(0, np.int32),
        first_control=np.zeros(1, np.int32),
        control=np.zeros((0, 3)),
        bound=np.zeros(n),
        first_curve=np.cumsum([0, *(len(x.bulge) for x in loops)]).astype(np.int32),
        closed=np.array([x.closed for x in loops], bool),
    )


def region_of(*loops: ArcPath):
    fitted = ArcRegion(loops=loops, supports=np.zeros((0, 4)))
    return layer_region(PLAN, exact(*loops), fitted, section_z=(2.0,), budget=BUDGET)


def rectangle(length, width, turn=0.0, at=(0.0, 0.0)):
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [length / 2, width / 2]
    c, s = math.cos(turn), math.sin(turn)
    return path(corners @ [[c, s], [-s, c]] + np.array(at), [0.0] * 4)


def test_a_ring_is_measured_as_the_cad_has_it():
    ring = region_of(circle(0, 0, 200), circle(0, 0, 150, -1))

    assert ring.area == pytest.approx(math.pi * (200**2 - 150**2), rel=1e-12)
    assert ring.perimeter == pytest.approx(2 * math.pi * 350, rel=1e-12)
    assert (ring.n_loops, ring.n_holes) == (2, 1)
    assert (ring.budget.section, ring.budget.fit, ring.budget.model) == (1e-7, 0.01, 0.002)
    assert 0 <= ring.budget.region <= 1e-7


def test_the_measures_are_those_before_the_fit():
    # the exact section is a circle, the "fit" a square inside it
    loops = exact(circle(0, 0, 10))
    square = ArcRegion(
        loops=(path([[10, 0], [0, 10], [-10, 0], [0, -10]], [0.0] * 4),), supports=np.zeros((0, 4))
    )
    got = layer_region(PLAN, loops, square, section_z=(2.0,), budget=BUDGET)

    assert got.area == pytest.approx(100 * math.pi, rel=1e-12)
    assert got.perimeter == pytest.approx(20 * math.pi, rel=1e-12)
    assert signed_area(got.region.loops[0]) == pytest.approx(200.0, rel=1e-12)


def test_o16_two_beads_that_cross_at_sixty_degrees():
    # doubled area w^2 / sin 60 = 115.470 mm2, times h 4: 461.8802 mm3
    beads = [rectangle(100, 10), rectangle(100, 10, math.pi / 3)]
    cross = region_of(*beads)

    assert (sum(map(signed_area, beads)) - cross.area) * 4 == pytest.approx(461.8802, abs=5e-5)
    assert (cross.n_loops, cross.n_holes) == (1, 0)


def test_o15_a_bead_round_a_right_angled_corner():
    # w L - swept area = w^2 (tan(45 deg)/4 - (pi/2)/8) = 5.365 mm2, times h 4: 21.4602 mm3
    w, run = 10.0, 100.0
    along = rectangle(run, w, at=(-run / 2, 0.0))
    up = rectangle(w, run, at=(0.0, run / 2))
    corner = path([[0, 0], [0, -w / 2], [w / 2, 0]], [0, math.tan(math.pi / 8), 0])
    swept = region_of(along, up, corner)

    assert (w * 2 * run - swept.area) * 4 == pytest.approx(21.4602, abs=5e-5)


def test_an_empty_section_is_an_empty_layer():
    nothing = region_of()

    assert (nothing.area, nothing.perimeter, nothing.n_loops, nothing.n_holes) == (0.0, 0.0, 0, 0)
    assert nothing.region.loops == ()


def test_a_wall_has_length_and_no_area():
    half = path([[500, 0], [0, 500], [-500, 0]], [math.tan(math.pi / 8)] * 2, closed=False)
    wall = wall_region(PLAN, exact(half), section_z=(2.0,), budget=BUDGET)

    assert (wall.area, wall.n_loops) == (0.0, 1)
    assert wall.perimeter == pytest.approx(500 * math.pi, rel=1e-12)
