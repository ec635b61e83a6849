"""Shipped dialects read back to the same geometry and the same events; files at fault are refused when loaded."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from beadwright.curves import length
from beadwright.errors import SettingsError
from beadwright.post import AxisFeed, Words, dialect_names, dry_run, lint, load_dialect, split_program
from beadwright.program import Head
from beadwright.verify import FlowWords
from beadwright.verify import read as verifiers_read
from tests.post._build_programs import bead, circle, path, program
from tests.post._reader import read

BEADS = [
    [
        bead(circle(1000 / 3, 70.0, 123.456789)),
        bead(path([[4.2, 4.2], [95.8, 4.2], [95.8, 95.8], [4.2, 95.8]], [0, 0.3, 0, -0.2]), loop=1),
    ],
    [bead(circle(0, 0, 99.9, -1, 0.7))],
    [bead(path([[0, 0], [70.12345, 3.3], [71, 90]], [0.9, -0.01], closed=False))],
]
HEAD = {"part": "part.step", "part_sha256": "0" * 64, "contours": 1}


def words_of(dialect):
    return Words(units=dialect.units, decimals=dialect.decimals or 4)


def made(dialect, **other):
    given = {"words": words_of(dialect), "dialect": dialect}
    if dialect.path == "continuous":
        given["modes"] = {"path_tolerance": 0.25}
    if dialect.flow == "axis":
        given["axis"] = AxisFeed(scale=1000.0, kind="round")
    if dialect.flow == "s-word":
        given["rpm"] = 79.3916
    return program(BEADS, **(given | other))


def positions(machine):
    """Ends of extruding moves by bead, and of the others."""
    return [(s.bead, s.extruding, *s.end) for s in machine.steps]


def middle(step):
    """Half way along an arc."""
    x, y = step.centre
    angle = math.atan2(step.start[1] - y, step.start[0] - x) + step.sweep / 2
    radius = sum(step.radii) / 2
    return x + radius * math.cos(angle), y + radius * math.sin(angle)


@pytest.mark.parametrize("name", [n for n in dialect_names() if n not in {"rs274-lines", "rs274-radius"}])
def test_a_dialect_reads_back_to_the_same_moves(name):
    dialect = load_dialect(name)
    text, texts, _ = made(dialect)
    plain_text, plain_texts, _ = program(BEADS)
    found, plain = read(text), read(plain_text)
    rounding = max(t.budget.rounding for t in (*texts, *plain_texts))

    assert lint(text, beyond=dialect.beyond) == ()
    assert len(found.steps) == len(plain.steps)
    for step, wanted in zip(found.steps, plain.steps, strict=True):
        assert (step.code, step.bead, step.extruding) == (wanted.code, wanted.bead, wanted.extruding)
        assert step.end == pytest.approx(wanted.end, abs=2 * rounding)
        assert step.feed == pytest.approx(
            wanted.feed, abs=0.5e-6 * 25.4
        )  # half the last place of F in in/min
        if step.centre is not None:
            assert middle(step) == pytest.approx(middle(wanted), abs=2 * rounding)
            assert abs(step.radii[0] - step.radii[1]) <= 0.002
    switches = {"M3", "M5"} if dialect.flow == "axis" else set()
    assert found.events == [event for event in plain.events if event not in switches]


@pytest.mark.parametrize("name", dialect_names())
def test_the_verifiers_reader_agrees_with_the_tests(name):
    dialect = load_dialect(name)
    text, _, events = made(dialect)

    found = verifiers_read(text, FlowWords(axis=dialect.axis or "")).moves
    mine = read(text).steps
    flowing = [s for s in mine if s.extruding]

    assert [f for f in verifiers_read(text, FlowWords(axis=dialect.axis or "")).faults if f.strict] == []
    assert float(found.length[found.flow].sum()) == pytest.approx(sum(s.length for s in flowing), rel=1e-6)
    planned = sum(length(e.path) for layer in events for e in layer.events if hasattr(e, "path"))
    chord = 0.02 if dialect.arcs == "lines" else 0.0
    assert sum(s.length for s in flowing) == pytest.approx(planned, abs=0.01 + chord * planned)
    assert text.count("(bead ") == 4


def test_the_default_is_the_standard_to_the_letter():
    assert made(load_dialect("rs274"))[0] == program(BEADS)[0]


# The rise of an arc of sweep s above its chord is r (1 - cos(s/2)); n chords of a circle: r (1 - cos(pi/n)).
def test_chords_stay_within_their_own_bound():
    dialect = load_dialect("rs274-lines")
    text, texts, _ = made(dialect)
    circle_steps = [s for s in read(text).steps if s.bead == 2 and s.extruding]

    count = len(circle_steps)
    rise = 99.9 * (1 - math.cos(math.pi / count))
    assert all(s.code == 1 for s in read(text).steps if s.extruding)
    assert rise <= 0.01
    # One chord fewer on each half would be above the tolerance.
    assert 99.9 * (1 - math.cos(math.pi / (count - 2))) > 0.01
    assert texts[1].chord == pytest.approx(rise, rel=1e-9)
    assert texts[1].budget.rounding >= texts[1].chord
    assert texts[1].budget.total >= texts[1].chord + 0.01
    assert f"chord={texts[1].chord!r}" in text
    middles = np.array([np.add(s.start, s.end)[:2] / 2 for s in circle_steps])
    assert np.abs(np.hypot(*middles.T) - 99.9).max() <= texts[1].budget.rounding


def test_arcs_by_radius_stay_within_their_bound_and_say_that_they_are_not_advised():
    text, texts, _ = made(load_dialect("rs274-radius"))
    bound = max(t.budget.rounding for t in texts)

    assert "NOT ADVISED" in text
    assert lint(text) == ()
    arcs = [s for s in read(text).steps if s.bead == 2 and s.extruding]
    # Quarters, so that a unit of the last place of R moves the centre by at most sqrt 2 of them.
    assert len(arcs) == 4
    assert all(abs(s.sweep) < math.pi / 2 + 1e-5 for s in arcs)
    for step in arcs:
        assert math.hypot(*step.centre) <= 3 * bound
        assert step.radii[0] == pytest.approx(99.9, abs=2 * bound)
    assert bound <= 5e-4


def test_continuous_path_states_its_tolerance():
    dialect = load_dialect("rs274-continuous")
    text, _, _ = made(dialect)

    assert "\nG64 P0.2500\n" in text
    assert "up to 0.25 mm" in text
    with pytest.raises(SettingsError, match=r"path\.tolerance in the machine file.*--machine"):
        program(BEADS, dialect=dialect)
    with pytest.raises(SettingsError, match="writes exact path"):
        program(BEADS, modes={"path_tolerance": 0.1})


def test_bare_continuous_path_is_a_fault():
    assert [f.rule for f in lint("G21\nG64\nM2\n")] == ["path mode"]
    assert lint("G21\nG64 P0.1\nM2\n") == ()


# Volume by Pappus: area of the section times the length of the centreline; 8.4 x 4 round has 30.16637 mm2.
def test_an_extruder_axis_counts_the_volume():
    text, texts, events = made(load_dialect("rs274-axis"))

    lengths = [sum(length(e.path) for e in layer.events if hasattr(e, "path")) for layer in events]
    assert texts[-1].advance == pytest.approx(sum(lengths) * 30.16637 / 1000, rel=1e-6)
    assert read(text).axis == pytest.approx(texts[-1].advance, abs=1e-5)
    assert "axis=A" in text
    assert " on=" not in text
    assert re.search(r"^[^(\n]*M[345]", text, flags=re.MULTILINE) is None


def test_a_screw_speed_is_written_where_the_extruder_starts():
    text = made(load_dialect("rs274-screw"))[0]

    assert text.count("\nM3 S79.392\n") == 4
    with pytest.raises(SettingsError, match="calibration"):
        made(load_dialect("rs274-screw"), rpm=None)


def test_line_numbers_start_again_before_they_are_too_long():
    ring = bead(path(np.random.default_rng(5).random((1200, 2)) * 900, np.zeros(1200)))
    dialect = load_dialect("rs274-numbered").model_copy(update={"line_numbers": 100})

    text = program([[ring]], dialect=dialect)[0]
    numbers = [int(n) for n in re.findall(r"^N(\d+) ", text, flags=re.MULTILINE)]

    assert numbers[0] == 100
    assert max(numbers) == 99_900
    assert numbers.count(100) == 2
    assert lint(text) == ()
    assert all(line.startswith(("(", "N")) for line in text.split("\n") if line)


def files_of(texts, **split):
    dialect = load_dialect("rs274-by-layer")
    dialect = dialect.model_copy(update={"split": dialect.split.model_copy(update=split)})
    return split_program(Head(**HEAD), texts, words=Words(), dialect=dialect)


@pytest.mark.parametrize(("by", "most"), [("layer", 1), ("time", 15.0), ("size", None)])
def test_each_file_of_a_split_program_runs_alone(by, most):
    text, texts, _ = program(BEADS)
    # Head and end may take 16 kB; so much more that no two layers go together.
    files = files_of(texts, by=by, most=most or 16_000 + max(len(each.text) for each in texts))

    assert len(files) == 3 if by == "layer" else len(files) >= 2
    together = []
    for place, file in enumerate(files):
        assert file.name == f"program-{place + 1:03d}.nc"
        assert lint(file.text) == ()
        machine = read(file.text, at=(777.0, 777.0, 500.0))
        words = [line for line in file.text.split("\n") if line and line[0] != "("]
        assert words[:6] == ["G21", "G17", "G90", "G94", "G61", "M5"]
        assert words[6].startswith("G0 Z")
        assert words[7].startswith("G0 X")
        assert f"file={place + 1}/{len(files)}" in file.text
        assert "(Start: rises to Z " in file.text
        assert machine.done
        together += [p for p in positions(machine) if p[1]]
    assert together == [p for p in positions(read(text)) if p[1]]


def test_a_layer_that_no_file_can_hold_is_named():
    texts = program(BEADS)[1]

    with pytest.raises(SettingsError, match=r"layer 0 alone takes \d+ of the 3 s"):
        files_of(texts, by="time", most=3.0)


def refused(tmp_path, text):
    file = tmp_path / "own.toml"
    file.write_text(text)
    with pytest.raises(SettingsError) as caught:
        load_dialect(file)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('name = "own"\n', "events: is missing"),
        ('name = "own"\nbased_on = "rs275"\n', "did you mean rs274?"),
        ('based_on = "rs274"\n[events.line]\nlines = ["G1 X{x} Y{y} Q{q}"]\n', "there is no field {q} in line"),
        ('based_on = "rs274"\n[events.line]\nlines = ["G1 X{x}"]\n', "must write {y}"),
        ('based_on = "rs274"\n[events.line]\nlines = ["G1 X{x} Y{y}", "G4 P0"]\n', "must be one line"),
        ('based_on = "rs274"\n[events.rise]\nlines = ["G0 Z{z"]\n', "a brace that opens or closes no field"),
        ('based_on = "rs274"\n[events.flow]\nlines = []\n', "there is no such setting; did you mean lower?"),
        ('based_on = "rs274"\n[events.dwell]\nmotion = "halts"\n', "halt_time: must be stated"),
        ('based_on = "rs274"\n[events.line]\nlines = ["G1 X{x} Y{y} M3"]\n', "event with motion"),
        ('based_on = "rs274-inch"\ndecimals = 4\n', "decimals: allowed 5 to 8 in inch"),
        ('based_on = "rs274"\narcs = "lines"\n', "chord: is stated exactly where arcs is lines"),
        ('based_on = "rs274"\nflow = "axis"\n', "axis: is stated exactly where flow is axis"),
        ('based_on = "rs274"\n[events.line]\nlines = ["G2 X{x} Y{y} I1 J1"]\n', "breaks the standard"),
        ('based_on = "rs274-incremental"\n[events.flow_start]\nlines = ["{on}"]\n', "breaks the standard, arc rule"),
        (
            'based_on = "rs274-lines"\ndistance = "incremental"\n[events.line]\nlines = ["G1 X{dx} Y{dy}"]\n',
            "do the lines of bead moves fit to distance = 'incremental'?",
        ),
        (
            'based_on = "rs274"\n[events.flow_change]\nlines = ["S{rpm}"]\nmotion = "synchronised"\n',
            "events.flow_change: has no meaning where flow is speed-tied",
        ),
        (
            'based_on = "rs274-screw"\n[events.flow_change]\nlines = ["S80"]\nmotion = "synchronised"\n',
            "must write {rpm}",
        ),
        (
            'based_on = "rs274-screw"\n[events.flow_change]\nlines = ["S{rpm} S5"]\nmotion = "synchronised"\n',
            "breaks the standard",
        ),
        ('based_on = "rs274"\nunits = "cm"\n', "units: 'cm' cannot be used; allowed mm or inch"),
    ],
)  # fmt: skip
def test_a_dialect_at_fault_is_refused_when_it_is_loaded(tmp_path, text, told):
    assert told in refused(tmp_path, text)


SYNCHRONISED = """name = "screw-sync"
based_on = "rs274-screw"

[events.flow_change]
lines = ["S{rpm}"]
motion = "synchronised"
"""
# 60 mm of 8.0 and an arc of radius 20 over 90 degrees of 9.0 mm
VARIED = path([[0, 0], [30, 0], [60, 0], [80, 20]], [0, 0, math.tan(math.pi / 8)], closed=False)


def varied():
    return bead(
        replace(VARIED, support=np.array([0, 0, 1], np.int32)), role="medial", width=8.34, widths=(8.0, 9.0)
    )


def test_the_flow_changes_with_the_width_inside_a_bead(tmp_path):
    file = tmp_path / "sync.toml"
    file.write_text(SYNCHRONISED)
    dialect = load_dialect(file)
    text, _, _ = program([[varied()]], dialect=dialect, rpm=[(70.0, 78.75)])
    lines = text[text.index("(bead ") :].split("\n")

    assert dialect.varies
    assert lint(text) == ()
    assert lines[1:9] == [
        "M3 S70.0", "(width mm=8.0)", "G1 X30.0000 Y0.0000", "G1 X60.0000 Y0.0000",
        "(width mm=9.0)", "S78.75", "G3 X80.0000 Y20.0000 I0.0000 J20.0000", "M5",
    ]  # fmt: skip
    dry = dry_run(text, words=words_of(dialect), dialect=dialect, devices=(), lift=10.0, feed=None)
    assert "S78" not in dry
    assert "S70" not in dry


def test_an_extruder_axis_advances_by_each_moves_own_area():
    axis = AxisFeed(scale=1000.0, kind="flat")
    text, texts, _ = program([[varied()]], dialect=load_dialect("rs274-axis"), axis=axis)
    volumes = (60 * 8.0 * 4.0 / 1000, math.pi * 10 * 9.0 * 4.0 / 1000)

    assert texts[0].advance == pytest.approx(sum(volumes), abs=1e-5)
    assert f"G1 X60.0000 Y0.0000 A{volumes[0]:.5f}\n(width mm=9.0)\nG3" in text


def test_without_a_word_in_time_with_the_moves_no_width_varies():
    plain = [load_dialect(name) for name in ("rs274", "rs274-inch", "rs274-continuous")]
    assert [dialect.varies for dialect in plain] == [False] * 3
    axis, screw = load_dialect("rs274-axis"), load_dialect("rs274-screw")
    # at one screw speed the width follows the speed
    assert [(each.varies, each.by_speed) for each in (axis, screw)] == [(True, False), (True, True)]


def test_a_missing_event_is_told_with_its_name(tmp_path):
    import tomllib
    from importlib.resources import files

    text = (files("beadwright.post") / "dialects" / "rs274.toml").read_text()
    assert "flow_stop" in tomllib.loads(text)["events"]
    first, last = text.index("[events.flow_stop]"), text.index("[events.rise]")

    assert "events.flow_stop: is missing" in refused(tmp_path, text[:first] + text[last:])


def test_ones_own_dialect_in_a_dozen_lines(tmp_path):
    file = tmp_path / "hall.toml"
    file.write_text(
        """name = "hall"
based_on = "rs274"
title = "Extruder on a digital output that takes effect with the next move"
on = "M62"
off = "M63"

[events.flow_start]
lines = ["{on} P1"]
motion = "synchronised"
[events.flow_stop]
lines = ["{off} P1"]
motion = "synchronised"
"""
    )
    with pytest.raises(SettingsError, match="a G or M number that the standard does not have"):
        load_dialect(file)

    file.write_text('beyond = ["M62", "M63"]\n' + file.read_text())
    dialect = load_dialect(file.name, folder=tmp_path)
    text = made(dialect)[0]

    assert lint(text, beyond=dialect.beyond) == ()
    assert dialect.events.flow_start.motion == "synchronised"
    assert dialect.events.flow_start.halt == 0.0
    assert text.count("\nM62 P1\n") == 4
    assert "on=M62 off=M63" in text
