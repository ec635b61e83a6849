"""Least and greatest of an estimate, by hand, and where the ranges of its inputs come from."""

from __future__ import annotations

import math

import pytest

from beadwright.pipeline._cards import cards
from beadwright.process import Doubt, Doubts, Prices, Times, estimate, spread
from beadwright.settings import parse_document, resolve


def doubt(low, high):
    return Doubt(name="some", why="", low=low, high=high)


# 100 kg at 8, 1 kg purged; 10 h at 30 an hour and 20 kWh at 0.25, of which 1 h waits whatever the feed; sheet 50.
def test_every_input_at_its_worst_by_hand():
    prices = Prices(currency="USD", material=8.0, machine=30.0, energy=0.25, sheet=50.0, idle_power=2.0)
    made = estimate(
        masses=[100.0],
        times=[Times(extruding=8 * 3600.0, traverse=3600.0, dwell=3600.0)],
        first=0,
        purge=1.0,
        hopper=60.0,
        prices=prices,
    )
    found = spread(
        made,
        Doubts(mass=(doubt(0.98, 1.02), doubt(0.9, 1.0)), speed=(doubt(0.9, 1.2),), price=(doubt(0.5, 2.0),)),
        hourly=30.0,
    )
    least, greatest = 9 / 1.2 + 1, 9 / 0.9 + 1

    assert found.part == pytest.approx((88.2, 102.0))
    assert found.feedstock == pytest.approx((89.2, 103.0))
    assert found.time == pytest.approx((least * 3600, greatest * 3600))
    assert found.cost == pytest.approx(
        (
            0.5 * 8 * 89.2 + (30 + 0.5) * least + 50,
            2.0 * 8 * 103.0 + (30 + 0.5) * greatest + 50,
        )
    )


def test_without_doubts_low_and_high_are_the_estimate():
    made = estimate(
        masses=[2.0], times=[Times(extruding=60.0)], first=0, purge=0.5, hopper=60.0,
        prices=Prices(currency="USD", material=None),
    )  # fmt: skip
    found = spread(made, Doubts(), hourly=0.0)

    assert found.part == (2.0, 2.0)
    assert found.time == (60.0, 60.0)
    assert found.cost is None
    assert "cost" not in found.as_dict()


def inputs(machine="", material="", **options):
    card = cards(
        resolve(
            options,
            machine=parse_document(machine, name="machine.toml", told="machine"),
            material=parse_document(material, name="material.toml", told="material") if material else None,
        )
    )
    return {each.name: (each.low, each.high) for each in (*card.doubts.mass, *card.doubts.speed)}


# A bead of 8.4 x 4 has 33.6 mm2 flat and 17.6 + 4 pi = 30.16637 mm2 round: without a calibration either may be laid.
def test_an_uncalibrated_bead_is_as_round_or_as_flat_as_there_is():
    share = (17.6 + 4 * math.pi) / 33.6

    assert inputs()["bead section"] == pytest.approx((share, 1.0))
    assert inputs(bead_section="round")["bead section"] == pytest.approx((1.0, 1 / share))
    # The card names a source for its density, and no range: one per cent.
    assert inputs()["density"] == pytest.approx((0.99, 1.01))
    assert inputs()["feed override"] == (0.9, 1.0)


# Residuals of +1, -2, +1 kg/h about a line have a standard deviation of sqrt(6 / (3 - 2)) kg/h; a bead of 33.6 mm2 at
# 100 mm/s and 1.14 g/cm3 takes 13.789 kg/h.
def test_a_calibration_is_as_good_as_its_residuals():
    rows = "".join(
        f"[[extruder.calibration]]\nrpm = {rpm}\nrate = {rate}\n"
        for rpm, rate in ((20, 11), (40, 18), (60, 31))
    )
    low, high = inputs(rows)["screw calibration"]

    assert high - 1 == pytest.approx(2 * math.sqrt(6) / (33.6e-6 * 0.1 * 1140 * 3600), rel=1e-6)
    assert low == pytest.approx(2 - high)


def test_override_is_least_then_greatest():
    from beadwright.errors import SettingsError

    assert inputs("[speeds]\noverride = [0.8, 1.1]\n")["feed override"] == (0.8, 1.1)
    with pytest.raises(SettingsError, match=r"speeds\.override.*must not be above"):
        inputs("[speeds]\noverride = [1.1, 0.8]\n")
