"""Necks: what is there or not within the bounds is told; one narrower by 1.5 times the error is not lost."""

from __future__ import annotations

from itertools import pairwise

import pytest

from beadwright.arcs import lost, offset
from tests.arcs import _build_regions as make

DISTANCE = 5.0


def corridor(width: float, long: float = 20.0):
    low = [[0, 0], [40, 0], [40, 15], [40 + long, 15], [40 + long, 0], [80 + long, 0], [80 + long, 40]]
    high = [[40 + long, 40], [40 + long, 15 + width], [40, 15 + width], [40, 40], [0, 40]]
    return make.region(make.path([*low, *high]))


@pytest.mark.parametrize("error", [0.01, 1e-3, 2.5e-4])
@pytest.mark.parametrize("share", [0.5, 1.5])
def test_a_corridor_narrower_than_two_distances(error: float, share: float) -> None:
    """Half the corridor lacks ``share`` errors: with 0.5 the true region may let the bead through."""
    region = corridor(2.0 * (DISTANCE - share * error))

    places = [p for p in lost(region, distance=DISTANCE, error=error) if p.kind == "neck"]

    assert len(offset(region, distance=DISTANCE).region.loops) == 2
    assert bool(places) is (share < 1.0)


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_a_corridor_wider_than_two_distances_loses_nothing(share: float) -> None:
    assert lost(corridor(2.0 * (DISTANCE + share * 1e-3)), distance=DISTANCE, error=1e-3) == ()


@pytest.mark.parametrize("long", [1.0, 20.0, 61.0])
def test_places_along_a_neck_stand_for_four_millimetres_at_most(long: float) -> None:
    (neck,) = (
        p for p in lost(corridor(10.0 - 1e-6, long), distance=DISTANCE, error=1e-3) if p.kind == "neck"
    )
    x = sorted(x for x, _ in neck.along)

    # The lost part is the corridor's middle line, from one room to the other, less 0.1 mm beside what is
    # printed, which is not lost.
    assert all(abs(y - 20.0) <= 0.01 for _, y in neck.along) or long < 2.0
    assert max((b - a for a, b in pairwise(x)), default=0.0) <= 4.0 + 1e-6
    assert x[0] <= 40.0 + 2.0 + 0.1
    assert x[-1] >= 40.0 + long - 2.0 - 0.1
