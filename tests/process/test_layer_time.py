"""Return times and paces on rings, whose lengths and times have closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.curves import ArcPath
from beadwright.process import (
    MotionLimits,
    pace,
    profiles,
    return_times,
    slowest_feed,
    straight_time,
    time_findings,
    track,
)

# So stiff that ramps do not count.
STIFF = MotionLimits(acceleration=1e12, centripetal=1e12, traverse=1e6)


def ring(radius, start=0.0, x=0.0):
    at = radius * np.exp(1j * (np.array([0, math.pi]) + start)) + x
    return ArcPath(
        points=np.column_stack([at.real, at.imag]),
        bulge=np.ones(2),
        face=np.zeros(2, np.int32),
        support=np.zeros(2, np.int32),
    )


def test_places_lie_on_the_arc_and_their_times_follow_it():
    path = ring(100.0)
    (motion,) = profiles([path], [50.0], STIFF)
    found = track([path], [motion], [7.0], pitch=8.0)

    angle = np.unwrap(np.arctan2(found.points[:, 1], found.points[:, 0]))
    assert np.hypot(*found.points.T) == pytest.approx(100.0)
    assert found.time == pytest.approx(7.0 + angle * 100.0 / 50.0, rel=1e-9)
    assert found.weight.sum() == pytest.approx(2 * math.pi * 100)
    assert found.weight.max() <= 8.0


def test_a_ring_laid_again_at_once_returns_after_its_own_time():
    path, time = ring(495.0), 2 * math.pi * 495 / 100
    (motion,) = profiles([path], [100.0], STIFF)
    low, high = (track([path], [motion], [t], pitch=5.0) for t in (0.0, time))

    found = return_times(high, low, reach=8.4)

    assert found.least == pytest.approx(time, abs=1e-6)
    assert found.median == pytest.approx(time, abs=1e-6)
    assert found.greatest == pytest.approx(time, abs=1e-6)
    assert found.lies_on == 1.0


def test_a_ring_laid_from_its_other_side_is_early_here_and_late_there():
    # Started half a turn further, places see T - T / 2 and T + T / 2.
    time = 2 * math.pi * 100 / 50
    paths = ring(100.0), ring(100.0, start=math.pi)
    low, high = (
        track([p], profiles([p], [50.0], STIFF), [t], pitch=1.0)
        for p, t in zip(paths, (0.0, time), strict=True)
    )

    found = return_times(high, low, reach=8.4)

    assert found.least == pytest.approx(time / 2, rel=0.01)
    assert found.greatest == pytest.approx(3 * time / 2, rel=0.01)


def test_what_hangs_over_does_not_count():
    small, large = ring(100.0), ring(300.0)
    low = track([small], profiles([small], [50.0], STIFF), [0.0], pitch=5.0)
    high = track([small, large], profiles([small, large], [50.0] * 2, STIFF), [60.0, 80.0], pitch=5.0)

    found = return_times(high, low, reach=8.4)

    assert found.lies_on == pytest.approx(0.25, rel=1e-9)
    assert found.greatest == pytest.approx(60.0, abs=1e-6)
    assert (
        return_times(track([large], profiles([large], [50.0], STIFF), [9.0], pitch=5.0), low, reach=8.4)
        is None
    )


def test_feed_of_a_ring_at_the_least_layer_time():
    # v = L / t: 2 pi 495 / 60 = 51.8363 mm/s.
    found = pace(lambda v: 2 * math.pi * 495 / v, feed=100.0, least=60.0, slowest=10.0)

    assert found.feed == pytest.approx(51.8363, rel=1e-6)
    assert found.dwell == 0.0


def test_feed_is_found_with_ramps_and_traverses_too():
    def time(v):
        return 12.0 + straight_time(700.0, v, 800.0)

    found = pace(time, feed=150.0, least=40.0, slowest=1.0)

    assert time(found.feed) == pytest.approx(40.0, rel=1e-8)


def test_what_the_screw_cannot_slow_down_is_waited():
    slowest = slowest_feed(output=33.6 * 1.14e-6 * 60.0, area=33.6, density=1.14e-6)
    found = pace(lambda v: 2 * math.pi * 495 / v, feed=100.0, least=60.0, slowest=slowest)

    assert found.feed == pytest.approx(60.0)
    assert found.dwell == pytest.approx(60.0 - 2 * math.pi * 495 / 60.0)


def test_a_slow_layer_stays_as_it_is():
    assert pace(lambda v: 1000 / v, feed=10.0, least=60.0, slowest=1.0).feed == 10.0
    assert pace(lambda v: 1000 / v, feed=100.0, least=0.0, slowest=1.0).feed == 100.0


def test_layers_outside_the_window_are_told():
    rows = [(0, 20.0), (1, 60.0), (2, 200.0), (3, 15.0)]

    found = time_findings(rows, least=30.0, greatest=120.0)

    assert [(f.code, f.layer, f.measured) for f in found] == [
        ("layer-too-fast", 3, 15.0),
        ("layer-too-slow", 2, 200.0),
    ]
