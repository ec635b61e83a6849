"""Run-ins: where the extruder starts before an open bead, and that an extruder axis goes on where it was left."""

from __future__ import annotations

import math
import re

import cadquery as cq
import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.kernel import from_shape
from beadwright.pipeline import plan_part, replan
from beadwright.settings import parse_document, resolve
from beadwright.verify import VerifyOptions, verify
from tests.pipeline.test_plan_api import SCHEMA
from tests.post._reader import read

LAG = "[extruder.lag]\ndead_up = 0.15\ntau_up = 0.3\ndead_down = 0.15\ntau_down = 0.3\n"
OUTPUTS = "[controller]\ndialect = 'rs274-outputs'\n"
# One straight bead along the middle in each of two layers.
PLATE = cq.Workplane().box(300, 8.4, 8, centered=(True, True, False))


def planned(part=PLATE, machine=OUTPUTS + LAG, **options):
    card = parse_document(machine, name="machine.toml", told="machine")
    return plan_part(part, None, resolved=resolve({"workers": 1, **options}, machine=card))


def blocks(program, role):
    """Lines between the marks of beads of a role."""
    lines = program.splitlines()
    starts = [i for i, line in enumerate(lines) if line.startswith("(bead ") and f" role={role} " in line]
    return [lines[i + 1 : lines.index("(end bead)", i)] for i in starts]


def judged(program, part=PLATE):
    found = verify(program, from_shape(part), VerifyOptions(layers=1))
    return {noted.finding.code for noted in found.findings if noted.finding.level == "error"}


def axis_values(lines):
    """Line and value of each word of the extruder axis."""
    moves = ((row, line) for row, line in enumerate(lines, 1) if re.match(r"G[123] .* A", line))
    return [(row, float(line.rpartition(" A")[2])) for row, line in moves]


@pytest.fixture(scope="module")
def smooth():
    return planned()


# From standing to standing at 100 mm/s and 1000 mm/s2 the nozzle gets v (t - v / a) in t: 35 mm in 0.45 s; 15 mm in
# 0.25 s, where the axes stand for the first 0.2 s after the word; 10 mm in 0.2 s, less than 2 v / a, a t2 / 4.
@pytest.mark.parametrize(
    ("machine", "run"),
    [(OUTPUTS + LAG, 35.0), (LAG, 15.0), (OUTPUTS + LAG + "prime = 0.25\n", 10.0)],
)
def test_the_run_in_takes_the_lag_along_the_real_motion(machine, run):
    made = planned(machine=machine, layers="0:1")
    (bead,), (lead,) = made.layers[0].beads, made.build.layers[0].leads

    assert np.allclose(lead.points[-1], bead.start)
    away = np.subtract(lead.points[0], bead.start)
    assert np.hypot(*away) == pytest.approx(run, rel=0.02)
    # back over the bead itself
    assert away @ np.subtract(bead.end, bead.start) == pytest.approx(
        np.hypot(*away) * math.dist(bead.start, bead.end)
    )
    assert f" start_lead={np.hypot(*away):.3f}"[:-2] in made.program
    jsonschema.validate(made.document, SCHEMA)
    assert made.document["layers"][0]["run_ins"] == {"beads": 1, "length_mm": pytest.approx(run, rel=0.02)}


def test_the_start_word_stands_before_the_run_in_and_none_inside_the_bead(smooth):
    runs, beads = blocks(smooth.program, "approach"), blocks(smooth.program, "medial")

    assert len(runs) == len(beads) == 2
    assert all(run[0] == "M62 P0" and run[-1].startswith("G1 X") for run in runs)
    assert not any(line.startswith("M62") for bead in beads for line in bead)
    assert judged(smooth.program) == set()


def test_its_time_is_in_the_estimate(smooth):
    without = planned(machine=OUTPUTS + "[extruder]\nstart_lead = 'none'\n" + LAG)
    one, other = (made.build.layers[0].times for made in (smooth, without))

    assert "role=approach" not in without.program
    assert one.extruding == other.extruding
    # The first bead is reached from nowhere, so the run-in is all that differs.
    assert one.traverse - other.traverse == pytest.approx(0.45, abs=5e-3)


def test_closed_beads_and_machines_without_a_lag_have_none():
    tube = cq.Workplane().circle(204.2).circle(195.8).extrude(4)

    assert "role=approach" not in planned(tube).program
    assert "role=approach" not in planned(machine=OUTPUTS).program


# Before the first point, after a lead of t_d + tau: the integral of 1 - exp(-t / tau) to tau, tau / e. After it what
# is missing is the integral of exp(-t / tau) from tau on, tau / e as well (elementary integrals).
def test_what_the_run_in_lays_is_missing_in_the_bead():
    from beadwright.process import Lag, Response

    both = Response(dead=0.15, constant=0.3)
    lead = Lag(up=both, down=both).start_lead(0.0)
    time = np.linspace(0.0, lead, 200_001)
    after = np.linspace(lead, lead + 12.0, 2_000_001)

    assert np.trapezoid(both.share(time), time) == pytest.approx(0.3 / math.e, abs=1e-8)
    assert np.trapezoid(1 - both.share(after), after) == pytest.approx(0.3 / math.e, abs=1e-8)


def test_the_verifier_finds_run_ins_that_are_not_as_told(smooth):
    text = smooth.program
    told = re.search(r" start_lead=([0-9.]+)", text)
    x = re.search(r"G0 X(-?[0-9.]+) ", text)
    shifted = f"G0 X{float(x[1]) - math.copysign(3.0, float(x[1])):.4f} "

    assert judged(text.replace(told[0], "", 1)) == {"start-lead"}
    assert judged(text.replace(told[0], " start_lead=20.0", 1)) == {"start-lead"}
    assert judged(text.replace(x[0], shifted, 1)) == {"start-lead"}
    # Half the time constant would account for 0.3 s only.
    assert judged(text.replace("tau_up_s value=0.3 ", "tau_up_s value=0.15 ")) == {"start-lead"}


@pytest.mark.parametrize("dialect", ["rs274-incremental", "rs274-inch", "rs274-axis"])
def test_run_ins_go_to_the_same_places_in_every_dialect(dialect):
    one, other = (planned(machine=LAG, layers="0:1", dialect=name) for name in ("rs274", dialect))
    assert judged(other.program) == set()
    if dialect != "rs274-axis":  # whose words stop no axis, so that all of its lag is a run-in
        plain, same = (read(made.program).steps for made in (one, other))
        assert np.abs(np.array([s.end for s in same]) - np.array([s.end for s in plain])).max() <= 2e-4


def test_run_ins_follow_a_measured_platform(tmp_path):
    rows = [f"{x},{y},{0.002 * x:g}" for x in (-200, 200) for y in (-50, 50)]
    (tmp_path / "bed_map.csv").write_text("x,y,z\n" + "\n".join(rows) + "\n")
    made = planned(bed_map={"file": str(tmp_path / "bed_map.csv"), "layers": 1})

    assert made.document["layers"][0]["run_ins"]["beads"] == 1
    assert judged(made.program) == set()


# 8.4 x 4 mm of 291.6 mm are 9797.76 mm3 a layer, by the length of the bead (300 less two half widths).
def test_the_axis_of_a_rest_goes_on_where_it_was_left(tmp_path):
    cq.exporters.export(PLATE, str(tmp_path / "plate.step"))
    beadwright.plan(tmp_path / "plate.step", tmp_path / "out", workers=1, dialect="rs274-axis")
    old = (tmp_path / "out" / "program.nc").read_text().splitlines()
    values = axis_values(old)
    rest = replan(tmp_path / "out", from_layer=1, height=4.0, workers=1)
    join = rest.document["join"]
    (left,) = [value for row, value in values if row <= join["old_program_line"]][-1:]

    jsonschema.validate(rest.document, SCHEMA)
    assert join["axis_at"] == left > 0
    assert " axis=A axis_at=" in rest.program
    assert "EXTRUDER AXIS: this program goes on from" in rest.program
    first = axis_values(rest.program.splitlines())[0][1]
    again = values[len([row for row, _ in values if row <= join["old_program_line"]])][1]
    assert first == pytest.approx(again, abs=1e-3)
    # The file stands for the shape.
    assert judged(rest.program) == {"part-sha256"}


def test_the_axis_of_a_bead_that_is_taken_up_goes_on_within_it(tmp_path):
    cq.exporters.export(PLATE, str(tmp_path / "plate.step"))
    made = beadwright.plan(tmp_path / "plate.step", tmp_path / "out", workers=1, dialect="rs274-axis")
    bead = made.layers[0].beads[0]
    rest = replan(tmp_path / "out", from_bead=0, after=100.0, workers=1)

    area = 8.4 * 4.0 if bead.width == 8.4 else bead.width * 4.0
    assert rest.document["join"]["axis_at"] == pytest.approx(100.0 * area, rel=1e-6)


def test_the_head_says_what_is_not_set(smooth):
    bare = planned(machine="name = 'as it comes'\n", layers="0:1").program

    assert "(No temperature, screw speed, lag or fan is set here. Strength is not calculated.)" in bare
    assert "(No temperature, screw speed or fan is set here. The leads are those of" in smooth.program
