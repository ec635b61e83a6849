"""Order of beads and start points that do not stand above each other."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from beadwright.beads import SiteRule, Trail, arrange
from beadwright.beads._shorten import nearest_order, shortened, traverse_length
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


def test_fill_comes_after_the_contours_and_every_bead_once():
    lines = [
        bead(path([[-100, y], [100, y]], [0], closed=False), role="fill", rank=3, loop=9 + i)
        for i, y in enumerate([40.0, -40.0, 0.0, 20.0, -20.0])
    ]
    (only,) = stack([lines[0], *ring_beads(), *lines[1:]], 1)
    roles = [b.role for b in only.beads]

    assert roles == ["contour"] * 4 + ["fill"] * 5
    assert {b.loop for b in only.beads} == {0, 1, 9, 10, 11, 12, 13}
    # lines side by side are laid there and back
    rows = [b.start[1] for b in only.beads[4:]]
    assert rows in (sorted(rows), sorted(rows, reverse=True))


@pytest.mark.parametrize("seed", range(6))
def test_shorter_traverses_keep_every_bead_and_never_grow(seed):
    rng = np.random.default_rng(seed)
    ends = rng.uniform(0, 500, (60, 1, 2)) + rng.normal(0, 30, (60, 2, 2))
    place = np.array([0.0, 0.0])
    near = nearest_order(ends, place)
    short = shortened(ends, *near, place)

    assert sorted(short[0].tolist()) == list(range(60))
    assert traverse_length(ends, *short, place) < 0.95 * traverse_length(ends, *near, place)
    again = shortened(ends, *nearest_order(ends, place), place)
    assert all((a == b).all() for a, b in zip(short, again, strict=True))


def test_the_shortest_order_of_a_small_set_against_all_orders():
    """Four beads on a line: brute force over all orders and directions gives the least traverse."""
    ends = np.array([[[0, 0], [10, 0]], [[50, 0], [60, 0]], [[20, 5], [30, 5]], [[80, 0], [70, 0]]], float)
    place = np.array([-1.0, 0.0])
    best = min(
        traverse_length(ends, np.array(order), np.array(turned), place)
        for order in itertools.permutations(range(4))
        for turned in itertools.product([False, True], repeat=4)
    )

    assert traverse_length(
        ends, *shortened(ends, *nearest_order(ends, place), place), place
    ) == pytest.approx(best)


def square(**other):
    """A closed bead round a square, each side with its own face 0 to 3: below, right, above, left."""
    line = path([[0, 0], [300, 0], [300, 300], [0, 300]], [0, 0, 0, 0])
    return bead(replace(line, face=np.arange(4, dtype=np.int32)), **other)


def starts_by(rule, layers=6):
    trail, out = Trail(), []
    for index in range(layers):
        done = arrange([square()], trail, layer=index, z=4.0 * index, rule=rule)
        trail = done.trail
        out.append(done.beads[0].start)
        assert done.findings == ()
    return np.array(out)


def test_start_points_along_a_named_face_and_off_another():
    on = starts_by(SiteRule(on=frozenset({1})))
    off = starts_by(SiteRule(off=frozenset({0, 1, 3})))

    assert (on[:, 0] == 300).all()
    assert ((on[:, 1] > 0) & (on[:, 1] < 300)).all()
    assert (off[:, 1] == 300).all()
    assert (np.hypot(*np.diff(on, axis=0).T) >= 3 * WIDTH).all()


def test_start_points_in_line_and_spread():
    line = starts_by(SiteRule(kind="line"))
    spread = starts_by(SiteRule(kind="spread"))

    assert (np.hypot(*np.diff(line, axis=0).T) < 1e-9).all()
    # of a square the place farthest from a start point is at least half a side away
    assert (np.hypot(*np.diff(spread, axis=0).T) > 150).all()


def test_the_stagger_that_was_asked_for_is_kept():
    wide = starts_by(SiteRule(stagger=8.0))

    assert (np.hypot(*np.diff(wide, axis=0).T) >= 8 * WIDTH).all()
