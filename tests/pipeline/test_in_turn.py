"""Parts one after another: where the head passes, what the ways pass over, and what a layer then lasts."""

from __future__ import annotations

import importlib.resources
import json
import re

import cadquery as cq
import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.errors import SettingsError
from beadwright.pipeline import verify_program
from beadwright.pipeline._in_turn import strikes
from beadwright.pipeline._set_up import set_up
from beadwright.settings import resolve

SCHEMA = json.loads(
    importlib.resources.files("beadwright.pipeline").joinpath("pieces.schema.json").read_text()
)
BLOCK = cq.Workplane().box(40, 40, 24, centered=(True, True, False))
HEAD = "[head]\nsize = [120, 100]\nabove_tip = {above}\nbeam_depth = {beam}\nbeam_above_tip = {beam_above}\n"


def machine(folder, *, above=60, beam=300, beam_above=200):
    path = folder / "machine.toml"
    path.write_text(
        "[volume]\nsize = [1000, 600, 400]\n" + HEAD.format(above=above, beam=beam, beam_above=beam_above)
    )
    return path


def faults(folder, places, **head):
    resolved = resolve({"place": [{"at": at} for at in places]}, machine=machine(folder, **head))
    copies = set_up(BLOCK, resolved, picture=False).copies
    return strikes(copies, resolved.machine, resolved.settings)


def test_the_head_may_strike_what_stands_within_half_its_size(tmp_path):
    # blocks of 40 and a head of 120: free from 40 / 2 + 120 / 2 + 40 / 2 = 100 on; 24 mm and a layer of 4 against
    # the first layer's 4 and what is above the tip: 24 mm or more pass
    assert faults(tmp_path, [[0, 0], [100.1, 0]], above=0) == []
    assert faults(tmp_path, [[0, 0], [99.9, 0]], above=24) == []
    (text,) = faults(tmp_path, [[0, 0], [99.9, 0]], above=23.9)
    assert text.startswith(
        "the head would strike copy 0 (shape at 0, 0) while copy 1 (shape at 99.9, 0) is printed"
    )
    assert "up to 28.0 mm, and 27.9 mm are free" in text


def test_the_beam_reaches_all_along_x(tmp_path):
    # 40 / 2 + 300 / 2 + 40 / 2 = 190
    assert faults(tmp_path, [[-300, -95.1], [300, 95]], beam_above=0) == []
    (text,) = faults(tmp_path, [[-300, -94.9], [300, 95]], beam_above=23)
    assert text.startswith("the beam would strike copy 0")


def test_a_higher_part_may_come_last_and_the_order_counts(tmp_path):
    tall = cq.Workplane().box(40, 40, 80, centered=(True, True, False))
    cq.exporters.export(tall, str(tmp_path / "tall.step"))
    cq.exporters.export(BLOCK, str(tmp_path / "block.step"))
    given = {"at": (0, 0), "beside": [{"file": str(tmp_path / "tall.step"), "at": [60, 0]}]}
    resolved = resolve(given, machine=machine(tmp_path, above=40))
    copies = set_up(tmp_path / "block.step", resolved, picture=False).copies
    assert strikes(copies, resolved.machine, resolved.settings) == []
    (text,) = strikes(copies[::-1], resolved.machine, resolved.settings)
    assert text.startswith(
        "the head would strike copy 1 (tall.step at 60, 0) while copy 0 (block.step at 0, 0)"
    )


def test_without_the_head_nothing_is_printed_in_turn(tmp_path):
    with pytest.raises(SettingsError, match=r"write \[head\] with size, above_tip"):
        beadwright.plan_pieces(BLOCK, copies=2, sequence={"parts": "in-turn"})
    with pytest.raises(SettingsError, match="would strike copy 0"):
        beadwright.plan_pieces(
            BLOCK, tmp_path / "out", copies=2, gap=10, machine=machine(tmp_path, above=10),
            sequence={"parts": "in-turn"},
        )  # fmt: skip
    assert not (tmp_path / "out").exists()
    bad = tmp_path / "bad.toml"
    bad.write_text("[head]\nsize = [120, 100]\nabove_tip = -1\nbeam_depth = 300\nbeam_above_tip = 9\n")
    with pytest.raises(SettingsError, match=r"bad\.toml:3: head\.above_tip: -1 is out of range"):
        resolve({}, machine=bad)


def test_together_a_layer_lasts_longer_and_in_turn_the_ways_pass_over(tmp_path):
    cq.exporters.export(BLOCK, str(tmp_path / "block.step"))
    places = [{"at": [-100, 0]}, {"at": [100, 50], "turn": 30}]
    common = {"machine": machine(tmp_path), "place": places, "workers": 1, "height": 6, "width": 10}
    common |= {"layer_time": {"least": 60.0}, "release": {}}
    together = beadwright.plan(tmp_path / "block.step", **{**common, "layer_time": {}})
    alone = beadwright.plan(tmp_path / "block.step", workers=1, height=6, width=10)
    rows = together.document["layers"], alone.document["layers"]
    for both, one in list(zip(*rows, strict=True))[1:]:
        assert both["time_s"] > 1.9 * one["time_s"]
        assert both["return_s"]["median"] > 1.9 * one["return_s"]["median"]
    made = beadwright.plan_pieces(
        tmp_path / "block.step", tmp_path / "out", sequence={"parts": "in-turn"}, **common
    )

    jsonschema.validate(made.document, SCHEMA)
    assert [row["name"] for row in made.document["pieces"]] == ["part_1", "part_2"]
    (_, first), (_, second) = made.results
    assert first.document["totals"]["mass_kg"] == pytest.approx(
        together.document["totals"]["mass_kg"] / 2, rel=1e-6
    )
    # the first part is 24 mm high, 4 layers of 6; 20 mm above that
    assert "passes_over_mm" not in made.document["pieces"][0]
    assert made.document["pieces"][1]["passes_over_mm"] == 44.0
    over = second.program
    assert "OTHER PARTS STAND ON THE PLATFORM" in over
    assert "OTHER PARTS" not in first.program
    heights_away = _heights_far_from(over, np.array([100.0, 50.0]))
    assert min(heights_away) >= 44.0
    for name, result in made.results:
        assert verify_program(tmp_path / "out" / name / "program.nc", tmp_path / "block.step").ok
        assert "copies" not in result.document


def _heights_far_from(program, middle):
    """Heights at which the nozzle is, or moves across, more than 40 mm away from a place."""
    at, heights = np.array([np.nan, np.nan, np.nan]), []
    for line in program.splitlines():
        words = dict(re.findall(r"([XYZ])([-\d.]+)", line)) if line[:1] == "G" else {}
        if not words:
            continue
        before = at.copy()
        for k, axis in enumerate("XYZ"):
            at[k] = float(words.get(axis, at[k]))
        ends = [p for p in (before, at) if np.isfinite(p).all()]
        if any(np.hypot(*(p[:2] - middle)) > 40 for p in ends):
            heights += [p[2] for p in ends]
    return heights or [np.inf]
