"""Bead area, volume and mass against Pappus (trade checks O13, O14)."""

from __future__ import annotations

import math

import pytest

from beadwright.beads import cross_section_area, filling_spacing
from beadwright.curves import length
from beadwright.errors import SettingsError
from beadwright.layers import plan_layers
from tests.post._build_programs import circle


@pytest.mark.parametrize(
    ("width", "height", "area", "spacing"),
    [
        (6, 2.5, 13.65874, 5.463495),
        (8.4, 4, 30.16637, 7.541593),
        (10, 4, 36.56637, 9.141593),
        (12, 5, 54.63495, 10.926991),
    ],
)
def test_round_beads(width, height, area, spacing):
    # closed form h (w - h) + pi h^2 / 4, values worked out beforehand to the digits shown
    assert cross_section_area(width, height, "round") == pytest.approx(area, abs=5e-6)
    assert filling_spacing(width, height, "round") == pytest.approx(spacing, abs=5e-7)


def test_o13_a_ring_bead_by_pappus():
    run = length(circle(0, 0, 500.0))
    volume = run * cross_section_area(10, 4, "round")

    assert run == pytest.approx(3141.592654, abs=5e-7)
    assert volume == pytest.approx(114876.6413, rel=1e-9)
    assert volume * 1.14e-3 == pytest.approx(130.95937, abs=5e-6)


def test_o14_a_one_bead_tube():
    layers = plan_layers(0.0, 400.0, 4.0)
    run = len(layers) * length(circle(0, 0, 500.0 - 10 / 2))

    assert len(layers) == 100
    assert run == pytest.approx(311017.6727, abs=5e-5)
    assert run * cross_section_area(10, 4, "round") * 1.14e-6 == pytest.approx(12.964978, abs=5e-7)
    # the flat bead's mass is the tube's: pi (500^2 - 490^2) 400
    flat = run * cross_section_area(10, 4, "flat")
    assert flat == pytest.approx(math.pi * (500**2 - 490**2) * 400, rel=1e-12)
    assert flat * 1.14e-6 == pytest.approx(14.182406, abs=5e-7)


@pytest.mark.parametrize(("width", "height", "section"), [(0, 4, "flat"), (8, -1, "flat"), (3, 4, "round")])
def test_impossible_beads_are_refused(width, height, section):
    with pytest.raises(SettingsError):
        cross_section_area(width, height, section)
