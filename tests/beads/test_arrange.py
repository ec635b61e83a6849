"""Order of beads and start points that do not stand above each other."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.beads import Trail, arrange
from beadwright.curves import length
from tests.post._build_programs import bead, circle, path

WIDTH = 8.4


def stack(beads, layers, order="outer"):
    trail, out = Trail(), []
    for index in range(layers):
        out.append(arrange(beads, trail, layer=index, z=4.0 * (index + 1), order=order))
        trail = out[-1].trail
    return out


def ring_beads():
    return [
        bead(circle(0, 0, 195.8), rank=1, loop=0),
        bead(circle(0, 0, 187.4), rank=2, loop=0),
        bead(circle(0, 0, 104.2, -1), rank=1, loop=1, hole=True),
        bead(circle(0, 0, 112.6, -1), rank=2, loop=1, hole=True),
    ]


def test_start_points_keep_three_widths_from_those_of_two_layers_below():
    starts = [np.array([b.start for b in layer.beads]) for layer in stack(ring_beads(), 12)]

    for layer, own in enumerate(starts):
        for below in starts[max(layer - 2, 0) : layer]:
            apart = np.hypot(*(own[:, None] - below[None]).transpose(2, 0, 1))
            assert apart.min() >= 3 * WIDTH
        inside = np.hypot(*(own[:, None] - own[None]).transpose(2, 0, 1)) + 1e9 * np.eye(len(own))
        assert inside.min() >= 3 * WIDTH


def test_every_bead_is_laid_once_and_keeps_its_length():
    beads = ring_beads()
    for layer in stack(beads, 4):
        assert sorted(length(b.path) for b in layer.beads) == pytest.approx(
            sorted(length(b.path) for b in beads)
        )
        assert layer.bound < 1e-12
        assert layer.findings == ()


@pytest.mark.parametrize(("order", "ranks"), [("outer", [1, 2, 1, 2]), ("inner", [2, 1, 2, 1])])
def test_ranks_of_a_loop_stay_together_in_the_stated_order(order, ranks):
    for layer in stack(ring_beads(), 3, order=order):
        assert [b.rank for b in layer.beads] == ranks
        assert layer.beads[0].loop == layer.beads[1].loop


def test_the_nearest_loop_comes_next():
    beads = [bead(circle(x, 0, 30), loop=i) for i, x in enumerate([0, 300, 100, 200])]
    first = stack(beads, 1)[0]

    assert [b.loop for b in first.beads] == [0, 2, 3, 1]


def test_a_bead_too_short_for_the_distance_is_a_finding_and_still_starts_farthest():
    first, second = stack([bead(circle(0, 0, 5.0))], 2)
    (found,) = second.findings

    assert first.findings == ()
    assert (found.code, found.level, found.layer, found.unit) == ("closure", "note", 1, "mm")
    assert found.measured == pytest.approx(10.0, rel=0.02)
    assert found.allowed == pytest.approx(3 * WIDTH)
    assert math.dist(first.beads[0].start, second.beads[0].start) == found.measured


def test_open_beads_start_at_the_nearer_end_and_keep_both():
    line = path([[0, 0], [500, 0]], [0], closed=False)
    other = path([[510, 10], [0, 10]], [0], closed=False)
    beads = [bead(line, role="wall"), bead(other, role="wall", loop=1)]
    layers = stack(beads, 2)

    assert [b.start for b in layers[0].beads] == [(0.0, 0.0), (510.0, 10.0)]
    # the nozzle now stands at (0, 10)
    assert [b.start for b in layers[1].beads] == [(0.0, 10.0), (500.0, 0.0)]
    assert [b.end for b in layers[1].beads] == [(510.0, 10.0), (0.0, 0.0)]


def test_the_same_input_gives_the_same_beads():
    one, two = stack(ring_beads(), 5), stack(ring_beads(), 5)

    assert all(
        (a.path.points == b.path.points).all()
        for x, y in zip(one, two, strict=True)
        for a, b in zip(x.beads, y.beads, strict=True)
    )


def test_no_beads_leave_the_trail_where_it_was():
    done = stack(ring_beads(), 1)[0]
    empty = arrange([], done.trail, layer=1, z=8.0)

    assert empty.beads == ()
    assert (empty.trail.end == done.trail.end).all()
