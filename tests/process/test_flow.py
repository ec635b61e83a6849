"""Bead section, flow and screw speed, by closed forms with the pound of 0.45359237 kg (NIST SP 811, B.8)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.errors import SettingsError
from beadwright.process import BeadSection, fastest, fit_screw, mass_flow, volume_flow

POUND = 0.45359237  # kg, exact: NIST SP 811 (2008), B.8
DENSITY = 1.14e-6  # kg/mm3
WEIGHED = np.array([66.0, 128.0, 190.0, 252.0]) / 60e3  # kg/s, on the line 3.1 n + 4 g/min by construction


@pytest.mark.parametrize(
    ("width", "height", "area"),
    [
        (w, h, h * (w - h) + math.pi * h * h / 4)
        for w, h in ((6.0, 2.5), (8.4, 4.0), (10.0, 4.0), (12.0, 5.0))
    ],
)
def test_a_round_bead_is_a_rectangle_between_two_half_discs(width, height, area):
    bead = BeadSection(kind="round", width=width, height=height)

    assert bead.area == pytest.approx(area, rel=1e-12)
    # No-void spacing w - (1 - pi / 4) h: depends on the height only.
    assert bead.spacing == pytest.approx(width - (1 - math.pi / 4) * height, rel=1e-12)
    assert bead.edge_depth == height / 2


def test_a_flat_bead_is_a_rectangle():
    bead = BeadSection(kind="flat", width=8.4, height=4.0)

    assert (bead.area, bead.spacing, bead.edge_depth) == (pytest.approx(33.6), 8.4, 0.0)


@pytest.mark.parametrize(("width", "height"), [(4.0, 4.1), (0.0, 0.0), (math.inf, 4.0), (8.0, math.nan)])
def test_what_is_no_bead_is_refused(width, height):
    with pytest.raises(SettingsError, match="at most the width"):
        BeadSection(kind="flat", width=width, height=height)


def test_mass_flow_of_a_bead_ten_wide():
    # rho A v of the stadium 10 x 4 (A = 24 + 4 pi) at 100 mm/s: 15.00684 kg/h, 33.08442 lb/h.
    flow = float(mass_flow(24 + 4 * math.pi, 100.0, DENSITY)) * 3600

    assert flow == pytest.approx(15.00684, rel=1e-6)
    assert flow / POUND == pytest.approx(33.08442, rel=1e-6)


def test_section_changes_the_flow_by_a_tenth():
    kg_h = {
        kind: float(mass_flow(BeadSection(kind=kind, width=8.4, height=4.0).area, 100.0, DENSITY)) * 3600
        for kind in ("flat", "round")
    }

    # 33.6 mm2 and 17.6 + 4 pi mm2, times 100 mm/s and 1.14 g/cm3.
    assert kg_h["flat"] == pytest.approx(13.789, abs=5e-4)
    assert kg_h["round"] == pytest.approx(12.380, abs=5e-4)


@pytest.mark.parametrize(("kind", "speed"), [("round", 302.2571), ("flat", 276.3112)])
def test_greatest_speed_at_a_hundred_pounds_an_hour(kind, speed):
    area = BeadSection(kind=kind, width=10.0, height=4.0).area

    assert fastest(area, DENSITY, 100 * POUND / 3600) == pytest.approx(speed, rel=1e-6)


def test_a_hundred_pounds_an_hour_in_other_units():
    per_second = 100 * POUND / 3600

    assert per_second * 1000 == pytest.approx(12.599788, rel=1e-6)  # g/s
    assert per_second / DENSITY / 1000 == pytest.approx(11.052446, rel=1e-6)  # cm3/s


def test_flow_follows_width_and_speed_along_a_bead():
    flow = volume_flow([33.6, 16.8, 33.6], [100.0, 100.0, 50.0])

    assert flow.tolist() == [3360.0, 1680.0, 1680.0]


def test_the_screw_line_is_found_again():
    curve = fit_screw([20, 40, 60, 80], WEIGHED)

    assert curve.slope * 60e3 == pytest.approx(3.1, rel=1e-12)
    assert curve.intercept * 60e3 == pytest.approx(4.0, rel=1e-12)
    assert curve.spread == pytest.approx(0.0, abs=1e-15)
    # On the line: 250.114 less 4, over 3.1.
    assert curve.speed(250.114 / 60e3) == pytest.approx(79.3916, rel=1e-6)


def test_least_squares_of_noisy_weighings_against_numpy():
    rng = np.random.default_rng(7)
    speed = np.linspace(20, 100, 12)
    output = (3.1 * speed - 5 + rng.normal(0, 2, 12)) / 60e3

    curve = fit_screw(speed, output)
    slope, intercept = np.polyfit(speed, output, 1)

    assert curve.slope == pytest.approx(slope, rel=1e-9)
    assert curve.intercept == pytest.approx(intercept, rel=1e-7)
    assert curve.residual.sum() == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize("output", [60.0, 260.0])
def test_nothing_is_extrapolated(output):
    curve = fit_screw([20, 40, 60, 80], WEIGHED)

    with pytest.raises(SettingsError, match="outside the 20 to 80 rpm that were measured"):
        curve.speed(output / 60e3)


def test_output_at_standstill_is_remarked_on():
    # A screw that stands delivers nothing, so the true intercept is at most 0.
    assert [f.code for f in fit_screw([20, 40, 60, 80], WEIGHED).findings()] == ["screw-intercept"]
    assert fit_screw([20, 40, 60, 80], WEIGHED - 8 / 60e3).findings() == ()


def test_points_on_a_line_through_nothing_are_no_output_at_standstill():
    # 0.2 kg/h a rpm exactly: the fit's own rounding leaves 4e-19 kg/s, which no weighing says
    curve = fit_screw([20, 40, 80], np.array([4, 8, 16]) / 3600)

    assert curve.intercept == pytest.approx(0.0, abs=1e-15)
    assert curve.findings() == ()


def test_a_wild_weighing_is_remarked_on():
    wild = WEIGHED - 8 / 60e3
    wild[1] += 40 / 60e3

    assert "screw-residual" in [f.code for f in fit_screw([20, 40, 60, 80], wild).findings()]


@pytest.mark.parametrize(
    ("speed", "output", "why"),
    [
        ([20, 40], [1, 2], "2 different speed"),
        ([20, 20, 20], [1, 1, 1], "1 different speed"),
        ([20, 40, 60], [3, 2, 1], "does not rise"),
        ([20, 40, 60], [1, 2], "do not pair"),
        ([20, 40, 60], [1, math.nan, 2], "numbers above 0"),
        ([0, 40, 60], [1, 2, 3], "numbers above 0"),
    ],
)
def test_data_that_carry_no_line_are_refused(speed, output, why):
    with pytest.raises(SettingsError, match=why):
        fit_screw(speed, output)
