"""A plan one of whose planes touches a free-form face: what could not be decided there reaches file and terminal."""

from __future__ import annotations

import importlib.resources
import json
from pathlib import Path
from typing import Any

import cadquery as cq
import jsonschema
import pytest

from beadwright import plan
from tests.e2e.test_examples import beadwright

SCHEMA = json.loads(importlib.resources.files("beadwright.pipeline").joinpath("plan.schema.json").read_text())
HALF, HEIGHT, SLOPE = 50.0, 30.0, 0.002
TOUCHED = 7  # the layer whose middle lies at the saddle's height: 4 mm each, from 28 to 32 mm


def block_under_a_saddle() -> cq.Solid:
    """Upright walls over a square, and z = 30 + 0.002 x y on top: one doubly ruled face, level in its middle."""
    corners = [(HALF, HALF), (-HALF, HALF), (-HALF, -HALF), (HALF, -HALF)]
    low = [cq.Vector(x, y, 0.0) for x, y in corners]
    top = [cq.Vector(x, y, HEIGHT + SLOPE * x * y) for x, y in corners]
    rulings = cq.Edge.makeLine(top[0], top[1]), cq.Edge.makeLine(top[3], top[2])
    faces = [cq.Face.makeRuledSurface(*rulings), cq.Face.makeFromWires(cq.Wire.makePolygon(low, close=True))]
    for i, j in ((0, 1), (1, 2), (2, 3), (3, 0)):
        faces.append(cq.Face.makeFromWires(cq.Wire.makePolygon([low[i], low[j], top[j], top[i]], close=True)))
    return cq.Solid.makeSolid(cq.Shell.makeShell(faces))


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("saddle")
    cq.exporters.export(cq.Workplane(block_under_a_saddle()), str(folder / "saddle.step"))
    done = beadwright("plan", "saddle.step", "-o", "out", "--layers", "6:8", "--workers", "1", folder=folder)
    assert done.returncode == 0, done.stderr
    return folder, done.stderr, json.loads((folder / "out" / "plan.json").read_text())


def test_the_file_says_what_could_hide_and_what_went_straight(run: tuple[Path, str, dict[str, Any]]) -> None:
    _, _, document = run
    below, touched = document["layers"]

    jsonschema.validate(document, SCHEMA)
    assert (below["hidden_mm"], below["chords"], below["near_tangent"]) == (0.0, 0, 0)
    assert touched["section_z_mm"] == [HEIGHT]
    # two crossing lines: the plane meets the face along both rulings through its middle
    assert touched["chords"] == 2
    assert 0.0 < touched["hidden_mm"] < 1e-3
    assert document["totals"]["hidden_mm"] == touched["hidden_mm"]
    # what the chords are off stands in the bound; half of the square lies below the plane
    chords = [found for found in document["findings"] if found["code"] == "chord"]
    assert {found["layer"] for found in chords} == {TOUCHED}
    assert max(found["measured"] for found in chords) <= touched["bounds_mm"]["section"]
    perimeter = 8 * HALF
    assert abs(touched["area_mm2"] - 2 * HALF**2) <= touched["bounds_mm"]["section"] * perimeter


def test_the_findings_tell_it_in_words_and_on_the_terminal(run: tuple[Path, str, dict[str, Any]]) -> None:
    _, told, document = run
    by_code = {found["code"]: found for found in document["findings"]}

    hidden = by_code["hidden"]
    assert (hidden["level"], hidden["layer"], hidden["unit"]) == ("warning", TOUCHED, "mm")
    assert hidden["measured"] == document["totals"]["hidden_mm"]
    assert "could have been missed" in hidden["text"]
    assert "nearly level" in by_code["chord"]["text"]
    # the section is the two rulings through the face's middle, and the straight stretches begin on them
    x, y, z = by_code["chord"]["at_mm"]
    assert min(abs(x - document["placement"][0][3]), abs(y - document["placement"][1][3])) < 1e-3
    assert z == HEIGHT
    words = " ".join(told.split())
    for code in ("hidden", "chord", "near-tangent"):
        assert code in words, told
    assert "could have been missed" in words


def test_strict_makes_it_an_error(run: tuple[Path, str, dict[str, Any]]) -> None:
    folder, _, _ = run
    strict = plan(folder / "saddle.step", layers=f"{TOUCHED}:{TOUCHED + 1}", workers=1, strict=True)

    assert [found.level for found in strict.findings if found.code == "hidden"] == ["error"]
    assert strict.has_errors


def test_the_program_is_verified_all_the_same(run: tuple[Path, str, dict[str, Any]]) -> None:
    folder, _, _ = run
    done = beadwright("verify", folder / "out" / "program.nc", "saddle.step", "--workers", "1", folder=folder)

    assert done.returncode == 0, done.stderr
