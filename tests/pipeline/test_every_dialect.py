"""Every shipped dialect from a part to its program and back by the verifier's reader: places, events, mass, time."""

from __future__ import annotations

import functools
import importlib.resources
import json
import re

import cadquery as cq
import jsonschema
import numpy as np
import pytest

from beadwright.kernel import from_shape
from beadwright.pipeline import export, plan_part
from beadwright.post import dialect_names, load_dialect
from beadwright.settings import parse_document, resolve
from beadwright.verify import FlowWords, VerifyOptions, read, verify

LAG = "[extruder.lag]\ndead_up = 0.1\ntau_up = 0.2\ndead_down = 0.1\ntau_down = 0.2\n"
CALIBRATION = "".join(
    f"[[extruder.calibration]]\nrpm = {rpm}\nrate = {rate}\n" for rpm, rate in ((10, 2), (60, 12), (120, 24))
)


def machine_of(dialect):
    """A machine file that fits to a dialect."""
    path = '[path]\nmode = "continuous"\ntolerance = 0.1\n' if dialect.path == "continuous" else ""
    return f'[extruder]\nflow_control = "{dialect.flow}"\n{LAG}{CALIBRATION}{path}'


@pytest.fixture(scope="module")
def part():
    """A plate with an arc and a hole, two layers high."""
    return (
        cq.Workplane()
        .rect(160, 120)
        .extrude(8)
        .edges("|Z")
        .fillet(30)
        .cut(cq.Workplane().circle(25).extrude(8))
    )


@functools.cache
def planned(part, name):
    dialect = load_dialect(name)
    card = parse_document(machine_of(dialect), name="machine.toml", told="machine")
    options = {"workers": 1, "contours": 1, "dialect": dialect.name}
    return plan_part(part, None, resolved=resolve(options, machine=card))


def reading(result, dialect):
    return read(result.program, FlowWords(axis=dialect.axis or ""))


@pytest.fixture(scope="module")
def plain(part):
    dialect = load_dialect("rs274")
    result = planned(part, dialect.name)
    return result, reading(result, dialect)


def beads_of(found):
    """Ends of each bead's own moves, by bead: its start, and the end of each move with the extruder on."""
    moves = found.moves
    rows = np.flatnonzero(moves.flow & (moves.bead >= 0))
    return {
        bead: np.vstack([moves.start[own[0]], moves.end[own]])
        for bead in np.unique(moves.bead[rows])
        for own in [rows[moves.bead[rows] == bead]]
    }


def order_of(text):
    """Marks and events in their order, whatever words they have: beads by role, waits, extruder on and off, end."""
    names = []
    for line in text.splitlines():
        bare = re.sub(r"^N\d+ ", "", line)
        if bare.startswith(("(bead ", "(layer ")):
            names.append(bare.split(" offset=")[0].split(" z0=")[0])
        elif bare.startswith("(end ") or bare in {"M2", "M0"}:
            names.append(bare)
        elif bare.startswith("G4 "):
            names.append("wait")
    return names


@pytest.mark.parametrize("name", dialect_names())
def test_a_dialect_says_the_same_as_the_plain_one(name, part, plain):
    dialect = load_dialect(name)
    result = planned(part, name)
    found = reading(result, dialect)
    bound = 2 * max(result.bounds.rounding, plain[0].bounds.rounding)

    assert [fault for fault in found.faults if fault.strict] == []
    assert order_of(result.program) == order_of(plain[0].program)
    own, other = beads_of(found), beads_of(plain[1])
    assert own.keys() == other.keys()
    for bead, places in own.items():
        assert places[0] == pytest.approx(other[bead][0], abs=bound)
        if dialect.arcs == "centre":
            assert places == pytest.approx(other[bead], abs=bound)
        else:
            # Chords and quarters have more ends: those of the plain moves are among them.
            near = np.linalg.norm(places[:, None] - other[bead][None], axis=2).min(axis=0)
            assert near.max() <= bound
    length, wanted = (each.moves.length[each.moves.flow].sum() for each in (found, plain[1]))
    # A chord that leaves its arc of radius R by e is shorter by e / 3 R: 1.1e-4 at 0.01 and the hole's 29.2 mm.
    assert length == pytest.approx(wanted, rel=2e-4 if dialect.arcs == "lines" else 1e-5)
    # By feed alone, which every dialect tells; a machine rounds corners or stands at words, and the plan knows that.
    flowing = found.moves.flow
    assert found.moves.seconds[flowing].sum() == pytest.approx(length / 100.0, rel=3e-9)


@pytest.mark.parametrize("name", dialect_names())
def test_mass_time_and_form_are_those_of_the_plan(name, part):
    dialect = load_dialect(name)
    result = planned(part, name)
    verified = verify(
        result.program,
        from_shape(part),
        VerifyOptions(every=True, density=1.14, flow=FlowWords(axis=dialect.axis or "")),
    )
    told = json.loads(json.dumps(result.document))["estimate"]

    assert [f.finding for f in verified.findings if f.finding.level == "error"] == []
    # Chords are a little shorter than their arcs.
    close = 2e-4 if dialect.arcs == "lines" else 1e-5
    assert verified.run.mass_g / 1000 == pytest.approx(told["mass_kg"]["part"], rel=close)
    # Time by length and feed leaves out ramps, so it is less; by no more than 0.2 s (100 mm/s at 1000 mm/s2, up
    # and down) and the extruder's words for each bead and pass, and each way up and down.
    beads, run = result.document["totals"]["beads"], verified.run
    reckoned = told["time"]["total_s"]
    assert run.feed_s + run.dwell_s <= reckoned
    halts = dialect.events.flow_start.halt + dialect.events.flow_stop.halt
    corners = 0.2 * (run.lines + run.arcs)
    assert reckoned - run.feed_s - run.dwell_s <= beads * halts + corners + run.traverse_mm / 100


# Two layers whose feed moves together are shorter than a file may be, and whose motion is not: ramps, traverses, words.
def test_files_are_split_by_the_time_that_the_motion_takes(part, plain, tmp_path):
    times = [made.times.total for made in plain[0].build.layers]
    fed = verify(plain[0].program, from_shape(part)).run.feed_s
    most = sum(times) - 0.5
    (tmp_path / "split.toml").write_text(
        f'name = "split"\nbased_on = "rs274"\ntitle = "split"\n[split]\nby = "time"\nmost = {most}\n'
    )
    card = parse_document(machine_of(load_dialect("rs274")), name="machine.toml", told="machine")
    options = {"workers": 1, "contours": 1, "dialect": str(tmp_path / "split.toml")}
    out = tmp_path / "out"
    plan_part(part, out, resolved=resolve(options, machine=card))

    export(out, "summary", tmp_path / "summary.md")
    words = (tmp_path / "summary.md").read_text()
    low, high = plain[0].document["estimate"]["low_high"]["part_kg"]
    assert f"| mass, least to greatest | {low:.4g} to {high:.4g} kg |" in words
    assert fed < most < sum(times)
    assert sorted(each.name for each in out.glob("program-*.nc")) == ["program-001.nc", "program-002.nc"]


# What the plan says of its own doubts is in its JSON and fits to its schema.
def test_the_plan_tells_least_and_greatest(plain):
    schema = json.loads(
        importlib.resources.files("beadwright.pipeline").joinpath("plan.schema.json").read_text()
    )
    jsonschema.validate(plain[0].document, schema)
    told = plain[0].document["estimate"]

    assert told["low_high"]["part_kg"][0] < told["mass_kg"]["part"] < told["low_high"]["part_kg"][1]
    assert told["low_high"]["time_s"] == [
        pytest.approx(told["time"]["total_s"]),
        pytest.approx((told["time"]["total_s"] - told["time"]["dwell_s"]) / 0.9 + told["time"]["dwell_s"]),
    ]
    assert [row["input"] for row in told["low_high"]["inputs"]] == [
        "density",
        "screw calibration",
        "feed override",
    ]
