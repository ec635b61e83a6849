"""Closed forms of how beads carry each other where walls lean."""

from __future__ import annotations

import math

import pytest

from beadwright.process import carried_share
from beadwright.settings import PlanSettings


# at 45 degrees the step is the height; closed form 1 - h / w
@pytest.mark.parametrize(
    ("width", "height", "share"), [(6, 2.5, 0.583), (8.4, 4, 0.524), (10, 4, 0.6), (12, 5, 0.583)]
)
def test_a_flat_bead_at_45_degrees(width: float, height: float, share: float) -> None:
    assert carried_share(width, height, height, "flat") == pytest.approx(share, abs=5e-4)


# half of a flat bead is carried at atan(w / 2h)
@pytest.mark.parametrize(
    ("width", "height", "angle"), [(6, 2.5, 50.2), (8.4, 4, 46.4), (10, 4, 51.3), (12, 5, 50.2)]
)
def test_half_is_carried_up_to_an_angle_above_the_limit(width: float, height: float, angle: float) -> None:
    step = height * math.tan(math.radians(angle))

    assert carried_share(width, height, step, "flat") == pytest.approx(0.5, abs=1e-3)
    assert PlanSettings(width=width, height=height).greatest_lean() < angle


def test_a_round_bead_keeps_little_at_45_degrees_and_half_near_its_limit() -> None:
    # 8.4 x 4: 9 % of its flat at 45 degrees, half at 28.8, none at 47.7
    def share(angle: float) -> float:
        return carried_share(8.4, 4.0, 4.0 * math.tan(math.radians(angle)), "round")

    assert share(45) == pytest.approx(0.09, abs=2e-3)
    assert share(28.8) == pytest.approx(0.5, abs=1e-3)
    assert share(47.7) == pytest.approx(0.0, abs=1e-3)
    assert PlanSettings(bead_section="round").greatest_lean() == 30
