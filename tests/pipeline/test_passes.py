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
