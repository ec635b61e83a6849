"""Pieces of closed paths as one path that climbs: circles in closed form, brute force for the nearest place."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from beadwright.beads import Level, stepped, stretches
from beadwright.curves import ArcPath, length
from beadwright.errors import GeometryError


def path(points, bulge, *, closed=True):
    none = np.full(len(bulge), -1, np.int32)
    return ArcPath(
        points=np.array(points, float), bulge=np.array(bulge, float), face=none, support=none, closed=closed
    )


def circle(radius, turn=1):
    return path([[radius, 0], [-radius, 0]], [turn, turn])


def test_pieces_meet_at_the_radius_of_their_height():
    """Circles of a cone, radius 50 - height: joints lie where their own height has them."""
    count = 8
    levels = [
        Level(
            path=circle(50 - (k + 0.5) / count),
            first=k / count,
            last=(k + 1) / count,
            height=(k + 0.5) / count,
            begin=k / count,
            end=(k + 1) / count,
        )
        for k in range(count)
    ]
    laid = list(stretches(levels, (50.0, 0.0)))
    for k, piece in enumerate(laid):
        assert piece.path.points[0] == pytest.approx(
            (50 - k / count) * np.array([math.cos(math.tau * k / count), math.sin(math.tau * k / count)]),
            abs=1e-9,
        )
        # By half of a step of the radius at both ends.
        assert (
            piece.moved == pytest.approx(0.5 / count, rel=0.1)
            if k < count - 1
            else piece.moved <= 0.55 / count
        )
        assert (piece.share[0], piece.share[-1]) == pytest.approx((k / count, (k + 1) / count))
    for one, other in itertools.pairwise(laid):
        assert (one.path.points[-1] == other.path.points[0]).all()


def test_a_path_the_other_way_round_is_turned():
    levels = [
        Level(
            path=circle(20, turn), first=first, last=first + 0.5, height=first, begin=first, end=first + 0.5
        )
        for first, turn in ((0.0, 1), (0.5, -1))
    ]
    laid = list(stretches(levels, (20.0, 0.0)))
    assert sum(length(piece.path) for piece in laid) == pytest.approx(40 * math.pi)
    assert laid[1].path.points[-1] == pytest.approx([20.0, 0.0])


def test_steps_split_a_turn_evenly():
    (whole,) = stretches(
        [Level(path=circle(30), first=0.0, last=1.0, height=0.0, begin=0.0, end=1.0)], (30.0, 0.0)
    )
    cut = stepped(whole, 0.02)
    assert np.diff(cut.share).max() <= 0.02 + 1e-12
    assert length(cut.path) == pytest.approx(60 * math.pi)


def test_a_piece_that_would_run_backwards_is_refused():
    """The second path lies across the first: what is nearest lies half way round it, past the end of its own part."""
    flat = path([[100, -1], [100, 1], [-100, 1], [-100, -1]], [0, 0, 0, 0])
    tall = path([[1, -100], [1, 100], [-1, 100], [-1, -100]], [0, 0, 0, 0])
    levels = [
        Level(path=flat, first=0.0, last=0.4, height=0.0, begin=0.0, end=0.4),
        Level(path=tall, first=0.4, last=0.41, height=0.5, begin=0.4, end=0.5),
    ]
    with pytest.raises(GeometryError, match="cannot rise"):
        list(stretches(levels, (100.0, 1.0)))


def test_what_goes_on_from_nothing_begins_where_its_own_height_has_it():
    """Of a cone, radius 50 - height: the first piece stands for heights from 0 to 1/4 and was cut at 1/8."""
    levels = [
        Level(
            path=circle(50 - (k + 0.5) / 4),
            first=k / 4,
            last=(k + 1) / 4,
            height=(k + 0.5) / 4,
            begin=k / 4,
            end=(k + 1) / 4,
        )
        for k in range(4)
    ]
    for start in ((50.0, 0.0), (47.0, 0.0)):
        first = next(iter(stretches(levels, start, goes_on=False)))
        assert first.path.points[0] == pytest.approx([50.0, 0.0], abs=1e-9)
        assert first.moved == pytest.approx(0.125, rel=0.1)
    half = list(stretches(levels[2:], (50.0, 0.0), goes_on=False))
    assert half[0].path.points[0] == pytest.approx([-49.5, 0.0], abs=1e-9)
