"""Settings as a program tells them: the rows of a plan, come back from text."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from beadwright.settings import DOCUMENTS, resolve, setting_rows, standing_of, template, told_row, value_text

OPTIONS = {
    "width": 10,
    "layers": "3:9",
    "contraction": (1.01, 1.0, 1.0),
    "stock": [{"faces": {"facing": [0, 0, 1]}, "amount": 3.0}],
    "fill": {"kind": "ribs", "angles": [0.0, 60.0]},
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("cards")
    for name in DOCUMENTS:
        (path / f"{name}.toml").write_text(template(name))
    return path


def test_a_told_setting_has_the_row_that_the_plan_has(folder: Path) -> None:
    resolved = resolve(OPTIONS, machine=folder / "machine.toml", material=folder / "material.toml")
    rows = setting_rows(resolved)
    told = resolved.as_dict()

    assert {"measured", "common practice", "from memory"} & {row.standing for row in rows}
    for row in rows:
        value = told[row.key]["value"]
        text = value_text(value)
        found = told_row(row.key, text, origin=row.origin, standing=standing_of(value))
        # text cannot tell a list of one from its member, nor no list from no text; where a figure stands is not told
        bare = isinstance(row.value, list) and len(row.value) < 2
        assert replace(found, value=None) == replace(row, value=None, source="")
        assert bare or found.value == row.value, row.key


def test_each_number_of_a_default_or_a_calibration_tells_its_standing(folder: Path) -> None:
    weighed = "".join(f"[[extruder.calibration]]\nrpm = {rpm}\nrate = {rpm / 5}\n" for rpm in (20, 40, 60))
    (folder / "weighed.toml").write_text(weighed)
    rows = {row.key: row for row in setting_rows(resolve({"width": 10}, machine=folder / "weighed.toml"))}

    assert rows["width_mm"].standing == ""  # given: whoever gave it knows
    for key in ("height_mm", "fill.angles", "machine.accelerations.along_mm_s2", "layer_time.band"):
        assert (rows[key].origin, rows[key].standing) == ("default", "common practice")
    assert rows["machine.extruder.calibration"].standing == "measured"
    assert not {rows[key].standing for key in ("tolerance_mm", "rule", "at_mm", "machine.rates.energy")} - {
        ""
    }


def test_what_nobody_knows_is_shown_as_it_stands() -> None:
    row = told_row("oven.shelf_mm", "7,8,x")

    assert row.as_dict() == {
        "key": "oven.shelf_mm",
        "label": "oven.shelf mm",
        "value": "7,8,x",
        "from": "program",
    }
    assert told_row("width_furlong", "1").allowed == ""
    assert told_row("machine", "1").value == 1
