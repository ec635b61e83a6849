"""What the extruder's lag does to the end of each bead: laps and wiping passes in the program."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest

from beadwright.pipeline import plan_part
from beadwright.settings import parse_document, resolve
from tests.post._reader import read

LAG = "[extruder.lag]\ndead_up = 0.15\ntau_up = 0.3\ndead_down = 0.15\ntau_down = 0.3\nprime = 0.25\n"


def planned(part, machine=LAG, **options):
    card = parse_document(machine, name="machine.toml", told="machine")
    return plan_part(part, None, resolved=resolve({"workers": 1, **options}, machine=card))


@pytest.fixture(scope="module")
def tube():
    return cq.Workplane().circle(204.2).circle(195.8).extrude(8)


def blocks(program, role):
    """Lines between the marks of beads of a role."""
    lines = program.splitlines()
    starts = [i for i, line in enumerate(lines) if line.startswith("(bead ") and f" role={role} " in line]
    return [lines[i + 1 : lines.index("(end bead)", i)] for i in starts]


# From standing at 1000 mm/s2 to 100 mm/s in 0.1 s (5 mm); dead time and three time constants are 1.05 s, so 100 mm.
def test_a_closed_bead_laps_over_its_start(tube):
    result = planned(tube)
    laps, beads = blocks(result.program, "lap"), blocks(result.program, "medial")

    assert len(laps) == len(beads) == 2
    for bead, lap in zip(beads, laps, strict=True):
        assert bead[0] == "M3"
        assert bead[1] == "G4 P0.250"
        assert bead[-1] == "M5"
        assert not any(line.startswith("M") for line in lap)
    program = read(result.program)
    assert result.document["totals"]["beads"] == 4
    assert program is not None


def test_the_lap_is_as_long_as_the_flow_takes_to_fade(tube):
    result = planned(tube)

    for layer in result.layers:
        (bead,) = layer.beads
        (after,) = next(made.passes for made in result.build.layers if made.index == layer.layer.plan.index)
        # On the bead's own circle, from its start; chord of an arc of 100 mm at radius 200.
        assert np.allclose(after.path.points[0], bead.path.points[0])
        assert np.hypot(*after.path.points.T) == pytest.approx(200.0, abs=1e-4)
        angle = np.angle(complex(*after.path.points[-1]) / complex(*after.path.points[0]))
        assert abs(angle) == pytest.approx(0.5, rel=1e-6)


def test_no_stop_stands_inside_a_bead(tube):
    # Role by role every feed move of a bead has the extruder on, and none of a pass.
    flowing, role = False, ""
    for line in planned(tube).program.partition("G21")[2].splitlines():
        flowing = line == "M3" or (flowing and line != "M5")
        if line.startswith("(bead "):
            role = line.partition(" role=")[2].split()[0]
        elif line.startswith("(end bead"):
            role = ""
        elif line.startswith(("G1 X", "G2", "G3")):
            assert flowing == (role == "medial")


def test_an_open_bead_is_wiped_back():
    plate = cq.Workplane().box(300, 8.4, 8)
    result = planned(plate)
    (wiped, *_) = blocks(result.program, "wiping")
    bead = result.layers[0].beads[0]
    end = np.array(bead.end)
    x, y = (float(word[1:]) for word in wiped[-1].split()[1:3])

    # 100 mm back along the bead (one straight line here).
    assert np.hypot(*(np.array([x, y]) - end)) == pytest.approx(100.0, abs=1e-3)


def test_without_a_calibrated_lag_there_is_no_pass(tube):
    program = planned(tube, "name = 'as it comes'").program

    assert "role=lap" not in program
    assert "G4" not in program


def test_passes_take_their_time(tube):
    quick, timed = planned(tube, "name = 'as it comes'"), planned(tube)
    quick, timed = quick.document["estimate"]["time"], timed.document["estimate"]["time"]

    # Each bead: 0.25 s of priming, and the pass of 100 mm from standing to standing, 1.1 s.
    assert timed["dwell_s"] - quick["dwell_s"] == pytest.approx(2 * 0.25)
    assert timed["extruding_s"] == quick["extruding_s"]
    # The nozzle then comes from another place: up to one traverse of 200 mm at 300 mm/s and 1000 mm/s2 more.
    assert 2 * 1.1 - 0.01 <= timed["traverse_s"] - quick["traverse_s"] <= 2 * 1.1 + 200 / 300 + 0.3


# 0.2 s at 100 mm/s with a bead of 17.6 + 4 pi mm2 in section: 603.3 mm3, 20 mm of bead.
def test_what_a_halting_word_lays_in_one_place(tube):
    (found,) = [f for f in planned(tube, bead_section="round").findings if f.code == "halt-at-end"]

    assert found.measured == pytest.approx(603.3, abs=0.05)
    assert "20 mm of bead" in found.text


def test_a_bead_shorter_than_its_leads_is_told():
    small = planned(cq.Workplane().box(60, 8.4, 4))

    (found,) = [f for f in small.findings if f.code == "bead-shorter-than-leads"]
    assert found.layer == 0
    assert found.level == "warning"


# The verifier takes a wait before a bead for priming where the program tells of it, and for no longer than told.
def test_the_verifier_knows_priming_laps_and_wiping(tube):
    from beadwright.kernel import from_shape
    from beadwright.verify import VerifyOptions, verify

    program = planned(tube).program
    longer = program.replace("\nG4 P0.250\n", "\nG4 P0.350\n", 1)
    inside = program.replace("\nM5\n(end bead)", "\nG4 P0.250\nM5\n(end bead)", 1)
    codes = [
        {
            (noted.finding.code, noted.finding.level)
            for noted in verify(text, from_shape(tube), VerifyOptions(every=True)).findings
        }
        for text in (program, longer, inside)
    ]

    assert codes[0] == {("priming", "note")}
    assert ("flow-while-standing", "error") in codes[1]
    assert ("flow-while-standing", "error") in codes[2]


# Whatever the dialect, an interpreter of the standard ends each move where that of the plain one does.
@pytest.mark.parametrize("dialect", ["rs274-incremental", "rs274-inch", "rs274-numbered"])
def test_passes_go_to_the_same_places_in_every_dialect(tube, dialect):
    plain, other = (read(planned(tube, dialect=name).program).steps for name in ("rs274", dialect))

    assert len(other) == len(plain)
    assert np.abs(np.array([s.end for s in other]) - np.array([s.end for s in plain])).max() <= 2e-4


OUTPUTS = "\n[controller]\ndialect = 'rs274-outputs'\n"


def uneven(down, prime=0.0):
    return LAG.replace("tau_down = 0.3", f"tau_down = {down}").replace("0.25", str(prime)) + OUTPUTS


def findings_of(program, part):
    from beadwright.kernel import from_shape
    from beadwright.verify import VerifyOptions, verify

    found = verify(program, from_shape(part), VerifyOptions(every=True)).findings
    return {(each.finding.code, each.finding.level) for each in found}


# The nozzle brakes at 1000 mm/s2 from 100 mm/s, in 0.1 s and 5 mm; the other 0.35 s of the lead go at 100 mm/s.
def test_where_no_word_stops_the_axes_the_stop_leads_inside_an_open_bead():
    plate = cq.Workplane().box(300, 8.4, 8)
    result = planned(plate, uneven(0.3))
    lines = result.program.splitlines()
    stop = lines.index("M63 P0")
    off, end = (
        np.array([float(word[1:]) for word in lines[row].split()[1:3]]) for row in (stop - 1, stop + 3)
    )

    assert lines[stop + 1] == "(end bead)"
    assert np.hypot(*(end - off)) == pytest.approx(40.0, abs=1e-3)
    # The extruder started on the run-in, 35 mm long, so the bead's mark comes just before its move.
    assert "stop_lead=40.0 start_lead=35.0" in lines[stop - 2]
    # After the end three time constants, 0.9 s: 0.1 s and 5 mm up to speed, then 80 mm.
    wiped = np.array([float(word[1:]) for word in lines[stop + 4].split()[1:3]])
    assert np.hypot(*(wiped - end)) == pytest.approx(85.0, abs=1e-3)
    assert findings_of(result.program, plate) == {("standard-beyond", "warning")}


# Lags of 0.45 s up and 0.65 s down: 0.2 s of full speed; with 0.25 s down the stop comes 20 mm after the closure.
@pytest.mark.parametrize(("down", "led"), [(0.3, 0.0), (0.5, 20.0), (0.1, -20.0)])
def test_a_closed_bead_closes_at_full_speed_and_its_stop_is_shifted(tube, down, led):
    result = planned(tube, uneven(down))
    program = read(result.program)
    bead, lap = ([s for s in program.steps if s.bead == index] for index in (0, 1))
    on = sum(s.length for s in (*bead, *lap) if s.extruding)

    assert sum(s.length for s in (*bead, *lap)) > 2 * np.pi * 200 + 50
    assert on == pytest.approx(2 * np.pi * 200 - led, abs=2e-3)
    # From standing: 0.1 s and 5 mm up to speed, and nothing down again at the closure.
    assert result.build.layers[0].times.extruding == pytest.approx((2 * np.pi * 200 + 5) / 100, abs=1e-4)
    # 95 % of the tail is gone where the lap ends: dead time and three time constants after the stop.
    (after,) = result.build.layers[0].passes
    assert after.stop == pytest.approx(led, abs=1e-6)
    assert findings_of(result.program, tube) == {("standard-beyond", "warning")}


def test_priming_counts_in_the_closure(tube):
    (after,) = planned(tube, uneven(0.3, prime=0.25)).build.layers[0].passes

    assert after.stop == pytest.approx(25.0, abs=1e-6)


# What the words leave without extruder along a contour bead stands in plan.json, not farther apart than 4 mm.
def test_places_after_the_stop_are_listed():
    ring = cq.Workplane().circle(204.2).circle(180).extrude(4)
    result = planned(ring, uneven(0.5))
    row = result.document["layers"][0]
    led = np.array([place["at_mm"][:2] for place in row["lost"] if place["why"] == "stop-lead"])
    outer = led[np.hypot(*led.T) > 190]
    angle = np.sort(np.arctan2(*-outer.T[::-1])) * 200.0  # the ring is left and closed at angle 0

    assert angle[-1] - angle[0] == pytest.approx(20.0, abs=1e-2)
    assert np.diff(angle).max() <= 4.0
    assert result.document["totals"]["mass_kg"] == pytest.approx(
        8.4 * 4 * 2 * np.pi * (200 + 184.2) * 1.14e-6, rel=1e-9
    )


def test_a_bead_shorter_than_its_leads_keeps_its_stop_at_its_end():
    small = planned(cq.Workplane().box(60, 8.4, 4), uneven(0.3))

    assert [f.code for f in small.findings].count("bead-shorter-than-leads") == 1
    assert "stop_lead" not in small.program


# An extruder that is off for longer than its lag accounts for leaves a hole, whatever the program says of it.
def test_the_verifier_allows_no_stop_before_its_lead(tube):
    program = planned(tube, uneven(0.5)).program
    lines = program.splitlines(keepends=True)
    stop = lines.index("M63 P0\n")
    moved = [
        *lines[: stop - 1],
        lines[stop],
        "(end bead)\n",
        lines[stop + 2],
        lines[stop - 1],
        *lines[stop + 3 :],
    ]
    told = "".join(moved).replace("stop_lead=20.0", "stop_lead=314.15")

    assert ("stop-lead", "error") in findings_of("".join(moved), tube)
    assert ("stop-lead", "error") in findings_of(told, tube)
