"""Fits of measured test pieces against data made from their own closed forms, and against numpy's covariance."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.errors import SettingsError
from beadwright.process import (
    corner_tolerance,
    fit_band,
    fit_lag,
    fit_sizes,
    fit_spacing,
    fit_width,
    greatest_lean,
)

TIMES = np.array([0.18, 0.25, 0.35, 0.5, 0.7, 0.9])


@pytest.mark.parametrize("stop", [False, True])
def test_a_lag_without_noise_is_found_again(stop):
    v = np.array([60.0, 60, 100, 100, 140, 140])
    left = np.exp(-(TIMES - 0.15) / 0.30)

    found = fit_lag(v, v * TIMES, left if stop else 1 - left, stop=stop)

    assert found.response.dead == pytest.approx(0.15, abs=1e-9)
    assert found.response.constant == pytest.approx(0.30, abs=1e-9)
    assert found.spread < 1e-9


def test_the_error_of_a_lag_is_honest():
    # Over many noisy series the estimates scatter as their own standard errors say.
    rng = np.random.default_rng(11)
    t = np.linspace(0.17, 1.0, 25)
    off = []
    for _ in range(200):
        y = 1 - np.exp(-(t - 0.15) / 0.3) + rng.normal(0, 0.01, len(t))
        found = fit_lag(np.full(len(t), 100.0), 100 * t, y, stop=False)
        off.append((found.response.constant - 0.3) / found.constant_sure)
    off = np.array(off)

    assert abs(off.mean()) < 0.35
    assert 0.7 < off.std() < 1.4


@pytest.mark.parametrize(
    ("distance", "share", "why"),
    [
        ([10, 20], [0.2, 0.4], "2 row"),
        ([10, 20, 200, 300], [0.0, 0.5, 1.0, 1.0], "1 place"),
        ([20, 20, 20], [0.3, 0.3, 0.31], "different"),
        ([20, 40, 60], [0.7, 0.5, 0.3], "does not fill up"),
        ([20, 40, math.nan], [0.3, 0.5, 0.7], "every row"),
        ([1, 11, 21], [0.5, 0.6, 0.7], "below 0"),
    ],
)
def test_data_that_carry_no_lag_are_refused(distance, share, why):
    with pytest.raises(SettingsError, match=why):
        fit_lag(np.full(len(distance), 100.0), distance, share, stop=False)


def test_width_and_its_slope_as_numpy_has_them():
    rng = np.random.default_rng(5)
    v = np.linspace(40, 160, 9)
    w = 8.4 + 0.002 * (v - 100) + rng.normal(0, 0.05, 9)

    found = fit_width(v, w)
    line, covariance = np.polyfit(v, w, 1, cov=True)

    assert found.width.value == pytest.approx(w.mean())
    assert found.slope.value == pytest.approx(line[0], rel=1e-9)
    assert found.slope.sure == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-9)
    with pytest.raises(SettingsError, match="one feed"):
        fit_width([100.0] * 3, [8.4] * 3)


def test_width_by_feed_and_flow_as_least_squares_of_the_normal_equations_have_them():
    rng = np.random.default_rng(7)
    v = np.array([50.0, 75, 100, 125, 100, 100, 100, 100])
    q = np.array([1.0, 1, 1, 1, 0.8, 0.9, 1.1, 1.2])
    w = 8.4 + 0.001 * (v - v.mean()) + 7.5 * (q - 1) + rng.normal(0, 0.04, 8)

    found = fit_width(v, w, q)
    table = np.column_stack([np.ones(8), v - v.mean(), q - 1])
    normal = np.linalg.inv(table.T @ table)
    by_hand = normal @ table.T @ w
    noise = math.sqrt(float(((w - table @ by_hand) ** 2).sum()) / 5)

    assert [found.width.value, found.slope.value, found.by_flow.value] == pytest.approx(by_hand, rel=1e-9)
    assert [found.width.sure, found.slope.sure, found.by_flow.sure] == pytest.approx(
        noise * np.sqrt(np.diag(normal)), rel=1e-9
    )
    assert fit_width(v, w, np.ones(8)).by_flow is None
    with pytest.raises(SettingsError, match="apart from each other"):
        fit_width(v[:4], w[:4], v[:4] / 100)


def test_spacing_is_area_over_height():
    # Bead of 30.166 mm2: 7.5416 mm at 4 mm. Blocks of 6, 6.5 and 7 mm rise to A / s, those of 8 and 8.4 do not.
    area = 4 * 4.4 + math.pi * 4
    spacing = np.array([6.0, 6.5, 7.0, 8.0, 8.4])
    height = np.array([area / 6, area / 6.5, area / 7, 4.0, 4.0])

    assert fit_spacing(spacing, height, nominal=4.0).value == pytest.approx(7.541593, abs=1e-6)
    with pytest.raises(SettingsError, match="rose above"):
        fit_spacing(spacing, np.full(5, 4.0), nominal=4.0)


def test_sizes_give_factor_and_offset():
    rng = np.random.default_rng(2)
    x = np.repeat([100.0, 200.0, 400.0], 4)
    y = 0.998 * x + 0.4 + rng.normal(0, 0.05, len(x))

    found = fit_sizes(x, y)
    line, covariance = np.polyfit(x, y, 1, cov=True)

    assert [found.factor.value, found.offset.value] == pytest.approx(line.tolist(), rel=1e-9)
    assert found.factor.sure == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-9)
    assert found.offset.sure == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-9)
    with pytest.raises(SettingsError, match="one size"):
        fit_sizes([100.0] * 4, [99.8, 99.9, 99.7, 99.8])


def test_corners_and_leans():
    assert corner_tolerance([50, 100, 150], [0.1, 0.3, 0.7]) == 0.7
    assert greatest_lean([10, 20, 30, 40, 50], [1, 1, 1, 0, 0]) == 30.0
    assert greatest_lean([10, 20, 30], [1, 1, 1]) == 30.0
    with pytest.raises(SettingsError, match="greater lean good"):
        greatest_lean([10, 20, 30, 40], [1, 0, 1, 0])
    with pytest.raises(SettingsError, match="not even the least"):
        greatest_lean([10, 20, 30], [0, 0, 0])
    with pytest.raises(SettingsError, match="less than 0"):
        corner_tolerance([50, 100, 150], [0.1, -0.3, 0.7])


def test_the_band_holds_offset_and_scatter():
    # Readings 3 K and 4 K off: 2 sqrt((9 + 16 + 9 + 16) / 4).
    assert fit_band([150, 150, 140, 140], [153, 146, 143, 136]) == pytest.approx(2 * math.sqrt(12.5))
    with pytest.raises(SettingsError, match="2 row"):
        fit_band([150, 150], [151, 149])
