"""Whole programs, re-read by the tests' own reader."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.curves import length
from beadwright.errors import InternalError, SettingsError
from beadwright.post import Words, lint, program_text
from beadwright.program import Head, Setting
from tests.post._build_programs import bead, circle, path, program
from tests.post._reader import read

SQUARE = path([[4.2, 4.2], [95.8, 4.2], [95.8, 95.8], [4.2, 95.8]], [0, 0, 0, 0])


def two_layers(**other):
    return program(
        [
            [bead(circle(1000 / 3, 70.0, 123.456789)), bead(SQUARE, loop=1)],
            [bead(circle(0, 0, 99.9, -1, 0.7))],
        ],
        **other,
    )


@pytest.mark.parametrize("words", [Words(), Words(decimals=3), Words(units="inch", decimals=5)])
def test_w15_the_reread_program_is_the_plan_within_rounding(words):
    text, texts, events = two_layers(words=words)
    steps = [s for s in read(text).steps if s.extruding]
    planned = [e.path for layer in events for e in layer.events if hasattr(e, "path")]
    bound = max(t.budget.rounding for t in texts)

    assert bound <= 3 * words.place
    for index, line in enumerate(planned):
        own = [s for s in steps if s.bead == index]
        starts = np.array([s.start[:2] for s in own])
        assert np.abs(np.hypot(*(starts - line.points).T)).max() <= bound
        assert own[-1].end[:2] == pytest.approx(own[0].start[:2], abs=1e-9)
        assert sum(s.length for s in own) == pytest.approx(length(line), abs=20 * words.place)
        for step, b in zip(own, line.bulge, strict=True):
            assert math.copysign(1, step.sweep) == math.copysign(1, b) or b == 0
            assert step.centre is None or abs(step.radii[0] - step.radii[1]) <= 0.002


def test_the_extruder_runs_in_beads_and_nowhere_else():
    steps = read(two_layers()[0]).steps

    assert all(s.code > 0 and s.bead is not None for s in steps if s.extruding)
    assert all(s.extruding for s in steps if s.bead is not None)
    assert all(s.flat_length == 0 for s in steps if s.code == 1 and not s.extruding)


def test_heights_of_beads_and_traverses():
    steps = read(two_layers(clearance=20.0)[0]).steps

    assert {s.end[2] for s in steps if s.extruding} == {4.0, 8.0}
    assert {s.end[2] for s in steps if s.code == 0 and s.flat_length > 0} == {24.0, 28.0}
    assert steps[0].flat_length == 0


def test_feed_in_both_units():
    # trade check W7: 100 mm/s is F 6000 mm/min and F 236.220472 in/min
    text = two_layers(words=Words(units="inch", decimals=5))[0]

    assert "F236.220472\n" in text
    assert "\nF6000.0\n" in two_layers()[0]
    feeds = [s.feed for s in read(text).steps if s.code]
    assert feeds == pytest.approx([6000.0] * len(feeds), abs=0.5e-6 * 25.4)  # half the last place of F


def test_structured_comments_read_back_to_the_same_doubles():
    text, texts, _ = two_layers(
        placement=((0.1 + 0.2, 0.0, 0.0, 1e-17), (0.0, 0.3, 0.0, 2500.0), (0.0, 0.0, 0.3, 0.0)),
        settings=(Setting(name="part name", value="a (b) 50%", source="option"),),
    )
    comments = read(text).comments
    by_head = {}
    for head, keys in comments:
        by_head.setdefault(head, []).append(keys)

    assert [float(v) for v in by_head["placement"][0]["m"].split(",")] == [0.1 + 0.2, 0.0, 0.0, 1e-17]
    assert [float(b["rounding"]) for b in by_head["bound"]] == [t.budget.rounding for t in texts]
    assert [float(b["total"]) for b in by_head["bound"]] == [t.budget.total for t in texts]
    assert by_head["setting"] == [{"name": "part%20name", "value": "a%20%28b%29%2050%25", "from": "option"}]
    assert by_head["program"][0] == {
        "contract": "1", "units": "mm", "layers": "2", "beads": "3", "contours": "1", "decimals": "4",
        "part": "part.step", "part_sha256": "0" * 64, "on": "M3", "off": "M5",
    }  # fmt: skip
    assert [k["index"] for k in by_head["layer"]] == ["0", "1"]
    assert [k["index"] for k in by_head["bead"]] == ["0", "1", "2"]
    assert comments[-1][0] == "end program"


def test_a_long_foreign_name_is_cut_and_said_so():
    text = two_layers(part="Ж" * 250 + ".step")[0]

    assert lint(text) == ()
    assert " part_cut=1)" in text


def test_modes_stand_before_the_first_motion_one_a_line():
    lines = two_layers()[0].split("\n")
    words = [x for x in lines if x and not x.startswith("(")]

    assert words[:6] == ["G21", "G17", "G90", "G94", "G61", "M5"]
    assert words[-1] == "M2"
    assert lines[0].startswith("(beadwright ")
    assert any("CAUTION" in x for x in lines[:3])


def test_an_empty_layer_stands_in_its_place():
    text = program([[bead(SQUARE)], [], [bead(SQUARE)]])[0]

    assert [k["index"] for head, k in read(text).comments if head == "layer"] == ["0", "1", "2"]


def test_same_input_same_bytes():
    assert two_layers()[0] == two_layers()[0]


def test_a_bead_that_vanishes_in_rounding_is_a_fault_of_ours():
    with pytest.raises(InternalError, match="vanishes in rounding"):
        program([[bead(circle(0, 0, 1e-5))]])


def test_notes_must_fit_a_comment():
    with pytest.raises(SettingsError, match="parentheses"):
        two_layers(notes=("inner (first)",))


def test_a_missing_layer_is_refused():
    _, texts, _ = two_layers()

    with pytest.raises(InternalError, match="layer 1 stands where layer 0 is due"):
        program_text(Head(part="a.step", part_sha256="0" * 64, contours=1), texts[1:])
    upper = program_text(Head(part="a.step", part_sha256="0" * 64, contours=1, first=1), texts[1:])
    assert " first=1)" in upper.top
    # A part of a plan that begins with layer 0 says so, too, or its last layer would be held to reach the part's top.
    lower = Head(part="a.step", part_sha256="0" * 64, contours=1, partial=True)
    assert " first=0)" in program_text(lower, texts[:1]).top
