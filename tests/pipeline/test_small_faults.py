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
