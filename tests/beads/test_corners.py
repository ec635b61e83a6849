"""Corners that a round bead edge misses, against (1 / sin(angle / 2) - 1) w / 2, and tight bends."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.beads import contour_beads, sharpest_corner, tightest_bend
from beadwright.beads._rays import Rays
from beadwright.curves import ArcRegion
from tests.beads.test_contour import on, polygon
from tests.post._build_programs import bead, circle, path

W, H = 8.4, 4.0


def found_at(*loops, contours=1):
    layer = on(*loops)
    laid = contour_beads(layer, width=W, height=H, spacing=W, contours=contours)
    return sharpest_corner(layer.region, laid.beads)


def pointed(degrees, tilt=0.3):
    """A rhombus with a corner of that angle, the others no sharper."""
    half = math.radians(degrees) / 2
    far = [(300 * math.cos(a), 300 * math.sin(a)) for a in (-half, half)]
    points = [(0, 0), far[0], (600 * math.cos(half), 0), far[1]]
    c, s = math.cos(tilt), math.sin(tilt)
    return polygon([[c * x - s * y, s * x + c * y] for x, y in points])


@pytest.mark.parametrize(("degrees", "short"), [(60, 4.200), (90, 1.740)])
def test_shortfall_of_a_sharp_corner(degrees, short):
    corner = found_at(pointed(degrees))

    assert math.degrees(corner.angle) == pytest.approx(degrees, abs=1e-6)
    assert corner.shortfall == pytest.approx(short, abs=5e-4)
    assert corner.shortfall == pytest.approx((1 / math.sin(math.radians(degrees) / 2) - 1) * W / 2, abs=1e-9)


def test_shortfall_of_a_hexagon():
    # all corners 120 degrees: 0.650 for w 8.4
    hexagon = polygon([[200 * math.cos(a), 200 * math.sin(a)] for a in (k * math.pi / 3 for k in range(6))])

    assert found_at(hexagon).shortfall == pytest.approx(0.650, abs=5e-4)


def test_a_rounded_corner_is_missed_by_less():
    # radius 2 in place of a sharp right angle: (1 / sin 45 - 1) (w / 2 - 2)
    b = math.tan(math.pi / 8)
    points = [[2, 0], [200, 0], [200, 200], [0, 200], [0, 2]]
    rounded = path(points, [0, 0, 0, 0, b])
    cut = [[2, 0], [198, 0], [200, 2], [200, 198], [198, 200], [2, 200], [0, 198], [0, 2]]
    corner = found_at(path(cut, [0, b] * 4))

    assert found_at(rounded).shortfall == pytest.approx(1.740, abs=5e-4)
    assert corner.shortfall == pytest.approx((math.sqrt(2) - 1) * (W / 2 - 2), abs=1e-9)


def test_round_outlines_have_no_corner_and_holes_none_outside():
    assert found_at(circle(0, 0, 100), circle(0, 0, 40, -1)) is None


def test_bends_tighter_than_half_a_bead():
    # about a reflex corner the centreline bends with exactly half a width, which is no fault
    ell = polygon([[0, 0], [200, 0], [200, 100], [100, 100], [100, 200], [0, 200]])
    layer = on(ell)
    laid = contour_beads(layer, width=W, height=H, spacing=W, contours=2)

    assert tightest_bend(laid.beads) is None
    assert tightest_bend([bead(circle(10, 0, 4.0)), bead(circle(0, 0, 3.0))]).radius == pytest.approx(3.0)
    assert tightest_bend([bead(circle(0, 0, 4.2))]) is None


def test_a_ray_meets_lines_and_arcs_where_closed_forms_say():
    # a circle of radius 50 as two half turns, and one of four arcs; from (30, 0): upwards sqrt(50^2 - 30^2) = 40
    quarters = path([[50, 0], [0, 50], [-50, 0], [0, -50]], [math.tan(math.pi / 8)] * 4)
    for ring in (circle(0.0, 0.0, 50.0), quarters):
        rays = Rays(ArcRegion(loops=(ring,), supports=np.zeros((0, 4))))
        assert rays.nearest(30.0, 0.0, math.pi / 2) == pytest.approx(40.0, abs=1e-12)
        assert rays.nearest(30.0, 0.0, 0.0) == pytest.approx(20.0, abs=1e-12)
        assert rays.nearest(30.0, 0.0, math.pi) == pytest.approx(80.0, abs=1e-12)
        # from (80, 0) back: 30 before the circle; away from it nothing is met
        assert rays.nearest(80.0, 0.0, math.pi) == pytest.approx(30.0, abs=1e-12)
        assert rays.nearest(80.0, 0.0, 0.0) is None


def test_a_ray_through_a_joint_meets_the_boundary_once_and_one_beside_a_flat_arc_does_not():
    # a square's corner straight ahead, in any direction: 100 sqrt(2)
    rng = np.random.default_rng(5)
    for turn in rng.uniform(0, 2 * math.pi, 50):
        c, s = math.cos(turn), math.sin(turn)
        corners = [
            (c * x - s * y, s * x + c * y) for x, y in ((-100, -100), (100, -100), (100, 100), (-100, 100))
        ]
        square = Rays(ArcRegion(loops=(polygon(corners),), supports=np.zeros((0, 4))))
        assert square.nearest(0.0, 0.0, turn + math.pi / 4) == pytest.approx(100 * math.sqrt(2), abs=1e-9)
    # an arc of bulge 1e-12 from (0, 0) to (100, 0): above it, along x, its circle lies 5e13 mm away
    flat = path([[0, 0], [100, 0], [50, 80]], [1e-12, 0, 0])
    rays = Rays(ArcRegion(loops=(flat,), supports=np.zeros((0, 4))))
    assert rays.nearest(-40.0, 40.0, 0.0) == pytest.approx(65.0, abs=1e-9)
    assert rays.nearest(150.0, 0.0, math.pi / 2) is None
    assert rays.nearest(20.0, 5.0, -math.pi / 2) == pytest.approx(5.0, abs=1e-9)
