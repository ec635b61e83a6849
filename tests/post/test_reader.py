"""The tests' own reader, against worked examples of the standard and closed forms (W1, W2, W8, W13)."""

from __future__ import annotations

import math

import pytest

from tests.post._reader import read


def test_w1_the_standards_own_arc():
    # NISTIR 6556, G2/G3 example: at (7, 7), G2 X10 Y16 I3 J4; the sweep is derived
    (step,) = read("G17 G2 X10 Y16 I3 J4", at=(7.0, 7.0, 0.0)).steps

    assert step.centre == (10.0, 11.0)
    assert step.radii[0] == pytest.approx(5.0, abs=1e-12)
    assert math.degrees(step.sweep) == pytest.approx(-143.1301024, abs=1e-7)
    assert step.flat_length == pytest.approx(12.49045772, abs=1e-8)


def test_w2_an_arc_by_its_radius():
    (step,) = read("G17 G2 X10 Y15 R20").steps

    assert step.centre == pytest.approx((19.8550690649, -2.4033793766), abs=1e-8)
    assert math.degrees(step.sweep) == pytest.approx(-53.57642636, abs=1e-8)
    assert step.flat_length == pytest.approx(18.70170083, abs=1e-8)


def test_w8_one_turn_of_a_helix():
    # sqrt((100 pi)^2 + 4^2) = 314.184729
    (step,) = read("G3 X50 Y0 Z4 I-50 J0", at=(50.0, 0.0, 0.0)).steps

    assert step.length == pytest.approx(math.hypot(100 * math.pi, 4), abs=1e-9)
    assert step.length == pytest.approx(314.184729, abs=5e-7)


def test_w13_the_end_puts_the_machine_back():
    machine = read("G20 G18 G91 G93 G41 M3 M8 G0 X1\nM2\nG1 X5")

    wanted = ["G54", "G17", "G90", "G94", "G40", "M5", "M9", "G1"]
    assert set(wanted) <= set(machine.modes.values())
    assert len(machine.steps) == 1
