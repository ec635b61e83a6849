"""What hangs over, in closed form: discs, rings, lids, and parts that begin in the air."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from beadwright.curves import ArcRegion
from beadwright.layers import greatest_reach, hanging
from tests.post._build_programs import circle, path

NONE = np.zeros((0, 4))


def region(*loops):
    faced = (replace(loop, face=np.full_like(loop.face, row)) for row, loop in enumerate(loops))
    return ArcRegion(loops=tuple(faced), supports=NONE)


def test_a_cone_that_widens_by_its_height_does_not_hang_over_at_45_degrees():
    # run h tan(lean) = 4 at 45 degrees
    assert hanging(region(circle(0, 0, 54)), region(circle(0, 0, 50)), reach=4.0 + 1e-6) == ()


def test_a_cone_that_widens_by_more_hangs_over_by_a_ring():
    # 60 degrees: run 6.928; the ring beyond a reach of 4
    wide, below = region(circle(0, 0, 50 + 4 * math.sqrt(3))), region(circle(0, 0, 50))
    (piece,) = hanging(wide, below, reach=4.0)

    assert piece.area == pytest.approx(math.pi * ((50 + 4 * math.sqrt(3)) ** 2 - 54**2), rel=1e-9)
    assert (piece.face, piece.air) == (0, False)
    assert greatest_reach(wide, below, 4.0) == pytest.approx(4 * math.sqrt(3), abs=0.01)


def test_a_lid_over_an_opening_belongs_to_no_face():
    # a hole of 30 closed at once: what lies beyond 4 of its rim is a disc of 26; its middle is 30 away
    below = region(circle(0, 0, 100), circle(0, 0, 30, -1))
    whole = region(circle(0, 0, 100))
    (piece,) = hanging(whole, below, reach=4.0)

    assert piece.area == pytest.approx(math.pi * 26**2, rel=1e-9)
    assert piece.face == -1
    # from rim to rim
    assert piece.span == pytest.approx(60.0, abs=0.02)
    assert greatest_reach(whole, below, 4.0) == pytest.approx(30.0, abs=0.01)


def box(x, y, w, d):
    return path([[x, y], [x + w, y], [x + w, y + d], [x, y + d]], [0.0] * 4)


@pytest.mark.parametrize(
    ("below", "above", "span"),
    [
        # two legs of 20 with 80 between them; one leg: a bracket; a bay of three walls, 40 wide and 60 deep
        ([box(0, 0, 20, 30), box(100, 0, 20, 30)], box(0, 0, 120, 30), 80.0),
        ([box(0, 0, 20, 30)], box(0, 0, 120, 30), None),
        (
            [path([[0, 0], [60, 0], [60, 80], [50, 80], [50, 20], [10, 20], [10, 80], [0, 80]], [0.0] * 8)],
            box(0, 0, 60, 80),
            40.0,
        ),
        # round the outside of a corner, and along two sides of an inner one
        ([box(0, 0, 50, 50)], box(-20, -20, 70, 70), None),
        (
            [path([[0, 0], [80, 0], [80, 20], [20, 20], [20, 80], [0, 80]], [0.0] * 6)],
            box(0, 0, 80, 80),
            None,
        ),
    ],
)
def test_what_is_held_from_two_sides_is_a_span(below, above, span):
    (piece,) = hanging(region(above), region(*below), reach=4.0)

    if span is None:
        assert piece.span is None
    else:
        assert piece.span == pytest.approx(span, abs=0.02)


def test_a_part_in_the_air_is_told_from_one_that_leans():
    below = region(circle(0, 0, 50))
    # one stands beside the layer below without touching it, another on it
    pieces = hanging(region(circle(0, 0, 50), circle(52.5, 0, 1)), below, reach=4.0)
    assert pieces == ()  # a drop beside it is within the reach
    pieces = hanging(region(circle(0, 0, 50), circle(100, 0, 10)), below, reach=4.0)
    assert [(p.air, p.area) for p in pieces] == [(True, pytest.approx(math.pi * 100, rel=1e-9))]
    assert hanging(region(circle(0, 0, 5)), region(), reach=4.0)[0].air


def test_beside_each_other_in_the_order_of_the_layer():
    post = path([[0, 0], [10, 0], [10, 10], [0, 10]], [0.0] * 4)
    shelf = path([[0, 0], [30, 0], [30, 10], [0, 10]], [0.0] * 4)
    (piece,) = hanging(region(shelf), region(post), reach=4.0)

    # beyond x = 14
    assert piece.area == pytest.approx(16 * 10, rel=1e-9)
    assert greatest_reach(region(shelf), region(post), 4.0) == pytest.approx(20.0, abs=0.01)
