"""Layer heights (trade checks S27, S28)."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.errors import SettingsError
from beadwright.layers import plan_layers


def test_s27_a_box_of_forty_in_layers_of_four():
    plans = plan_layers(0.0, 40.0, 4.0)

    assert len(plans) == 10
    assert [p.section_z for p in plans] == [(2.0 + 4 * i,) for i in range(10)]
    # the top face, z 40, is not cut
    assert max(p.section_z[0] for p in plans) < 40.0


def test_s28_three_layers_of_eight_tenths():
    # 2.4 / 0.8 is 3.0000000000000004 in doubles
    assert len(plan_layers(0.0, 2.4, 0.8)) == 3


def test_o14_a_tube_of_four_hundred():
    assert len(plan_layers(0.0, 400.0, 4.0)) == 100


@settings(deadline=None)
@given(st.integers(1, 3000), st.integers(100, 6000))
def test_the_number_of_layers_against_exact_arithmetic(n, height_um):
    # H is n layers as written in decimal, rounded to a double: never n + 1, never n - 1
    height = height_um / 1000
    whole = float(Fraction(height_um, 1000) * n)

    assert len(plan_layers(0.0, whole, height)) == n


@settings(deadline=None)
@given(st.floats(0.5, 6000.0), st.floats(0.5, 6.0))
def test_layers_stand_on_one_another_and_reach_the_top(high, height):
    plans = plan_layers(0.0, high, height)

    assert [p.index for p in plans] == list(range(len(plans)))
    assert all(a.z == b.z0 for a, b in pairwise(plans))
    assert plans[0].z0 == 0.0
    assert high - 2e-6 * height <= plans[-1].z <= high + height * (1 + 1e-6)
    assert all(p.z0 < p.section_z[0] < p.z and p.height == height for p in plans)
    assert all(abs(p.z - p.z0 - height) < 1e-9 for p in plans)


@pytest.mark.parametrize(
    ("low", "high", "height", "rule", "said"),
    [
        (0.0, 10.0, 0.0, "neutral", "above 0"),
        (0.0, 10.0, float("nan"), "neutral", "above 0"),
        (0.0, 0.0, 4.0, "neutral", "no height"),
        (-1.0, 10.0, 4.0, "neutral", "below the platform"),
        (0.0, 6000.0, 0.01, "neutral", "check the layer height"),
    ],
)
def test_what_cannot_be_planned_is_refused(low, high, height, rule, said):
    with pytest.raises(SettingsError, match=said):
        plan_layers(low, high, height, rule=rule)
