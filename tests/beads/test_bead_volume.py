"""Length, volume and mass of beads against Pappus (trade checks O13, O14)."""

from __future__ import annotations

import math

import pytest

from beadwright.curves import length
from beadwright.layers import plan_layers
from beadwright.settings import PlanSettings
from tests.post._build_programs import circle

ROUND = PlanSettings(width=10.0, height=4.0, bead_section="round")
FLAT = PlanSettings(width=10.0, height=4.0, bead_section="flat")
# g/mm3
DENSITY = 1.14e-3


def test_o13_a_ring_bead_by_pappus():
    run = length(circle(0, 0, 500.0))
    volume = run * ROUND.bead_area()

    assert run == pytest.approx(3141.592654, abs=5e-7)
    assert volume == pytest.approx(114876.6413, rel=1e-9)
    assert volume * DENSITY == pytest.approx(130.95937, abs=5e-6)


def test_o14_a_one_bead_tube():
    layers = plan_layers(0.0, 400.0, 4.0)
    run = len(layers) * length(circle(0, 0, 500.0 - 10 / 2))

    assert len(layers) == 100
    assert run == pytest.approx(311017.6727, abs=5e-5)
    assert run * ROUND.bead_area() * DENSITY / 1000 == pytest.approx(12.964978, abs=5e-7)
    # the flat bead's volume is the tube's: pi (500^2 - 490^2) 400
    flat = run * FLAT.bead_area()
    assert flat == pytest.approx(math.pi * (500**2 - 490**2) * 400, rel=1e-12)
    assert flat * DENSITY / 1000 == pytest.approx(14.182406, abs=5e-7)
