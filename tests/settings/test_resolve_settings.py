"""Settings: every fault at once, each with its key and the range allowed."""

from __future__ import annotations

import math
import pickle

import pytest
from pydantic import ValidationError

from beadwright.errors import SettingsError
from beadwright.settings import PlanOptions, PlanSettings, parse_document, resolve


def fault(**options: object) -> str:
    with pytest.raises(SettingsError) as caught:
        resolve(options)
    return str(caught.value)


# The defaults are fixed by the contract of the commands.
def test_defaults_are_those_promised() -> None:
    told = resolve({}).as_dict()

    assert told["tolerance_mm"] == {"value": 0.010, "from": "default"}
    assert told["width_mm"]["value"] == 8.4
    assert told["height_mm"]["value"] == 4.0
    assert told["contours"]["value"] == 2
    assert told["decimals"]["value"] == 4
    assert told["clearance_mm"]["value"] == 20.0
    assert told["rule"]["value"] == "neutral"
    assert told["bead_section"]["value"] == "flat"


def test_each_value_says_where_it_came_from() -> None:
    told = resolve({"width": "10", "height": None}).as_dict()

    assert told["width_mm"] == {"value": 10.0, "from": "option"}
    assert told["height_mm"] == {"value": 4.0, "from": "default"}


def test_what_does_not_change_the_result_is_not_told() -> None:
    assert not {"workers", "overwrite"} & resolve({"workers": 3, "overwrite": True}).as_dict().keys()


@pytest.mark.parametrize(
    ("name", "value", "limits"),
    [
        ("tolerance", 0.0004, "0.0005 to 1 mm"),
        ("tolerance", 1.1, "0.0005 to 1 mm"),
        ("width", 0, "0.5 to 100 mm"),
        ("height", -1, "0.05 to 50 mm"),
        ("spacing", "0", "0.1 to 100 mm"),
        ("contours", 0, "1 to 1000"),
        ("contours", 1.5, "1 to 1000"),
        ("decimals", 2, "3 to 8"),
        ("clearance", "0", "0.1 to 1000 mm"),
        ("feed", 0, "0.1 to 2000 mm/s"),
        ("scale", 0, "0.0001 to 10000"),
        ("workers", 0, "1 to 1024"),
        ("width", "wide", "0.5 to 100 mm"),
        ("width", math.nan, "0.5 to 100 mm"),
        ("width", math.inf, "0.5 to 100 mm"),
        ("rotate", "1,2", "RX,RY,RZ"),
        ("rotate", "1,2,400", "-360 to 360"),
        ("at", "1;2", "X,Y"),
        ("layers", "3", "A:B"),
        ("layers", "a:b", "A:B"),
        ("layers", "-1:4", "A:B"),
        ("bead_section", "oval", "flat or round"),
        ("rule", "middle", "neutral"),
        ("wall", "up", "centre, left or right"),
    ],
)
def test_a_fault_names_its_key_and_what_is_allowed(name: str, value: object, limits: str) -> None:
    text = fault(**{name: value})

    assert text.startswith(f"{name}: ")
    assert limits in text


def test_all_faults_are_told_together() -> None:
    text = fault(tolerance=5, width="x", decimals=99, contour=3)

    assert text.startswith("4 settings are at fault:")
    assert all(key in text for key in ("tolerance: ", "width: ", "decimals: ", "did you mean contours?"))


def test_faults_between_values_say_both_numbers() -> None:
    # 2.42 units of the last place: the provable rounding of an arc up to half a turn.
    text = fault(width=4, height=4, tolerance=0.002, decimals=3)

    assert "height: 4 mm is not below the width, 4 mm" in text
    assert "0.002 mm cannot be kept with 3 decimals" in text
    assert "0.00242 mm" in text


def test_least_tolerance_is_kept_by_four_decimals_and_not_by_three() -> None:
    assert resolve({"tolerance": 0.0005, "decimals": 4}).settings.tolerance == 0.0005
    assert "cannot be kept" in fault(tolerance=0.0005, decimals=3)


@pytest.mark.parametrize("rule", ["outer", "inner"])
def test_rules_are_for_solids(rule: str) -> None:
    assert resolve({"rule": rule}).settings.rule == rule
    assert f"rule: {rule} is for solids" in fault(rule=rule, wall="centre")


@pytest.mark.parametrize(
    ("text", "layers"), [("3:7", (3, 7)), ("3:", (3, None)), (":7", (0, 7)), ("0:1", (0, 1))]
)
def test_layers_are_a_half_open_range(text: str, layers: tuple[int, int | None]) -> None:
    assert resolve({"layers": text}).settings.layers == layers


def test_an_empty_range_of_layers_is_refused() -> None:
    assert "holds no layer" in fault(layers="4:4")


# Areas of a rectangle, and of one between two half discs of radius h / 2: w h and h (w - h) + pi h^2 / 4;
# a published table has 30.16637 mm2 and a spacing without voids of 7.541593 mm for 8.4 x 4.
def test_spacing_without_voids_follows_from_the_bead_section() -> None:
    assert resolve({}).settings.bead_spacing() == 8.4
    tamped_not = resolve({"bead_section": "round"}).settings
    assert abs(tamped_not.bead_area() - 30.16637) <= 0.5e-5
    assert abs(tamped_not.bead_spacing() - 7.541593) <= 0.5e-6
    assert resolve({"spacing": 7, "bead_section": "round"}).settings.bead_spacing() == 7


def test_settings_are_frozen_and_pickle() -> None:
    settings = resolve({"at": (1, 2)}).settings

    with pytest.raises(ValidationError):
        settings.width = 1.0  # type: ignore[misc]
    assert pickle.loads(pickle.dumps(settings)) == settings


def test_keywords_of_the_api_are_the_settings() -> None:
    assert PlanOptions.__annotations__.keys() == PlanSettings.model_fields.keys()


def test_the_bore_follows_the_width_and_must_fit_it():
    assert resolve({}).settings.nozzle_bore() == 7.62
    assert resolve({"width": 16.8}).as_dict()["bore_mm"] == {"value": 15.24, "from": "default"}
    assert resolve({"bore": 8.0}).settings.nozzle_bore() == 8.0
    # a bead is 1 to 1.5 bores wide
    for bore in (5.5, 8.5):
        with pytest.raises(SettingsError, match=r"bore: .* cannot lay a bead 8.4 mm wide"):
            resolve({"bore": bore})


# What is wrong with single values hides nothing that is wrong between others, and nothing is said of a pair of which
# one is at fault itself.
def test_faults_between_values_are_told_beside_those_of_single_values() -> None:
    text = fault(contours=0, decimals=3, tolerance=0.002, cut_down=True, width="x", height=9)

    assert text.startswith("4 settings are at fault:")
    assert "contours: 0 is out of range" in text
    assert "width: 'x' cannot be used" in text
    assert "tolerance: 0.002 mm cannot be kept with 3 decimals" in text
    assert "cut_down: turns the segments that [[cut]] makes" in text
    assert "not below the width" not in text


def test_faults_between_values_of_tables_keep_their_places() -> None:
    machine = parse_document(
        "[speeds]\nleast = 900\noverride = [0.7, 0.9]\n[[device]]\nname = 'NO'\n[[device]]\nname = 'fan'\non = ['M8']\n"
        "off = ['M9']\non_at = ['layer begin']\n[[device]]\nname = 'lamp'\nhalt_time = -1\non_at = ['layer begin']\n",
        name="machine.toml",
        told="machine",
    )
    with pytest.raises(SettingsError) as caught:
        resolve({}, machine=machine)
    text = str(caught.value)

    assert text.startswith("7 settings are at fault:")
    assert "machine.toml:2: speeds.least: 900 mm/s is not below the greatest, 500 mm/s" in text
    assert "machine.toml:3: speeds.override: 0.7 to 0.9 leaves out 1, the programmed feed" in text
    assert "machine.toml:5: device[1].name: " in text
    assert "machine.toml:6: device[2].off_at: must hold program end" in text
    assert "machine.toml:13: device[3].halt_time: -1 is out of range" in text
    assert "machine.toml:14: device[3].on_at: names moments, but on has no line" in text
    assert "machine.toml:11: device[3].off_at: must hold program end" in text


def test_a_table_that_lacks_a_key_hides_no_other() -> None:
    text = fault(
        bed_map={"layers": 2, "least": 9}, heights={"cusp": 0.2, "least": 3, "greatest": 2}, layers="4:4"
    )

    assert text.startswith("3 settings are at fault:")
    assert "bed_map.file: is missing" in text
    assert "heights.least: 3 mm is above the greatest, 2 mm" in text
    assert "layers: 4:4 holds no layer" in text


def test_segments_are_turned_only_where_there_are_some() -> None:
    assert resolve({"cut_down": True, "cut": [{"z": 40.0}]}).settings.cut_down
    assert "add one or leave this out" in fault(cut_down=True)


def test_what_a_run_in_and_a_map_may_be_is_told() -> None:
    machine = parse_document('[extruder]\nstart_lead = "maybe"\n', name="machine.toml", told="machine")
    with pytest.raises(SettingsError) as caught:
        resolve({"bed_map": {"file": "heights.csv", "layers": "0"}}, machine=machine)

    assert "machine.toml:2: extruder.start_lead: 'maybe' cannot be used; allowed run-in or none" in str(
        caught.value
    )
    assert "bed_map.layers: '0' is out of range; allowed 1 to 100" in str(caught.value)


# The job names the file alone, the option how many layers share its heights.
def test_an_option_adds_to_a_map_that_a_job_names_by_its_file_alone() -> None:
    job = parse_document('bed_map = "heights.csv"\n', name="job.toml", told="job")
    rule = resolve({"bed_map": {"layers": "2"}}, job=job).settings.bed_map

    assert rule is not None
    assert (rule.file, rule.layers) == ("heights.csv", 2)
