"""Rows of boxes on a rectangle: nothing overlaps, nothing leaves it, and what has no room is named."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.pipeline._layout import Ground, in_rows, meets


def ground(blocked=()):
    return Ground(
        low=np.array([-200.0, -100.0]),
        high=np.array([200.0, 100.0]),
        blocked=np.array(blocked, dtype=float).reshape(-1, 2, 2),
    )


def boxes(middles, sizes):
    half = np.array(sizes) / 2
    return np.stack([np.array(middles) - half, np.array(middles) + half], axis=1)


def test_four_equal_boxes_make_a_square_block_about_the_middle():
    # 60 + 20 + 60 wide, 40 + 20 + 40 deep
    found = in_rows([(60.0, 40.0)] * 4, gap=20.0, middle=(10.0, 5.0), ground=ground())

    assert found == ((-30.0, -25.0), (50.0, -25.0), (-30.0, 35.0), (50.0, 35.0))


def test_rows_go_past_what_is_blocked():
    sizes = [(60.0, 40.0)] * 9
    place = ground([[[-50.0, -100.0], [0.0, -20.0]]])
    found = in_rows(sizes, gap=20.0, middle=(0.0, 0.0), ground=place)

    assert not isinstance(found, int)
    assert place.takes(boxes(found, sizes))
    grown = boxes(found, sizes) + np.array([[-10.0, -10.0], [10.0, 10.0]]) * (1 - 1e-9)
    for row, box in enumerate(grown):
        assert not meets(box, np.delete(grown, row, axis=0)).any()


def test_the_first_box_without_room_is_named():
    # 5 columns of 60 with 20 between are 380 of 400 mm, 3 rows of 40 with 20 are 160 of 200 mm: 15, not 16
    sizes = [(60.0, 40.0)] * 16
    assert in_rows(sizes, gap=20.0, middle=(0.0, 0.0), ground=ground()) == 15
    assert not isinstance(in_rows(sizes[:15], gap=20.0, middle=(0.0, 0.0), ground=ground()), int)
    assert in_rows([(401.0, 10.0)], gap=20.0, middle=(0.0, 0.0), ground=ground()) == 0
    everywhere = ground([[[-300.0, -300.0], [300.0, 300.0]]])
    assert in_rows([(10.0, 10.0)], gap=20.0, middle=(0.0, 0.0), ground=everywhere) == 0


@pytest.mark.parametrize("seed", range(5))
def test_any_boxes_and_blocks(seed):
    rng = np.random.default_rng(seed)
    sizes = [(float(w), float(d)) for w, d in rng.uniform(5.0, 60.0, (8, 2))]
    corners = rng.uniform([-200.0, -100.0], [150.0, 60.0], (3, 2))
    place = ground(np.stack([corners, corners + rng.uniform(5.0, 50.0, (3, 2))], axis=1))
    found = in_rows(sizes, gap=4.0, middle=(0.0, 0.0), ground=place)

    assert not isinstance(found, int)
    own = boxes(found, sizes)
    assert place.takes(own)
    grown = own + np.array([[-2.0, -2.0], [2.0, 2.0]]) * (1 - 1e-9)
    for row, box in enumerate(grown):
        assert not meets(box, np.delete(grown, row, axis=0)).any()
