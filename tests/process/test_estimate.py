"""Mass, time, refills and cost by hand sums; the pound is 0.45359237 kg (NIST SP 811)."""

from __future__ import annotations

import math

import pytest

from beadwright.process import POUND, BeadSection, Prices, Times, estimate, refills

FREE = Prices(currency="USD", material=None)


def build(masses, times, **more):
    values = {"first": 0, "purge": 0.0, "hopper": 1e6, "prices": FREE, **more}
    return estimate(masses=masses, times=times, **values)


@pytest.mark.parametrize(("rate", "hours"), [(100.0, 2.0), (80.0, 2.5)])
def test_two_hundred_pounds(rate, hours):
    # Mass over output, no traverses.
    per_second = rate * POUND / 3600
    found = build([200 * POUND], [Times(extruding=200 * POUND / per_second)])

    assert found.times.total / 3600 == pytest.approx(hours, rel=1e-12)
    assert found.as_dict()["mass_lb"]["part"] == pytest.approx(200.0)
    assert found.as_dict()["output"]["lb_h"] == pytest.approx(rate)


def test_two_hundred_pounds_as_a_bead():
    # 200 lb at 1.14 g/cm3: 79577.6088 cm3, 2176.251 m of the 10 x 4 stadium (area 24 + 4 pi).
    volume = 200 * POUND / 1.14e-6
    area = BeadSection(kind="round", width=10.0, height=4.0).area

    assert volume / 1000 == pytest.approx(79577.6088, rel=1e-7)
    assert volume / area / 1000 == pytest.approx(2176.251, rel=1e-6)


def test_half_a_ton_at_a_hundred_pounds_an_hour():
    assert pytest.approx(11.0231, rel=1e-5) == 500 / (100 * POUND)


def test_a_tube_by_its_path_and_by_its_volume():
    # One bead 10 x 4, outer radius 500, 400 high: 100 turns of radius 495 (Pappus).
    length = 100 * 2 * math.pi * 495
    volume = math.pi * (500**2 - 490**2) * 400
    kg = {k: BeadSection(kind=k, width=10.0, height=4.0).area * length * 1.14e-6 for k in ("flat", "round")}

    assert length == pytest.approx(311017.6727, abs=1e-4)
    assert kg["round"] == pytest.approx(12.964978, abs=1e-6)
    assert kg["flat"] == pytest.approx(14.182406, abs=1e-6)
    assert kg["flat"] == pytest.approx(volume * 1.14e-6, rel=1e-12)
    assert kg["round"] / (volume * 1.14e-6) == pytest.approx(0.9141593, abs=1e-7)


def test_rule_of_mixtures():
    # 20 % carbon of 1.80 in ABS of 1.05 g/cm3.
    assert pytest.approx(1.145455, abs=1e-6) == 1 / (0.2 / 1.80 + 0.8 / 1.05)


def test_cost_is_the_sum_of_its_parts():
    prices = Prices(
        currency="USD",
        material=9.0,
        machine=55.0,
        labour=40.0,
        attendance=0.5,
        energy=0.2,
        sheet=80.0,
        idle_power=3.0,
        extruder_power=7.0,
    )
    found = build(
        [30.0, 20.0],
        [Times(extruding=7200.0, traverse=1800.0), Times(extruding=3600.0, dwell=1800.0)],
        purge=2.0,
        prices=prices,
        finished=45.0,
    )
    energy = 3.0 * 4.0 + 7.0 * 3.0

    assert found.energy == pytest.approx(energy)
    assert found.cost == pytest.approx(50 * 9 + 2 * 9 + 0.2 * energy + 55 * 4 + 40 * 0.5 * 4 + 80)
    assert found.removed == pytest.approx(5.0)
    assert found.feedstock == pytest.approx(52.0)
    assert found.as_dict()["cost"]["total"] == found.cost


def test_what_is_not_known_is_absent():
    told = build([1.0], [Times(extruding=60.0)]).as_dict()

    assert set(told) == {"mass_kg", "mass_lb", "time", "refills", "output"}
    assert "removed" not in told["mass_kg"]


def test_a_hopper_of_sixty_kilograms():
    # 60 kg at 13.789 kg/h: 4.351 h, again and again.
    found = refills([13.789 / 4] * 56, [900.0] * 56, first=0, purge=0.0, hopper=60.0)

    assert [r.at / 3600 for r in found] == pytest.approx([60 / 13.789, 120 / 13.789, 180 / 13.789])
    assert [r.layer for r in found] == [int(n * 60 / 13.789 * 4) for n in (1, 2, 3)]


def test_a_hopper_that_ends_with_the_build_needs_no_refill():
    assert refills([30.0, 30.0], [1.0, 1.0], first=0, purge=0.0, hopper=60.0) == ()
    assert [r.layer for r in refills([60.0, 30.0], [1.0, 1.0], first=5, purge=0.0, hopper=60.0)] == [5]


def test_a_layer_may_empty_several_hoppers():
    found = refills([100.0], [100.0], first=0, purge=10.0, hopper=25.0)

    assert [r.at for r in found] == pytest.approx([15.0, 40.0, 65.0, 90.0])


def test_an_empty_layer_takes_nothing():
    assert refills([0.0, 1.0], [0.0, 1.0], first=0, purge=0.0, hopper=60.0) == ()
