"""Decks where a layer is exposed, and closed hollow spaces."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.beads import Voids, deck_region, hollow_cells
from beadwright.curves import ArcRegion, region_area
from tests.beads.test_contour import polygon
from tests.post._build_programs import bead, circle, path

W = 8.4


def region(*loops):
    return ArcRegion(loops=loops, supports=np.zeros((0, 4)))


def box(x0, y0, x1, y1):
    return polygon([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


INSIDE = region(box(20, 20, 380, 280))
WHOLE = region(box(0, 0, 400, 300))


def test_a_layer_that_its_neighbours_cover_has_no_deck():
    assert deck_region(INSIDE, [WHOLE, WHOLE], width=W, reach=W).region.loops == ()


def test_beyond_the_part_all_is_exposed():
    assert deck_region(INSIDE, [WHOLE, region()], width=W, reach=W).region is INSIDE


def test_a_step_is_closed_with_its_reach_and_no_farther():
    # above, the part ends at x = 200: 20 to 380 is open from 200 on, and 8.4 mm more is closed
    found = deck_region(INSIDE, [region(box(0, 0, 200, 300))], width=W, reach=8.4)

    assert region_area(found.region) == pytest.approx((380 - 200 + 8.4) * 260, rel=1e-9)


def test_what_one_of_two_layers_leaves_open_counts():
    lid = deck_region(INSIDE, [WHOLE, region(box(0, 0, 200, 300))], width=W, reach=0.0)

    assert region_area(lid.region) == pytest.approx(180 * 260, rel=1e-9)


def test_slivers_that_contour_beads_cover_are_no_deck():
    assert deck_region(INSIDE, [region(box(0, 0, 376, 300))], width=W, reach=W).region.loops == ()


def straight(x0, y0, x1, y1):
    return path([[x0, y0], [x1, y1]], [0.0], closed=False)


def test_ribs_part_a_hollow_into_cells():
    ribs = [bead(straight(x, 20, x, 280), role="rib", width=10.0) for x in (100.0, 200.0)]
    cells = hollow_cells(INSIDE, ribs)

    assert sorted(region_area(cell) for cell in cells) == pytest.approx([75 * 260, 90 * 260, 175 * 260])


def found_in(layers):
    voids = Voids()
    for index, (whole, cells) in enumerate(layers):
        voids.add(index, 4.0 * (index + 1), 4.0, whole, [region(cell) for cell in cells])
    return voids.findings()


def test_a_closed_box_is_a_void_of_its_volume():
    hollow = box(20, 20, 380, 280)
    (only,) = found_in([(WHOLE, []), *[(WHOLE, [hollow])] * 3, (WHOLE, [])])

    assert (only.code, only.layer, only.unit) == ("void", 1, "mm3")
    assert only.measured == pytest.approx(360 * 260 * 12, rel=1e-12)


def test_many_voids_alike_share_one_row():
    cells = [box(10 + 35 * k, 20, 40 + 35 * k, 280) for k in range(10)]
    found = found_in([(WHOLE, []), *[(WHOLE, cells)] * 3, (WHOLE, [])])

    assert [each.code for each in found] == ["void"] * 4
    # ten boxes of 30 x 260 x 12: three by themselves, seven together
    assert [each.measured for each in found] == pytest.approx([30 * 260 * 12] * 3 + [7 * 30 * 260 * 12])
    assert found[-1].text.startswith("7 further closed hollow spaces of 0.655 dm3 together in layers 1 to 3")
    # a fourth one is told like the first three
    assert len(found_in([(WHOLE, []), (WHOLE, cells[:4]), (WHOLE, [])])) == 4


def test_a_cavity_of_the_part_is_a_void_and_one_that_opens_is_none():
    hollow = box(100, 100, 200, 180)
    turned = path(hollow.points[::-1], [0.0] * 4)
    pierced = region(box(0, 0, 400, 300), turned)
    (only,) = found_in([(WHOLE, []), *[(pierced, [])] * 3, (WHOLE, [])])

    assert (only.code, only.layer) == ("void", 1)
    assert only.measured == pytest.approx(100 * 80 * 12, rel=1e-12)
    # a hole from below, one from above, and one through the side in the uppermost of its layers
    notched = region(box(0, 0, 150, 300))
    assert found_in([*[(pierced, [])] * 3, (WHOLE, [])]) == ()
    assert found_in([(WHOLE, []), *[(pierced, [])] * 3]) == ()
    assert found_in([(WHOLE, []), (pierced, []), (notched, []), (WHOLE, [])]) == ()


def test_what_stands_in_a_cavity_is_no_void():
    turned = path(box(100, 100, 200, 180).points[::-1], [0.0] * 4)
    pierced = region(box(0, 0, 400, 300), turned, box(120, 120, 140, 150))
    (only,) = found_in([(WHOLE, []), (pierced, []), (WHOLE, [])])

    assert only.measured == pytest.approx((100 * 80 - 20 * 30) * 4, rel=1e-12)


def test_a_pore_is_no_void():
    assert found_in([(WHOLE, []), (WHOLE, [box(20, 20, 25, 24.9)]), (WHOLE, [])]) == ()
    assert len(found_in([(WHOLE, []), (WHOLE, [box(20, 20, 25, 25.1)]), (WHOLE, [])])) == 1


def test_an_open_top_an_open_base_and_a_step_vent():
    hollow = box(20, 20, 380, 280)
    ledge = region(box(0, 0, 300, 300))

    assert found_in([(WHOLE, []), (WHOLE, [hollow]), (WHOLE, [hollow])]) == ()
    assert found_in([(WHOLE, [hollow]), (WHOLE, [hollow]), (WHOLE, [])]) == ()
    assert found_in([(WHOLE, []), (WHOLE, [hollow]), (ledge, [box(20, 20, 280, 280)]), (ledge, [])]) == ()


def test_cells_are_joined_where_they_meet_and_else_told_apart():
    left, right, both = box(20, 20, 150, 280), box(200, 20, 380, 280), box(20, 20, 380, 280)
    apart = found_in([(WHOLE, []), *[(WHOLE, [left, right])] * 2, (WHOLE, [])])
    joined = found_in([(WHOLE, []), (WHOLE, [left, right]), (WHOLE, [both]), (WHOLE, [])])

    assert [f.measured for f in apart] == pytest.approx([180 * 260 * 8, 130 * 260 * 8])
    assert [f.measured for f in joined] == pytest.approx([(310 + 360) * 260 * 4])


def test_a_ring_shaped_hollow_under_a_closed_lid_is_a_void():
    disc, ring = circle(0, 0, 200), (circle(0, 0, 180), circle(0, 0, 100, -1))
    voids = Voids()
    whole = region(disc)
    for index in range(4):
        cells = [region(*ring)] if index in (1, 2) else []
        voids.add(index, 4.0 * index + 4, 4.0, whole, cells)
    (only,) = voids.findings()

    assert only.measured == pytest.approx(np.pi * (180**2 - 100**2) * 8, rel=1e-9)


def ring(out, into):
    """A square ring from half a side to another, about (200, 150)."""
    hole = path(box(200 - into, 150 - into, 200 + into, 150 + into).points[::-1], [0.0] * 4)
    return region(box(200 - out, 150 - out, 200 + out, 150 + out), hole)


@pytest.mark.parametrize(
    ("upper", "joined"), [(ring(120, 60), True), (ring(140, 110), False), (ring(40, 20), False)]
)
def test_cells_whose_boundaries_are_apart_are_one_space_where_they_overlap(upper, joined):
    # a ring from 50 to 100 under one from 60 to 120, round it, or in its hole: no boundary meets another
    lower = ring(100, 50)
    voids = Voids()
    for index, cells in enumerate(([], [lower], [upper], [])):
        voids.add(index, 4.0 * (index + 1), 4.0, WHOLE, cells)
    sizes = [region_area(each) * 4.0 for each in (lower, upper)]

    expected = [sum(sizes)] if joined else sorted(sizes, reverse=True)
    assert [each.measured for each in voids.findings()] == pytest.approx(expected)
