"""Motion time against closed forms of uniform acceleration and against a fine integration of the same limits."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from beadwright.curves import ArcPath, lengths
from beadwright.errors import SettingsError
from beadwright.process import MotionLimits, profiles, straight_time

LIMITS = MotionLimits(acceleration=1000.0, centripetal=1000.0, traverse=300.0)


def path(points, bulge=None, closed=False):
    points = np.asarray(points, float)
    m = len(points) if closed else len(points) - 1
    return ArcPath(
        points=points,
        bulge=np.zeros(m) if bulge is None else np.asarray(bulge, float),
        face=np.full(m, -1, np.int32),
        support=np.full(m, -1, np.int32),
        closed=closed,
    )


def test_a_line_with_room_for_both_ramps():
    # s / v + v / a, from standing to standing under uniform acceleration.
    (found,) = profiles([path([[0, 0], [1000, 0]])], [100.0], LIMITS)

    assert found.duration == pytest.approx(1000 / 100 + 100 / 1000, rel=1e-12)
    assert straight_time(1000.0, 100.0, 1000.0) == pytest.approx(found.duration, rel=1e-12)


def test_a_line_too_short_to_reach_its_speed():
    # 2 sqrt(s / a); stopping distance v^2 / (2 a) of 200 mm/s at 1000 mm/s2 is 20 mm.
    (found,) = profiles([path([[0, 0], [30, 0]])], [200.0], LIMITS)

    assert found.duration == pytest.approx(2 * math.sqrt(30 / 1000), rel=1e-12)
    assert straight_time(30.0, 200.0, 1000.0) == pytest.approx(found.duration, rel=1e-12)
    assert found.peak.max() == pytest.approx(math.sqrt(1000 * 30))


def test_a_line_cut_in_pieces_takes_as_long_as_whole():
    whole, cut = (
        profiles([path([[x, 0.3 * x] for x in xs])], [100.0], LIMITS)[0]
        for xs in ([0, 500], np.linspace(0, 500, 301))
    )

    assert cut.duration == pytest.approx(whole.duration, rel=1e-9)


def test_a_circle_is_no_faster_than_its_centripetal_limit():
    # Radius 4, a_c 1000: sqrt(4000) mm/s along 8 pi mm, less the ramps.
    (found,) = profiles([path([[4, 0], [-4, 0]], [1, 1], closed=True)], [100.0], LIMITS)
    v = math.sqrt(4000)

    assert found.peak.max() == pytest.approx(v)
    assert found.duration == pytest.approx(8 * math.pi / v + v / 1000, rel=1e-12)


def test_exact_path_stands_in_a_corner():
    square = path([[0, 0], [100, 0], [100, 100], [0, 100]], closed=True)
    (found,) = profiles([square], [100.0], LIMITS)

    assert found.duration == pytest.approx(4 * straight_time(100, 100, 1000), rel=1e-12)


def test_drives_take_a_small_step_in_velocity():
    # 2 v sin(theta / 2) = 10 mm/s at 90 degrees: v = 10 / sqrt(2).
    limits = MotionLimits(acceleration=1000.0, centripetal=1000.0, traverse=300.0, jump=10.0)
    (found,) = profiles([path([[0, 0], [100, 0], [100, 100]])], [100.0], limits)

    assert found.leave[0] == pytest.approx(10 / math.sqrt(2), rel=1e-9)


@pytest.mark.parametrize(
    ("turn", "radius", "speed"), [(60, 6.4641016, 80.4), (90, 2.414213562, 49.1346), (120, 1.0, 31.6)]
)
def test_fillet_that_leaves_the_corner_by_a_millimetre(turn, radius, speed):
    # delta = r (1 / cos(theta / 2) - 1), v^2 = a r.
    limits = MotionLimits(acceleration=1000.0, centripetal=1000.0, traverse=300.0, path_tolerance=1.0)
    theta = math.radians(turn)

    assert float(limits.fillet(theta)) == pytest.approx(radius, rel=1e-7)
    end = [200 + 200 * math.cos(theta), 200 * math.sin(theta)]
    (found,) = profiles([path([[0, 0], [200, 0], end])], [100.0], limits)
    assert found.leave[0] == pytest.approx(speed, abs=0.05)
    assert found.leave[0] == pytest.approx(math.sqrt(1000 * radius), rel=1e-6)


def test_a_fillet_needs_room():
    # Of a move of 1 mm half belongs to each corner: tangent length 0.5 at 90 degrees, so r = 0.5.
    limits = MotionLimits(acceleration=1000.0, centripetal=1000.0, traverse=300.0, path_tolerance=1.0)
    (found,) = profiles([path([[0, 0], [100, 0], [100, 1], [200, 1]])], [100.0], limits)

    assert found.leave[0] == pytest.approx(math.sqrt(1000 * 0.5), rel=1e-9)


def turning(seed, n=60):
    """A chain of lines and arcs that leave each other in the same direction, with some corners."""
    rng = np.random.default_rng(seed)
    points, bulge = [np.zeros(2)], []
    heading = 0.0
    for _ in range(n):
        run = float(rng.uniform(0.5, 60))
        sweep = float(rng.choice([0.0, 1.0]) * rng.uniform(-2.5, 2.5))
        if rng.random() < 0.2:
            heading += float(rng.uniform(-2, 2))
        half = heading + sweep / 2
        points.append(points[-1] + run * np.array([math.cos(half), math.sin(half)]))
        bulge.append(math.tan(sweep / 4))
        heading += sweep
    return path(points, bulge)


@pytest.mark.parametrize("tolerance", [None, 0.05, 1.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_against_a_fine_integration(seed, tolerance):
    limits = MotionLimits(
        acceleration=700.0, centripetal=400.0, traverse=300.0, jump=2.0, path_tolerance=tolerance
    )
    chain = turning(seed)
    (found,) = profiles([chain], [120.0], limits)

    assert found.duration == pytest.approx(integrated(chain, 120.0, limits), rel=2e-3)


def integrated(chain, feed, limits, step=0.02):
    """Speed on a fine grid: up as the acceleration allows, then back from the end; time by ds over mean speed."""
    points, bulge, run = chain.points, chain.bulge, lengths(chain)
    cap, at_corner, grid = [], [], []
    heading = None
    for i, b in enumerate(bulge):
        d = points[i + 1] - points[i]
        chord = math.hypot(*d)
        sweep = 4 * math.atan(b)
        v = feed
        if b:
            v = min(v, math.sqrt(limits.centripetal * chord / (2 * abs(math.sin(sweep / 2)))))
        start = math.atan2(d[1], d[0]) - sweep / 2
        corner = 0.0
        if heading is not None:
            theta = abs(math.remainder(start - heading, 2 * math.pi))
            corner = math.inf
            if theta > 1e-9:
                corner = limits.jump / (2 * math.sin(theta / 2))
                if limits.path_tolerance:
                    r = limits.path_tolerance / (1 / math.cos(theta / 2) - 1)
                    r = min(r, min(run[i], run[i - 1]) / 2 / math.tan(theta / 2))
                    corner = max(corner, math.sqrt(limits.centripetal * r))
        n = max(int(run[i] / step), 4)
        cap += [min(v, corner)] + [v] * (n - 1)
        if len(at_corner):
            cap[-n] = min(cap[-n], at_corner[-1])
        at_corner.append(v)
        grid += [run[i] / n] * n
        heading = start + sweep
    cap.append(0.0)
    cap[0] = 0.0
    v = np.array(cap)
    for i in range(len(grid)):
        v[i + 1] = min(v[i + 1], math.sqrt(v[i] ** 2 + 2 * limits.acceleration * grid[i]))
    for i in range(len(grid) - 1, -1, -1):
        v[i] = min(v[i], math.sqrt(v[i + 1] ** 2 + 2 * limits.acceleration * grid[i]))
    return float(np.sum(2 * np.array(grid) / (v[1:] + v[:-1])))


def test_place_in_time_and_back():
    chain = turning(5)
    (found,) = profiles([chain], [120.0], LIMITS)
    run = lengths(chain)

    assert found.place(found.begin).tolist() == pytest.approx(found.way.tolist(), abs=1e-6)
    assert found.place(found.duration)[0] == pytest.approx(run.sum(), rel=1e-9)
    for share in (0.0, 0.2, 0.5, 0.97):
        when = found.time(np.arange(len(run)), np.full(len(run), share))
        assert found.place(when).tolist() == pytest.approx((found.way + run * share).tolist(), abs=1e-5)
    t = np.linspace(0, found.duration, 4000)
    speed = np.diff(found.place(t)) / np.diff(t)
    assert speed.max() <= 120 + 1e-6
    assert np.abs(np.diff(speed)).max() / (t[1] - t[0]) <= 1000 * (1 + 1e-3)


def test_a_lead_in_time_is_shorter_where_the_nozzle_brakes():
    # 0.45 s before the end of a line at 100 mm/s, 1000 mm/s2: 5 mm of braking in 0.1 s, then 0.35 s at speed.
    (found,) = profiles([path([[0, 0], [1000, 0]])], [100.0], LIMITS)

    assert 1000 - found.place(found.duration - 0.45)[0] == pytest.approx(5 + 35, rel=1e-9)


def test_paths_are_solved_together_as_alone():
    chains = [turning(seed, 20) for seed in range(4)]
    together = profiles(chains, [100.0, 50.0, 80.0, 120.0], LIMITS)
    alone = [profiles([c], [f], LIMITS)[0] for c, f in zip(chains, (100.0, 50.0, 80.0, 120.0), strict=True)]

    assert [p.duration for p in together] == pytest.approx([p.duration for p in alone], rel=1e-9)
    assert profiles([], [], LIMITS) == []


def test_two_days_of_moves_in_a_second():
    n = 1_000_000
    x = np.arange(n + 1) * 2.0
    long = path(np.column_stack([x, np.sin(x / 50)]))
    begun = time.process_time()
    (found,) = profiles([long], [100.0], LIMITS)

    assert time.process_time() - begun < 3.0  # 0.35 s on two cores of 2020; wide for a busy machine
    assert found.duration > n * 2.0 / 100.0


@pytest.mark.parametrize("key", ["acceleration", "centripetal", "traverse", "path_tolerance"])
def test_limits_must_be_above_zero(key):
    values = {"acceleration": 1.0, "centripetal": 1.0, "traverse": 1.0, key: 0.0}

    with pytest.raises(SettingsError, match="must be above 0"):
        MotionLimits(**values)
