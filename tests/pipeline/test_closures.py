"""Closures of closed beads: butt, lap and tapered lap, from the setting to the program read back."""

from __future__ import annotations

import re
from pathlib import Path

import cadquery as cq
import pytest

import beadwright
from beadwright.curves import length
from beadwright.errors import SettingsError
from beadwright.pipeline import plan_part, verify_program
from beadwright.settings import parse_document, resolve

AXIS = '[extruder]\nflow_control = "axis"\naxis_scale = 1000.0\n'
LAGGED = AXIS + "[extruder.lag]\ndead_up = 0.1\ntau_up = 0.2\ndead_down = 0.1\ntau_down = 0.2\nprime = 0.0\n"
RADIUS, LAP = 100.0, 25.2  # three widths of 8.4 mm


@pytest.fixture(scope="module")
def tube(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("tube") / "tube.step"
    cq.exporters.export(cq.Workplane().circle(RADIUS).circle(RADIUS - 8.4).extrude(4), str(path))
    return path


def planned(tube, out, closure, machine="", **more):
    card = parse_document(machine, name="machine.toml", told="machine") if machine else None
    options = {"workers": 1, "sequence": {"closure": closure, **more}}
    return plan_part(str(tube), out, resolved=resolve(options, machine=card))


def advance(result):
    """What the extruder's axis counts in all, mm3."""
    return 1000.0 * float(re.findall(r" A(-?[\d.]+)", result.program)[-1])


def ring(result):
    (bead,) = result.layers[0].beads
    return length(bead.path)


def test_butt_is_as_without_a_word(tube):
    butt = planned(tube, None, "butt")
    plain = plan_part(str(tube), None, resolved=resolve({"workers": 1}))

    def beads(result):
        return [line for line in result.program.splitlines() if not line.startswith("(setting")]

    assert beads(butt) == beads(plain)
    assert "role=lap" not in butt.program
    assert "closures" not in butt.document["layers"][0]


@pytest.mark.parametrize(("machine", "halting"), [("", True), (LAGGED, False)])
def test_a_lap_lays_its_length_twice_and_counts_it(tube, tmp_path, machine, halting):
    butt = planned(tube, None, "butt", machine)
    lap = planned(tube, tmp_path / "out", "lap", machine)
    told = lap.document["layers"][0]["closures"]
    more = LAP * 8.4 * 4.0  # a bead of 8.4 x 4 mm over 25.2 mm

    assert told == pytest.approx({"lapped": 1, "too_short": 0, "lap_mm": LAP, "lap_mm3": more})
    masses = [each.document["totals"]["mass_kg"] for each in (lap, butt)]
    assert masses[0] / masses[1] == pytest.approx(1 + LAP / ring(lap), rel=1e-9)
    assert "role=lap" in lap.program
    assert " laid=1)" in lap.program
    if machine:
        assert advance(lap) == pytest.approx(8.4 * 4.0 * (ring(lap) + LAP), rel=2e-6)
    # one start and one stop word: the extruder runs on through the closure
    starts = [line for line in lap.program.splitlines() if line in ("M3", "M5")]
    assert starts.count("M3") == (1 if halting else 0)
    found = verify_program(tmp_path / "out" / "program.nc", tube)
    assert found.ok
    assert found.run.volume_mm3 == pytest.approx(8.4 * 4.0 * (ring(lap) + LAP), rel=1e-5)


def test_ramps_of_a_tapered_lap_add_up_to_one(tube, tmp_path):
    result = planned(tube, tmp_path / "out", "tapered", AXIS)
    told = result.document["layers"][0]["closures"]
    shares = [float(share) for share in re.findall(r"\(flow share=([\d.]+)\)", result.program)]
    up, down = shares[: shares.index(1.0)], shares[shares.index(1.0) + 1 :]

    # steps of a quarter of a width: a straight ramp from 0 to 1, in the middle of each step
    assert up == pytest.approx([(step + 0.5) / 12 for step in range(12)])
    assert [a + b for a, b in zip(up, down, strict=True)] == pytest.approx([1.0] * 12)
    # the ramps together are half a bead each: nothing is laid twice, nothing lacks
    assert told["lap_mm3"] == pytest.approx(LAP * 8.4 * 4.0 / 2)
    assert advance(result) == pytest.approx(8.4 * 4.0 * ring(result), rel=2e-6)
    assert result.document["totals"]["mass_kg"] == pytest.approx(
        planned(tube, None, "butt", AXIS).document["totals"]["mass_kg"], rel=1e-12
    )
    found = verify_program(tmp_path / "out" / "program.nc", tube)
    assert found.ok
    assert found.run.volume_mm3 == pytest.approx(8.4 * 4.0 * ring(result), rel=1e-5)

    # the axis stands still along the first half of the lap, and makes up for it after that
    program = tmp_path / "out" / "program.nc"
    lines = program.read_text().splitlines(keepends=True)
    (lap,) = [row for row, line in enumerate(lines) if "role=lap" in line]
    moves = [row for row in range(lap, len(lines)) if re.search(r" A-?[\d.]+", lines[row])]
    before = re.findall(r" A(-?[\d.]+)", "".join(lines[:lap]))[-1]
    for row in moves[: len(moves) // 2]:
        lines[row] = re.sub(r" A-?[\d.]+", f" A{before}", lines[row])
    program.write_text("".join(lines))
    codes = {noted.finding.code for noted in verify_program(program, tube).findings}
    assert "closure-flow" in codes


def test_closed_beads_too_short_for_a_lap_are_told(tube):
    result = planned(tube, None, "lap", lap_length=400.0)

    assert result.document["layers"][0]["closures"]["too_short"] == 1
    (told,) = [finding for finding in result.findings if finding.code == "lap-too-long"]
    assert (told.level, told.measured) == ("note", 1.0)


def test_a_tapered_lap_needs_flow_that_can_change(tube):
    with pytest.raises(SettingsError, match="extruder axis"):
        planned(tube, None, "tapered")
    with pytest.raises(SettingsError, match="cannot go with bed_map"):
        beadwright.plan(tube, bed_map="nowhere.csv", sequence={"closure": "tapered"}, workers=1)
    with pytest.raises(SettingsError, match="lap_length"):
        planned(tube, None, "lap", lap_length=0.5)
    with pytest.raises(SettingsError, match="closure"):
        planned(tube, None, "overlapped")
