"""Booleans against closed forms, area identities and coincident outlines."""

import math

import numpy as np
import pytest

from beadwright.arcs import intersect, lost, offset, subtract, unite
from beadwright.curves import depths, region_area, signed_area
from beadwright.errors import GeometryError
from tests.arcs import _build_regions as make


def area(result):
    return region_area(result.region)


def test_two_discs():
    # Lens of two discs of radius r at distance d: 2 r^2 acos(d / 2r) - d/2 sqrt(4 r^2 - d^2).
    r, d = 50.0, 60.0
    lens = 2 * r * r * math.acos(d / (2 * r)) - d / 2 * math.sqrt(4 * r * r - d * d)
    a, b = make.region(make.circle(0, 0, r)), make.region(make.circle(d, 0, r))
    assert area(intersect(a, b)) == pytest.approx(lens, rel=1e-9)
    assert area(unite((a, b))) == pytest.approx(2 * math.pi * r * r - lens, rel=1e-9)
    assert area(subtract(a, b)) == pytest.approx(math.pi * r * r - lens, rel=1e-9)


def test_touching_boards_become_one_piece_of_furniture():
    boards = [make.box(0, 0, 100, 20), make.box(0, 20, 20, 80), make.box(80, 20, 20, 80)]
    result = unite(boards)
    assert len(result.region.loops) == 1
    assert area(result) == pytest.approx(2000 + 3200)


def test_a_piece_run_the_wrong_way_is_told_with_its_area():
    result = unite([make.box(0, 0, 10, 10), make.path([[20, 0], [20, 5], [25, 5], [25, 0]])])
    assert area(result) == pytest.approx(100)
    ((size, x, y),) = result.inverted
    assert size == pytest.approx(25)
    assert (20 <= x <= 25, 0 <= y <= 5) == (True, True)


def test_the_same_region_twice_is_itself_and_leaves_nothing():
    for loop in (make.blob(np.random.default_rng(1), 100), make.gear(), make.rounded(100, 60, 5)):
        region = make.region(loop)
        whole = signed_area(loop)
        assert area(unite((region, region))) == pytest.approx(whole, rel=1e-9)
        assert area(intersect(region, region)) == pytest.approx(whole, rel=1e-9)
        assert subtract(region, region).region.loops == ()


@pytest.mark.parametrize("seed", range(25))
def test_area_identities_of_jittered_copies(seed):
    rng = np.random.default_rng(seed)
    loop = make.blob(rng, 60)
    other = make.jittered(loop, 10.0 ** rng.uniform(-12, -2), rng)
    a, b = make.region(loop), make.region(other)
    both, common, first = (area(f) for f in (unite((a, b)), intersect(a, b), subtract(a, b)))
    slack = 1e-9 * signed_area(loop)
    assert both + common == pytest.approx(signed_area(loop) + signed_area(other), abs=slack)
    assert first + common == pytest.approx(signed_area(loop), abs=slack)


@pytest.mark.parametrize("turn", [0.0, 0.7, 1e-9])
def test_cells_with_touching_corners(turn):
    rng = np.random.default_rng(11)
    for _ in range(6):
        full = rng.random((6, 6)) < 0.5
        cells = [make.turned(make.box(10 * x, 10 * y, 10, 10), turn) for x, y in np.argwhere(full).tolist()]
        united = unite(cells)
        # Whole numbers: 100 mm2 a cell.
        assert area(united) == pytest.approx(100 * full.sum(), rel=1e-9)
        assert set(depths(united.region) % 2) <= {0, 1}
        for distance in (1.0, 4.9, 5.0, 5 - 1e-9, -5.0, -10.0):
            assert offset(united.region, distance=distance).fallbacks == 0
        for cell in np.argwhere(~full).tolist():
            x, y = cell
            hole = make.region(make.turned(make.box(10 * x, 10 * y, 10, 10), turn))
            assert area(intersect(united.region, hole)) == pytest.approx(0, abs=1e-6)
            break


def test_turned_gears_are_the_same_gear():
    gear = make.gear()
    for teeth in range(1, 24, 5):
        turned = make.turned(gear, 2 * math.pi * teeth / 24)
        assert area(unite([gear, turned])) == pytest.approx(signed_area(gear), rel=1e-9)


def test_numbers_must_be_finite():
    with pytest.raises(GeometryError, match="not finite"):
        unite([make.box(0, 0, math.nan, 1)])


class TestLost:
    def corridor(self, width):
        low = [[0, 0], [40, 0], [40, 15], [60, 15], [60, 0], [100, 0], [100, 40], [60, 40]]
        return make.region(make.path([*low, [60, 15 + width], [40, 15 + width], [40, 40], [0, 40]]))

    @pytest.mark.parametrize("error", [0.01, 2.5e-4, 2e-6])
    def test_a_corridor_just_too_narrow_is_a_neck(self, error):
        (neck,) = lost(self.corridor(10 * (1 - 1e-7)), distance=5.0, error=error)
        assert neck.kind == "neck"
        assert neck.at == pytest.approx((50, 20), abs=0.5)
        assert neck.width == pytest.approx(10, abs=2.1 * error + 1e-5)
        assert 15 < neck.length < 21

    def test_a_corridor_wide_enough_loses_nothing(self):
        assert lost(self.corridor(10 * (1 + 1e-3)), distance=5.0, error=1e-4) == ()

    def test_blobs_lose_nothing(self):
        rng = np.random.default_rng(2)
        for _ in range(10):
            assert lost(make.region(make.blob(rng, 60)), distance=5.0, error=1e-6) == ()

    def test_the_error_must_be_smaller_than_the_distance(self):
        with pytest.raises(GeometryError, match="error"):
            lost(self.corridor(10), distance=5.0, error=6.0)


def test_snapping_that_makes_new_crossings_is_cut_again():
    # Copies jittered about as far as nodes snap: some need a second round, none fails.
    rounds = []
    for seed in range(150):
        rng = np.random.default_rng(seed)
        loop = make.blob(rng, 60)
        result = unite([loop, make.jittered(loop, 1e-9 * 10.0 ** rng.uniform(-1, 2), rng)])
        assert area(result) == pytest.approx(signed_area(loop), rel=1e-8)
        assert result.retries == 0
        rounds.append(result.rounds)
    assert set(rounds) == {1, 2}
