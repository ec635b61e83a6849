"""Which dialect writes a program: as asked, else the machine's, else the shipped one that fits to the machine."""

from __future__ import annotations

import pytest

from beadwright.errors import SettingsError
from beadwright.pipeline._writing import settle
from beadwright.settings import parse_document, resolve

ROWS = "calibration = [{rpm = 20, rate = '66 g/min'}, {rpm = 40, rate = '128 g/min'}, {rpm = 60, rate = '190 g/min'}, "
ROWS += "{rpm = 80, rate = '252 g/min'}]\n"


def settled(machine="", **options):
    return settle(resolve(options, machine=parse_document(machine, name="m.toml", told="machine")))


@pytest.mark.parametrize(
    ("machine", "name"),
    [
        ("", "rs274"),
        ('[path]\nmode = "continuous"\ntolerance = 0.05\n', "rs274-continuous"),
        ('[extruder]\nflow_control = "axis"\n', "rs274-axis"),
        (f'[extruder]\nflow_control = "s-word"\n{ROWS}', "rs274-screw"),
        ('[controller]\ndialect = "rs274-lines"\n', "rs274-lines"),
    ],
)
def test_the_dialect_fits_to_the_machine(machine: str, name: str) -> None:
    assert settled(machine)[1].dialect.name == name
    if "path" not in machine:
        assert settled("", dialect="rs274-inch")[1].dialect.name == "rs274-inch"


def test_inches_have_a_decimal_more_unless_the_job_says_otherwise() -> None:
    found, writing = settled(dialect="rs274-inch")
    assert (writing.words.decimals, found.as_dict()["decimals"]) == (5, {"value": 5, "from": "dialect"})
    assert settled(dialect="rs274-inch", decimals=6)[1].words.decimals == 6
    with pytest.raises(SettingsError, match="decimals must be 5 to 8 in inch"):
        settled(dialect="rs274-inch", decimals=4)


# 2.42 units of the last place: 2.42 x 25.4e-5 = 0.000615 mm.
def test_a_tolerance_that_inches_cannot_keep_is_refused() -> None:
    with pytest.raises(SettingsError, match=r"0\.000615 mm; take more decimals"):
        settled(dialect="rs274-inch", tolerance=0.0006)


def test_a_flow_that_the_dialect_does_not_command_is_refused() -> None:
    with pytest.raises(SettingsError, match=r'by speed-tied.*write extruder\.flow_control = "speed-tied"'):
        settled('[extruder]\nflow_control = "axis"\n', dialect="rs274")


# 8.4 x 4 flat at 100 mm/s and 1.14 g/cm3 is 229.824 g/min; the line 3.1 N + 4 g/min gives 72.846 rpm.
def test_the_screw_speed_follows_the_calibration() -> None:
    _, writing = settled(f'[extruder]\nflow_control = "s-word"\n{ROWS}')
    rpm = (8.4 * 4 * 100 * 60 * 1.14e-3 - 4.0) / 3.1
    assert writing.rpm([100.0], [8.4 * 4]) == pytest.approx((rpm,), rel=1e-9)
    with pytest.raises(SettingsError, match="outside the 20 to 80 rpm"):
        writing.rpm([200.0], [8.4 * 4])


# NISTIR 6556 table 7 has M0 to M9, M30, M48, M49 and M60.
def test_devices_are_switched_by_words_that_the_controller_has() -> None:
    fan = "[[device]]\nname = 'fan'\non = ['M64 P1', 'M7']\noff = ['M65 P1']\n"
    with pytest.raises(SettingsError) as caught:
        settled(fan + "[[device]]\nname = 'lamp'\non = ['M101']\noff = ['M9']\n")

    assert str(caught.value).split("\n  ") == [
        "device[1] fan: NISTIR 6556 has no word M64 or M65",
        "device[2] lamp: NISTIR 6556 has no word M101",
        "if the controller has them, say so in a dialect of your own, three lines in a file for --dialect:"
        ' name = "own", based_on = "rs274", beyond = ["M64", "M65", "M101"]',
    ]
    assert settled("[[device]]\nname = 'fan'\non = ['M7']\noff = ['M9']\n")[1].dialect.name == "rs274"


def test_a_dialect_says_which_words_the_controller_has_beside(tmp_path) -> None:
    (tmp_path / "own.toml").write_text('name = "own"\nbased_on = "rs274"\nbeyond = ["M64", "M65"]\n')
    fan = "[[device]]\nname = 'fan'\non = ['M64 P1']\noff = ['M65 P1']\n"

    assert settled(fan, dialect=str(tmp_path / "own.toml"))[1].dialect.beyond == ("M64", "M65")
