"""Holes and pockets printed full: areas in closed form, by every rule, and what is told of them."""

from __future__ import annotations

import json
import math

import cadquery as cq
import jsonschema
import pytest

import beadwright
from beadwright.errors import SettingsError
from beadwright.pipeline import verify_program
from tests.pipeline.test_plan_api import SCHEMA, codes

PLATE = cq.Workplane().box(400, 300, 8, centered=(True, True, False))


def areas(result):
    return [layer["area_mm2"] for layer in result.document["layers"]]


# 400 x 300 - pi 50^2 = 112146.02
def test_a_plate_with_a_hole_is_printed_full():
    part = PLATE.faces(">Z").workplane().hole(100)
    drawn = beadwright.plan(part, workers=1)
    full = beadwright.plan(part, workers=1, cut_later=[{"holes_below": 100}])

    assert areas(drawn) == pytest.approx([112146.02] * 2, abs=0.005)
    assert areas(full) == pytest.approx([120000.0] * 2, rel=1e-12)
    jsonschema.validate(full.document, SCHEMA)
    (row,) = full.document["cut_later"]
    assert row["diameter_mm"] == pytest.approx(100.0, rel=1e-12)
    assert row["size_mm"] == pytest.approx([100, 100, 8], rel=1e-9)
    # the default material has 1.14 g/cm3
    assert row["chip_kg"] == pytest.approx(math.pi * 50**2 * 8 * 1.14e-6, rel=1e-6)
    assert row["chip_volume_mm3"] == pytest.approx(math.pi * 50**2 * 8, rel=1e-9)
    assert "cut_later" not in drawn.document
    assert full.document["settings"]["cut_later"]["value"] == [{"holes_below_mm": 100.0}]


def test_holes_above_the_diameter_stay():
    part = PLATE.faces(">Z").workplane().pushPoints([(-100, 0)]).hole(60).pushPoints([(100, 0)]).hole(60.1)
    full = beadwright.plan(part, workers=1, cut_later=[{"holes_below": 60}])

    assert areas(full) == pytest.approx([120000.0 - math.pi * 30.05**2] * 2, rel=1e-9)
    assert len(full.document["cut_later"]) == 1


@pytest.mark.parametrize("rule", ["neutral", "outer", "inner"])
def test_a_pocket_by_its_faces_by_every_rule(rule):
    # a pocket 100 x 60, 6 deep in a plate of 12, its floor inside the slab from 4 to 8 mm
    part = cq.Workplane().box(200, 150, 12, centered=(True, True, False))
    part = part.faces(">Z").workplane().rect(100, 60).cutBlind(-6)
    pocket = [{"faces": {"area": [300.0, 600.0]}}, {"faces": {"area": [6000.0, 6000.0]}}]  # walls, floor
    drawn = beadwright.plan(part, workers=1, rule=rule)
    full = beadwright.plan(part, workers=1, rule=rule, cut_later=pocket)

    assert min(areas(drawn)) == pytest.approx(30000.0 - 6000.0, rel=1e-9)
    assert areas(full) == pytest.approx([30000.0] * 3, rel=1e-9)
    (row,) = full.document["cut_later"]
    assert len(row["faces"]) == 5
    assert row["size_mm"] == pytest.approx([100, 60, 6], rel=1e-9)


@pytest.mark.parametrize("rule", ["outer", "inner"])
def test_a_hole_that_begins_inside_a_slab(rule):
    # a step at 6 mm; the hole goes through the upper part only, which hangs over
    post = cq.Workplane().box(100, 100, 6, centered=(True, True, False))
    top = cq.Workplane(origin=(100, 0, 6)).box(300, 100, 6, centered=(True, True, False))
    part = post.union(top).faces(">Z").workplane(origin=(200, 0)).hole(40)
    full = beadwright.plan(part, workers=1, rule=rule, cut_later=[{"holes_below": 50}])

    whole = [1e4, 3e4 if rule == "outer" else 1e4, 3e4]
    assert areas(full) == pytest.approx(whole, rel=1e-9)
    assert full.document["fallbacks"] == 0


def test_a_bore_across_the_layers_stays_and_is_told():
    part = PLATE.faces(">X").workplane(centerOption="CenterOfBoundBox").hole(5, 20)
    full = beadwright.plan(part, workers=1, cut_later=[{"holes_below": 6}])

    finding = next(f for f in full.findings if f.code == "cut-later-open")
    assert finding.level == "warning"
    assert full.document["faces"][finding.face]["kind"] == "cylinder"
    assert areas(full) == pytest.approx(areas(beadwright.plan(part, workers=1)), rel=1e-12)


def test_rounded_corners_are_no_holes():
    part = PLATE.faces(">Z").workplane().rect(100, 60).cutThruAll().edges("|Z").fillet(5)
    full = beadwright.plan(part, workers=1, cut_later=[{"holes_below": 20}])

    assert "cut_later" not in full.document
    assert "cut-later-open" not in codes(full)


def test_a_choice_without_a_face_is_an_error_with_candidates():
    part = PLATE.faces(">Z").workplane().hole(100)
    with pytest.raises(
        SettingsError, match=r"cut_later\[1\].faces: no face .* has kind torus; its kinds: cylinder"
    ):
        beadwright.plan(part, workers=1, cut_later=[{"faces": {"kind": "torus"}}])
    with pytest.raises(SettingsError, match=r"its faces are numbered 0 to 6"):
        beadwright.plan(part, workers=1, cut_later=[{"faces": {"id": [40]}}])


def test_faces_by_number_are_found_again_in_a_revision(tmp_path):
    def part(at, width=400):
        plate = cq.Workplane().box(width, 300, 8, centered=(True, True, False))
        return plate.faces(">Z").workplane(origin=(0, 0)).pushPoints(at).hole(50)

    first = beadwright.plan(part([(-100, 0), (100, 0)]), tmp_path / "a", workers=1)
    left, right = (
        next(
            f["id"]
            for f in first.document["faces"]
            if f["kind"] == "cylinder" and f["centroid_mm"][0] * s > 0
        )
        for s in (-1, 1)
    )
    rule = {"cut_later": [{"faces": {"id": [left, right]}}], "earlier": str(tmp_path / "a" / "plan.json")}
    # the left hole moves by 2 mm, the right one is gone
    second = beadwright.plan(part([(-102, 0)]), workers=1, **rule)

    told = {f.code: f for f in second.findings}
    assert told["face-missing"].level == "error"
    assert f"face {right} (cylinder)" in told["face-missing"].text
    assert "its centroid moved by 2 mm" in told["face-changed"].text
    assert areas(second) == pytest.approx([120000.0] * 2, rel=1e-12)
    json.dumps(second.document)
    nothing = tmp_path / "b.json"
    nothing.write_text("[]")
    with pytest.raises(SettingsError, match=r"is no plan\.json"):
        beadwright.plan(part([(0, 0)]), workers=1, cut_later=rule["cut_later"], earlier=str(nothing))


def test_the_verifier_applies_the_rule_by_its_own_section(tmp_path):
    step = tmp_path / "part.step"
    cq.exporters.export(PLATE.faces(">Z").workplane().hole(100), str(step))
    beadwright.plan(step, tmp_path / "out", workers=1, contours=1, cut_later=[{"holes_below": 100}])
    program = tmp_path / "out" / "program.nc"

    assert verify_program(program, step).ok
    # without the words about it the hole is missing its bead
    text = program.read_text()
    line = next(x for x in text.splitlines(keepends=True) if x.startswith("(cut_later "))
    program.write_text(text.replace(line, ""))
    assert not verify_program(program, step).ok
