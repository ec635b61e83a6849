"""Necks: what is there or not within the bounds is told; one narrower by 1.5 times the error is not lost."""

from __future__ import annotations

from itertools import pairwise

import pytest

from beadwright.arcs import lost, offset
from beadwright.arcs._region_lost import DELTA
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


@pytest.mark.parametrize("long", [20.0, 61.0])
def test_a_neck_has_its_place_length_and_width(long: float) -> None:
    """The lost part is the corridor's middle line between the rooms' corners, less `DELTA` at each of its ends."""
    error = 1e-3
    (neck,) = (
        p for p in lost(corridor(10.0 - 1e-6, long), distance=DISTANCE, error=error) if p.kind == "neck"
    )

    assert neck.at == pytest.approx((40.0 + long / 2.0, 20.0), abs=2.0)
    # Beside a corner the offset of one distance ends in a cusp, which reaches less far by some sqrt(2 r error).
    assert long - 2.0 * DELTA - 2.0 * (2.0 * DISTANCE * error) ** 0.5 <= neck.length <= long
    assert 2.0 * (DISTANCE - error) <= neck.width <= 2.0 * DISTANCE


@pytest.mark.parametrize(("share", "is_lost"), [(0.5, True), (1.5, False)])
def test_a_dead_end_has_its_place_length_and_width(share: float, is_lost: bool) -> None:
    """A room with a corridor 30 long that ends in a wall: its middle line goes on to one distance before the wall."""
    error, long = 1e-3, 30.0
    half = DISTANCE - share * error
    low, high, end = 20.0 - half, 20.0 + half, 40.0 + long
    room = [[0, 0], [40, 0], [40, low], [end, low], [end, high], [40, high], [40, 40], [0, 40]]
    places = [
        p
        for p in lost(make.region(make.path(room)), distance=DISTANCE, error=error)
        if p.kind == "neck" and p.at[0] > 40.0
    ]

    assert bool(places) is is_lost
    for place in places:
        ends = (40.0, end - DISTANCE + error)
        assert ends[0] < place.at[0] < ends[1]
        assert place.at[1] == pytest.approx(20.0, abs=error)
        whole = ends[1] - ends[0]
        assert whole - DELTA - (2.0 * DISTANCE * error) ** 0.5 <= place.length <= whole
        assert 2.0 * (DISTANCE - error) <= place.width <= 2.0 * DISTANCE


def test_a_ring_wall_of_two_distances_is_lost_all_round() -> None:
    """Between circles of radius 60 and 50 + 1e-6 the middle line is a circle of radius 55."""
    ring = make.region(make.circle(0, 0, 60), make.circle(0, 0, 50.0 + 1e-6, hole=True))

    (place,) = lost(ring, distance=DISTANCE, error=1e-3)

    radii = [(x * x + y * y) ** 0.5 for x, y in place.along]
    assert radii == pytest.approx([55.0] * len(radii), abs=2e-3)
    assert len(radii) == pytest.approx(2.0 * 3.14159265 * 55.0 / 4.0, abs=1.0)
    assert 2.0 * (DISTANCE - 1e-3) <= place.width <= 2.0 * DISTANCE
