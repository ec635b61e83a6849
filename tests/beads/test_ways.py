"""Ways inside a region: against closed forms of shortest ways round corners and round a disc."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely

from beadwright.beads import Below, Ways
from beadwright.curves import ArcRegion
from tests.beads.test_contour import polygon
from tests.post._build_programs import circle

W = 8.0


def ways(*loops, longest=100.0):
    return Ways(ArcRegion(loops=loops, supports=np.zeros((0, 4))), width=W, longest=longest)


def far(points):
    return math.fsum(math.dist(a, b) for a, b in itertools.pairwise(points))


FORK = polygon([[0, 0], [300, 0], [300, 200], [200, 200], [200, 50], [100, 50], [100, 200], [0, 200]])
FIRST, LAST = (50.0, 180.0), (250.0, 180.0)


def test_a_way_inside_goes_round_the_corners():
    bends = ways(FORK)(FIRST, LAST)
    whole = [FIRST, *bends, LAST]

    # round the corners themselves: two legs sqrt(50^2 + 130^2) and 100 between; it keeps a quarter bead clear
    least = 2 * math.hypot(50, 130) + 100
    assert least < far(whole) < least + 4 * W / 4
    assert shapely.Polygon(FORK.points).buffer(-W / 8 + 1e-9).covers(shapely.LineString(whole))


def test_a_straight_way_inside_has_no_bends():
    found = ways(FORK)

    assert found((10.0, 10.0), (290.0, 10.0)) == ()
    assert found.clear((10.0, 10.0), (290.0, 10.0))
    assert not found.clear(FIRST, LAST)


def test_a_way_round_a_hole_is_tangents_and_an_arc():
    bends = ways(circle(0, 0, 200), circle(0, 0, 100, -1))((-150.0, 0.0), (150.0, 0.0))

    def round_(r):
        return 2 * math.sqrt(150**2 - r**2) + r * (math.pi - 2 * math.acos(r / 150))

    whole = [(-150.0, 0.0), *bends, (150.0, 0.0)]
    assert round_(100) < far(whole) < round_(100 + W / 2)
    assert all(math.hypot(*bend) > 100 + W / 8 for bend in bends)


def test_ways_that_are_too_long_or_not_there_are_straight():
    straight = far([FIRST, LAST])
    least = 2 * math.hypot(50, 130) + 100

    assert ways(FORK, longest=0.99 * least / straight)(FIRST, LAST) == ()
    assert ways(FORK, longest=1.1 * least / straight)(FIRST, LAST) != ()
    assert ways(circle(0, 0, 50), circle(300, 0, 50))((0.0, 0.0), (300.0, 0.0)) == ()
    assert ways()((0.0, 0.0), (300.0, 0.0)) == ()


@pytest.mark.parametrize("seed", range(3))
def test_ways_of_random_regions_stay_inside_and_are_the_same_both_ways(seed):
    rng = np.random.default_rng(seed)
    holes = [circle(x, y, float(rng.uniform(15, 35)), -1) for x in (-90, 0, 90) for y in (-90, 0, 90)]
    found = ways(circle(0, 0, 200), *holes)
    solid = shapely.Point(0, 0).buffer(200, quad_segs=256)
    for hole in holes:
        centre = hole.points.mean(axis=0)
        solid = solid.difference(
            shapely.Point(centre).buffer(math.dist(centre, hole.points[0]), quad_segs=256)
        )
    core = solid.buffer(-W / 2)
    points = [p for p in rng.uniform(-180, 180, (40, 2)) if core.contains(shapely.Point(p))][:12]
    for a, b in itertools.pairwise([tuple(p.tolist()) for p in points]):
        there, back = [a, *found(a, b), b], [b, *found(b, a), a]
        assert solid.covers(shapely.LineString(there))
        assert far(there) == pytest.approx(far(back), rel=1e-9)
        assert far(there) < 1.6 * math.dist(a, b)


def region(*loops):
    return ArcRegion(loops=loops, supports=np.zeros((0, 4)))


def test_a_way_round_an_open_top_face_goes_beside_the_part():
    # a plate of 300 x 200 below, two walls 50 wide on it: the plate between them is an open top face
    below = Below(W)
    below.add(region(polygon([[0, 0], [300, 0], [300, 200], [0, 200]])))
    left, right = (polygon([[x, 0], [x + 50, 0], [x + 50, 200], [x, 200]]) for x in (0, 250))
    open_ = below.add(region(left, right))
    found = Ways(region(left, right), width=W, longest=100.0, off=open_)
    first, last = (25.0, 90.0), (275.0, 90.0)
    whole = [first, *found(first, last), last]

    # round the corners of the open face at its nearer end, a quarter of a bead clear
    least = 2 * math.hypot(25, 90) + 200
    assert shapely.box(50, 0, 250, 200).symmetric_difference(open_).area < 0.01 * open_.area
    assert least < far(whole) < least + W
    assert not shapely.LineString(whole).crosses(shapely.box(50, 0, 250, 200))
    assert not found.clear(first, last)
    # a way within one wall is straight
    assert found((10.0, 10.0), (40.0, 190.0)) == ()


def test_steps_of_a_slope_are_open_only_where_they_are_as_wide_as_a_bead():
    below = Below(W)
    sizes = [200.0, 197.0, 194.0, 191.0, 188.0]
    areas = [below.add(region(circle(0, 0, size))).area for size in sizes]

    # rings 3, 6, 9 and 12 mm wide; the bead is 8
    assert areas[:3] == pytest.approx([0, 0, 0], abs=1.0)
    assert areas[3:] == pytest.approx([math.pi * (200**2 - r * r) for r in sizes[3:]], rel=0.02)


def test_a_way_from_the_end_of_a_wall_leads_inside_first():
    # beads end on the wall's end itself: their ways keep clear of the boundary but for that step
    end = (0.0, 195.0)
    bends = ways(FORK)(end, LAST)
    whole = [end, *bends, LAST]

    assert bends
    assert math.dist(end, bends[0]) < W / 2
    assert shapely.Polygon(FORK.points).buffer(-W / 8 + 1e-9).covers(shapely.LineString(whole[1:]))
