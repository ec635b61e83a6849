"""Places that no bead reaches, on regions and beads whose answer is known by construction."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.beads._loops import nearest_loop
from beadwright.beads._thin import thin_places
from beadwright.curves import ArcRegion
from tests.post._build_programs import bead, circle, path

W = 8.4


def region(*loops):
    return ArcRegion(loops=loops, supports=np.zeros((0, 4)))


def polygon(points):
    return path(points, [0.0] * len(points))


def found(loops, beads):
    return thin_places(region(*loops), beads, width=W, layer=5, z=24.0)


def test_a_ring_that_has_its_bead_has_no_thin_place():
    assert found([circle(0, 0, 50), circle(0, 0, 41.6, -1)], [bead(circle(0, 0, 45.8))]) == ()


def test_o10_a_wall_thinner_than_a_bead_is_reported():
    (place,) = found([circle(0, 0, 50), circle(0, 0, 44, -1)], [])

    assert (place.code, place.level, place.layer, place.unit) == ("thin", "warning", 5, "mm")
    # a ring wall of 6 mm holds discs of 6 mm
    assert place.measured == pytest.approx(6.0, rel=2e-3)
    assert place.allowed == W
    assert f"{2 * np.pi * 94:.1f} mm of the boundary" in place.text


def test_a_thin_rib_between_two_blocks_is_one_place_of_its_width():
    # two squares of 60 joined by a rib 5 wide and 40 long
    block = [
        [0, 0], [60, 0], [60, 27.5], [100, 27.5], [100, 0], [160, 0],
        [160, 60], [100, 60], [100, 32.5], [60, 32.5], [60, 60], [0, 60],
    ]  # fmt: skip
    r = W / 2
    squares = [
        polygon([[x + r, r], [x + 60 - r, r], [x + 60 - r, 60 - r], [x + r, 60 - r]]) for x in (0, 100)
    ]
    (place,) = found([polygon(block)], [bead(s) for s in squares])

    assert place.measured == pytest.approx(5.0, rel=1e-9)
    assert 60 < place.at_mm[0] < 100
    assert place.at_mm[2] == 24.0


def test_right_angled_corners_are_no_thin_places():
    r = W / 2
    inner = polygon([[r, r], [100 - r, r], [100 - r, 100 - r], [r, 100 - r]])

    assert found([polygon([[0, 0], [100, 0], [100, 100], [0, 100]])], [bead(inner)]) == ()


def test_two_thin_lugs_are_two_places():
    lugs = [polygon([[x, 0], [x + 5, 0], [x + 5, 40], [x, 40]]) for x in (0, 100)]

    assert len(found(lugs, [])) == 2


def test_an_empty_region_has_none():
    assert found([], []) == ()


def test_a_bead_belongs_to_the_loop_it_runs_beside():
    loops = [circle(0, 0, 195.8), circle(0, 0, 104.2, -1), circle(500, 0, 50)]

    assert nearest_loop(circle(0, 0, 187.4), loops) == 0
    assert nearest_loop(circle(0, 0, 112.6, -1), loops) == 1
    assert nearest_loop(circle(500, 0, 40), loops) == 2
