"""What was once passed over in silence: thin tops, pads above the part, lines before the first bead."""

from __future__ import annotations

import cadquery as cq
import jsonschema
import pytest

import beadwright
from beadwright.errors import SettingsError
from beadwright.kernel import from_shape
from beadwright.pipeline import replan
from beadwright.pipeline._compare import compare
from beadwright.pipeline._compare_table import show_comparison
from beadwright.settings import parse_document, resolve
from beadwright.verify import VerifyOptions, verify
from tests.pipeline.test_plan_api import SCHEMA


def plate(height):
    return cq.Workplane().box(60, 40, height, centered=(True, True, False))


def told(result, code):
    return [finding for finding in result.findings if finding.code == code]


# 9.5 mm in layers of 4 mm: the last plane lies at 10 mm. A block of 60 x 40 mm has 2400 mm2.
def test_a_top_that_is_not_printed_is_told_with_height_and_area():
    (found,) = told(beadwright.plan(plate(9.5), workers=1), "thin-top")

    assert (found.level, found.layer, found.unit) == ("warning", 2, "mm")
    assert found.measured == pytest.approx(1.5)
    assert found.allowed == 2.0
    assert "1.500 mm, about 2400 mm2 of it, is not printed" in found.text
    assert not told(beadwright.plan(plate(10.5), workers=1), "thin-top")
    assert not told(beadwright.plan(plate(8), workers=1), "thin-top")


# A block of 60 x 40 x 16 with a step of 20 x 40 at 9.5: the third layer's plane lies at 10 mm, so 1.5 mm of 800 mm2 are
# missing there; a step at 10.5 is in the section, and one at 8 ends with a layer.
def test_every_level_face_that_a_layer_misses_is_told():
    def stepped(height):
        return plate(16).cut(
            cq.Workplane().box(20, 40, 20, centered=(True, True, False)).translate((20, 0, height))
        )

    (found,) = told(beadwright.plan(stepped(9.5), workers=1), "thin-top")
    assert (found.level, found.layer, found.unit) == ("warning", 2, "mm")
    assert found.measured == pytest.approx(1.5)
    assert "of 1 level face that" in found.text
    assert "1.500 mm under all 800 mm2 of face" in found.text
    for height in (8, 10.5):
        assert not told(beadwright.plan(stepped(height), workers=1), "thin-top")
    assert not told(beadwright.plan(stepped(9.5), workers=1, rule="outer"), "thin-top")


# Layers 4 and 5 of a block 28 mm high, of which one is printed, 19.8 mm high instead of 20: from there to the 24 mm
# where the plan ended are 1.05 layers, so 2; up to the part's top they would be 3.
def test_the_rest_of_a_part_of_a_plan_ends_where_that_did(tmp_path):
    cq.exporters.export(plate(28), str(tmp_path / "block.step"))
    beadwright.plan(tmp_path / "block.step", tmp_path / "out", workers=1, layers="4:6")
    rest = replan(tmp_path / "out", tmp_path / "rest", from_layer=5, height=19.8, workers=1)

    assert [row["index"] for row in rest.document["layers"]] == [5, 6]
    assert rest.document["join"]["top_mm"] == 24.0
    assert rest.document["join"]["layers_before"] == 1
    assert told(rest, "rest-ends-early")
    assert "It ends at 24 mm, as the earlier plan did." in rest.program.replace(")\n(", " ")
    jsonschema.validate(rest.document, SCHEMA)
    again = replan(tmp_path / "rest", tmp_path / "again", from_layer=6, height=23.8, workers=1)
    assert [row["index"] for row in again.document["layers"]] == [6]
    with pytest.raises(SettingsError, match="the earlier plan ended at 24 mm"):
        replan(tmp_path / "out", tmp_path / "none", from_layer=5, height=24.1, workers=1)


def test_a_stop_by_time_after_a_join_says_what_it_counts(tmp_path):
    cq.exporters.export(plate(12), str(tmp_path / "block.step"))
    beadwright.plan(
        tmp_path / "block.step", tmp_path / "out", workers=1, stop=[{"time": 1e6, "why": "refill"}]
    )
    rest = replan(tmp_path / "out", tmp_path / "rest", from_layer=1, height=4.0, workers=1)

    (found,) = told(rest, "stop-by-planned-time")
    assert (found.level, "with the time that was planned" in found.text) == ("note", True)


def test_a_pad_above_the_part_is_told():
    pad = {"at": (40.0, 0.0), "size": (20.0, 40.0)}
    high = beadwright.plan(plate(9.5), workers=1, pad=[{**pad, "layers": 5}], base_beads=1, base_layers=4)
    short = told(high, "base-cut-short")

    # The third layer is the top that is not printed.
    assert [(each.measured, each.allowed, each.unit) for each in short] == [
        (2.0, 5.0, "layers"),
        (2.0, 4.0, "layers"),
    ]
    assert short[0].text.startswith("pad 1 asks for 5 layers, but the part ends after 2 layers")
    assert short[0].at_mm == (40.0, 0.0, 8.0)
    assert not told(beadwright.plan(plate(8), workers=1, pad=[{**pad, "layers": 2}]), "base-cut-short")


# The part of 60 x 40 mm stands as near to the middle as the other at the middle leaves room: 60/2 + 50 + 60/2 along X
# would be 110, 40/2 + 50 + 40/2 along Y is 90 mm.
def test_a_part_without_a_place_stands_beside_one_that_has_the_middle(tmp_path):
    cq.exporters.export(plate(4), str(tmp_path / "block.step"))
    (tmp_path / "job.toml").write_text('[[beside]]\nfile = "block.step"\nat = [0, 0]\n')
    made = beadwright.plan(tmp_path / "block.step", job=tmp_path / "job.toml", workers=1)
    first, second = (copy["at_mm"] for copy in made.document["copies"])

    assert second == pytest.approx([0, 0])
    assert first == pytest.approx([0, -90])


def test_a_line_before_the_first_bead_is_refused(tmp_path):
    cq.exporters.export(plate(8), str(tmp_path / "block.step"))
    beadwright.plan(tmp_path / "block.step", tmp_path / "out", workers=1)
    lines = (tmp_path / "out" / "program.nc").read_text().splitlines()
    first = 1 + next(row for row, line in enumerate(lines) if line.startswith(("G1 X", "G2 X", "G3 X")))

    with pytest.raises(
        SettingsError, match=rf"at-line: line 2 of .* is before the first bead, .* line {first}:"
    ):
        replan(tmp_path / "out", at_line=2)
    with pytest.raises(SettingsError, match=rf"at-line: .* has the lines 1 to {len(lines)}, not 0"):
        replan(tmp_path / "out", at_line=0)
    assert not (tmp_path / "out-from-line-2").exists()


# A lag up of 0.45 s and down of 0.9 s, a purge of 0.2 kg: laps go on with flow, and what is purged has a length too.
def test_plan_and_verify_tell_the_same_length_of_bead():
    card = parse_document(
        "[extruder]\npurge = 0.02\npurge_place = [500, 500, 20]\n[extruder.lag]\ndead_up = 0.15\ntau_up = 0.9\n"
        "dead_down = 0.15\ntau_down = 0.3\n[path]\nmode = 'continuous'\ntolerance = 0.05\n",
        name="machine.toml",
        told="machine",
    )
    settings = resolve({"workers": 1, "dialect": "rs274-continuous", "fill": {"kind": "lines"}}, machine=card)
    made = beadwright.pipeline.plan_part(plate(4), None, resolved=settings)
    judged = verify(made.program, from_shape(plate(4)), VerifyOptions(every=True))

    # Each end of a move is printed to 1e-4 mm.
    assert judged.run.purge_mm3 > 0
    moves = sum(made.document["totals"]["moves"].values())
    assert judged.run.bead_mm == pytest.approx(made.document["totals"]["length_mm"], abs=2e-4 * moves)


def test_one_of_a_thing_is_told_as_one(tmp_path, capsys):
    cq.exporters.export(plate(4), str(tmp_path / "block.step"))
    for name, medial in (("a", True), ("b", False)):
        beadwright.plan(
            tmp_path / "block.step", tmp_path / name, workers=1, medial=medial, contours=1 + medial
        )
    show_comparison(compare(tmp_path / "a", tmp_path / "b"))
    shown = capsys.readouterr().err

    assert "1 layer changed:" in shown
    assert "setting medial: yes -> no" in shown


# Four layers of 60 x 40 x 4 mm: a stop after two and a half layers' mass is due before the fourth.
def test_stops_of_layers_that_are_printed_are_past(tmp_path):
    cq.exporters.export(plate(16), str(tmp_path / "block.step"))
    once = beadwright.plan(tmp_path / "block.step", workers=1, layers="0:1").document["totals"]["mass_kg"]
    stops = [
        {"layer": 1, "why": "insert"},
        {"layer": 2, "why": "measure"},
        {"mass": 2.5 * once, "why": "refill"},
        {"time": 1e5, "why": "shift"},
    ]
    made = beadwright.plan(tmp_path / "block.step", tmp_path / "out", workers=1, stop=stops)
    rest = replan(tmp_path / "out", from_layer=2, height=8.0, workers=1)

    def stopped(result):
        return [(row["layer"], row["why"]) for row in result.document["stops"]]

    assert stopped(made) == [(1, ["insert"]), (2, ["measure"]), (3, ["refill"])]
    assert stopped(rest) == [(2, ["measure"]), (3, ["refill"])]
    assert len(told(rest, "stop-not-reached")) == 1


def test_energy_and_cost_of_the_layers_add_up_to_the_whole():
    card = parse_document(
        "[rates]\ncurrency = 'USD'\nmachine = 60\nlabour = 40\nenergy = 0.25\nsheet = 50\nidle_power = 2\n"
        "extruder_power = 20\n",
        name="machine.toml",
        told="machine",
    )
    material = parse_document(
        "name = 'ours'\ndensity = 1140\nprice = 8\n", name="material.toml", told="material"
    )
    made = beadwright.pipeline.plan_part(
        plate(8), None, resolved=resolve({"workers": 1}, machine=card, material=material)
    )
    layers, whole = made.document["layers"], made.document["estimate"]
    jsonschema.validate(made.document, SCHEMA)

    assert sum(layer["energy_kwh"] for layer in layers) == pytest.approx(whole["energy_kwh"])
    laid = whole["cost"]["total"] - whole["cost"]["purge"] - whole["cost"]["sheet"]
    assert sum(layer["cost"] for layer in layers) == pytest.approx(laid)
    assert "cost" not in beadwright.plan(plate(4), workers=1).document["layers"][0]
