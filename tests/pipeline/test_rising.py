"""Walls of one bead that rise steadily: closed forms of cylinder and cone, dialects, files, rests, the verifier."""

from __future__ import annotations

import json
import math
import re

import cadquery as cq
import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.errors import SettingsError
from beadwright.pipeline import replan, verify_program
from beadwright.pipeline._part import read_part
from beadwright.pipeline._view import layer_words
from beadwright.report import read_sheet
from beadwright.settings import default_material
from beadwright.verify import FlowWords, VerifyOptions, read
from tests.pipeline.test_plan_api import SCHEMA

# Bead 8.4 x 4 mm: its centreline lies 4.2 mm inside the wall.
HALF, HEIGHT = 4.2, 4.0
FEW = VerifyOptions(layers=3)
AXIS = '[extruder]\nflow_control = "axis"\n'
SCREW = (
    '[extruder]\nflow_control = "s-word"\n'
    "calibration = [{rpm = 20, rate = 5}, {rpm = 60, rate = 15}, {rpm = 200, rate = 50}]\n"
)


def step(folder, shape, name="part.step"):
    path = folder / name
    cq.exporters.export(shape, str(path))
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("rising")


@pytest.fixture(scope="module")
def cylinder(folder):
    """Of radius 54.2: a bead along a circle of radius 50, five layers."""
    return read_part(step(folder, cq.Workplane().circle(50 + HALF).extrude(20), "cylinder.step"), walls=False)


@pytest.fixture(scope="module")
def cone(folder):
    """Of radius 60 at the platform, 55 at 20 mm: the wall goes aside by a quarter of its height."""
    path = step(folder, cq.Workplane(obj=cq.Solid.makeCone(60, 55, 20)), "cone.step")
    return read_part(path, walls=False)


@pytest.fixture(scope="module")
def axis(folder):
    path = folder / "axis.toml"
    path.write_text(AXIS)
    return path


def rising(part, **options):
    return beadwright.plan(part, contours=1, rising=True, workers=1, **options)


def moves_of(result):
    return read(result.program, FlowWords(axis="A" if " axis=A" in result.program else "")).moves


def codes(result):
    return {finding.code for finding in result.findings}


@pytest.fixture(scope="module")
def upright(cylinder, axis):
    return rising(cylinder, machine=axis)


@pytest.fixture(scope="module")
def leaning(cone, axis):
    return rising(cone, machine=axis)


def test_a_turn_is_as_long_as_the_helix(upright):
    """Helix of radius 50 that rises by 4 a turn: sqrt((2 pi 50)^2 + 4^2) = 314.184729 mm.

    Closed form; that the feed of a helical arc is along it: NISTIR 6556, 3.5.3.
    """
    moves = moves_of(upright)
    turn = moves.length[(moves.layer == 2) & (moves.bead >= 0) & (moves.kind > 0)].sum()
    assert math.isclose(math.sqrt((2 * math.pi * 50) ** 2 + 16), 314.184729, abs_tol=1e-6)
    assert turn == pytest.approx(314.184729, abs=1e-3)


def test_it_is_one_bead_for_the_machine(upright):
    """Counts before and after; between the first and the last word of flow nothing interrupts it."""
    jsonschema.validate(upright.document, SCHEMA)
    told = upright.document["continuity"]
    assert told["beads"] == {"before": 5, "after": 1}
    (run,) = told["rising"]
    assert (run["from_layer"], run["to_layer"], run["beads"]) == (0, 4, {"before": 5, "after": 1})
    moves = moves_of(upright)
    flowing = np.flatnonzero(moves.flow)
    assert (np.diff(flowing) == 1).all()
    assert (np.diff(moves.end[flowing, 2]) >= 0).all()
    assert moves.start[flowing, 2][0] == 4.0
    assert moves.end[flowing, 2][-1] == 20.0


def test_z_climbs_in_proportion_to_the_way(upright):
    moves = moves_of(upright)
    rows = np.flatnonzero(moves.flow & (moves.end[:, 2] > moves.start[:, 2]))
    way = np.sqrt(moves.length[rows] ** 2 - (moves.end - moves.start)[rows, 2] ** 2)
    slope = (moves.end - moves.start)[rows, 2] / way
    # 4 mm in 314.159 mm; four decimals of Z on moves of some 6 mm.
    assert slope == pytest.approx(np.full(len(rows), 4 / (100 * math.pi)), abs=1e-4 / 6)


def test_flow_follows_the_thickness(upright):
    """The axis counts volume: the first turn of it grows from nothing, so half a turn; the last one likewise."""
    moves = moves_of(upright)
    laid = [moves.advance[(moves.layer == k) & moves.flow].sum() for k in range(5)]
    whole = 100 * math.pi * 8.4 * HEIGHT
    assert np.array(laid) / whole == pytest.approx([1.0, 0.5, 1.0, 1.0, 1.5], abs=1e-6)


def test_the_mass_of_an_upright_wall_is_the_walls(upright):
    """Closed form: 2 pi r w H of a cylinder's wall, r 50, w 8.4, H 20."""
    mass = default_material().density.value / 1e9 * 2 * math.pi * 50 * 8.4 * 20
    assert upright.document["totals"]["mass_kg"] == pytest.approx(mass, rel=1e-9)


def test_the_mass_of_a_leaning_wall(leaning):
    """Closed form, turn by turn: thickness h t(s) at radius r(s), s the share of the turn.

    The bead begins at radius a = 60 - 2 / 4 - 4.2 and loses 1 mm a turn. It is laid flat at a; grows from nothing, the
    integral of s (a - s), a/2 - 1/3; then three whole turns about a - 3/2, a - 5/2, a - 7/2; and half a turn at a - 4.
    """
    a = 60 - 0.5 - HALF
    turns = a + (a / 2 - 1 / 3) + (a - 1.5) + (a - 2.5) + (a - 3.5) + (a - 4) / 2
    mass = default_material().density.value / 1e9 * 2 * math.pi * 8.4 * HEIGHT * turns
    # The spiral's own slope in the plane, 1 mm in 300, adds 5e-6; joints of its pieces the rest.
    assert leaning.document["totals"]["mass_kg"] == pytest.approx(mass, rel=3e-5)


def test_a_leaning_wall_is_followed_at_its_own_height(leaning):
    """Cone r(z) = 60 - z / 4: a bead at z lies on r(z - 2) - 4.2, within the told bound and far within it."""
    bound = leaning.document["bounds_mm"]["section"]
    (run,) = leaning.document["continuity"]["rising"]
    # 24 planes in 4 mm, each stands for 1/12 mm up and down, where the wall leans by a quarter; shifted likewise.
    assert bound == pytest.approx(run["off_mm"], abs=1e-9)
    assert 4 / 24 / 2 * 0.25 < bound < 2.1 * 4 / 24 / 2 * 0.25
    moves = moves_of(leaning)
    off = []
    for row in np.flatnonzero(moves.flow & (moves.layer > 0)):
        for at in (moves.start[row], moves.end[row]):
            off.append(np.hypot(at[0], at[1]) - (60 - (at[2] - 2) / 4 - HALF))
    assert np.abs(off).max() <= bound
    # Pieces are shifted evenly between places that are right, so what is left is of second order.
    assert np.abs(off).max() < 5e-4


def test_more_planes_follow_closer(cone, axis):
    found = rising(cone, machine=axis, rising_planes=120, layers=(0, 2))
    assert found.document["bounds_mm"]["section"] <= 0.0101
    assert "rising-coarse" not in codes(found)
    few = rising(cone, machine=axis, rising_planes=4, layers=(0, 2))
    assert 0.124 < few.document["bounds_mm"]["section"] < 0.27
    assert "rising-coarse" in codes(few)


@pytest.mark.parametrize("which", ["upright", "leaning"])
def test_the_verifier_agrees(which, request, tmp_path):
    """By its own reader, the CAD kernel's section at the moves' own heights, and thickness from the moves alone."""
    result, part = request.getfixturevalue(which), {"upright": "cylinder", "leaning": "cone"}[which]
    program = tmp_path / "program.nc"
    program.write_text(result.program)
    found = verify_program(program, request.getfixturevalue(part), options=FEW)
    assert found.ok, found.findings
    volume = result.document["totals"]["mass_kg"] / default_material().density.value * 1e9
    assert found.run.volume_mm3 == pytest.approx(volume, rel=2e-3)


def judged(text, part, tmp_path):
    program = tmp_path / "program.nc"
    program.write_text(text)
    return verify_program(program, part, options=FEW)


def test_a_jump_in_height_is_found(upright, cylinder, tmp_path):
    """A move of layer 2 ends at 11.9 in place of some 8.1 mm: it would be laid in the air."""
    head, tail = upright.program.split("(layer index=2 ", 1)
    text = head + "(layer index=2 " + re.sub(r"(G3 [^\n]*Z)[\d.]+", r"\g<1>11.9000", tail, count=1)
    found = judged(text, cylinder, tmp_path)
    assert not found.ok
    assert "rising-height" in found.counts


def test_a_break_between_layers_is_found(upright, cylinder, tmp_path):
    """The nozzle lifts between two layers of which the program says that the bead goes on."""
    text = re.sub(r"(\(layer index=3 [^)]*\)\n\(bound[^)]*\)\n)", r"\1G0 Z60.0\nG0 Z12.0\n", upright.program)
    found = judged(text, cylinder, tmp_path)
    assert not found.ok
    assert "carried" in found.counts


def test_flow_that_ignores_the_thickness_is_found(upright, cylinder, tmp_path):
    """All of the first turn gets the same flow a millimetre, where it must grow from nothing."""
    head, rest = upright.program.split("(layer index=1 ", 1)
    turn, tail = rest.split("(end layer)", 1)
    values = [float(value) for value in re.findall(r" A([\d.]+)", turn)]
    before = float(re.findall(r" A([\d.]+)", head)[-1])
    even = iter(before + (values[-1] - before) * (k + 1) / len(values) for k in range(len(values)))
    turn = re.sub(r" A[\d.]+", lambda _: f" A{next(even):.5f}", turn)
    found = judged(head + "(layer index=1 " + turn + "(end layer)" + tail, cylinder, tmp_path)
    assert not found.ok
    assert "rising-flow" in found.counts


@pytest.mark.parametrize("dialect", ["rs274-lines", "rs274-incremental"])
def test_dialects(dialect, cylinder, tmp_path):
    """Controllers that know no helix get chords within their bound; where the flow cannot follow, that is told."""
    found = rising(cylinder, dialect=dialect)
    assert "rising-flow" in codes(found)
    program = tmp_path / "program.nc"
    program.write_text(found.program)
    assert verify_program(program, cylinder, options=FEW).ok
    if dialect == "rs274-lines":
        assert not re.search(r"(?m)^G[23] ", found.program)


def test_one_screw_speed(cylinder, tmp_path):
    """With a screw that turns evenly the speed follows the thickness, as far as the machine goes, at one S word."""
    machine = tmp_path / "machine.toml"
    machine.write_text(SCREW)
    found = rising(cylinder, machine=machine)
    assert len(re.findall(r"(?m)^M3 S", found.program)) == 1
    moves = moves_of(found)
    ramp = np.flatnonzero(moves.flow & (moves.layer == 1))
    # Half way round the first turn the bead is half as thick: twice the speed; 500 mm/s is the machine's greatest.
    assert moves.feed[ramp].max() == pytest.approx(500.0)
    half = ramp[np.abs(moves.end[ramp, 2] - 6.0).argmin()]
    assert moves.feed[half] == pytest.approx(200.0, rel=0.03)
    (told,) = [finding for finding in found.findings if finding.code == "rising-flow"]
    # Below a fifth of the height the machine would have to go faster: of both ends of a bead of 33.6 mm2 along 314 mm
    # that leaves twice the integral of 0.2 - s from 0 to 0.2, 0.04 of a turn.
    mass = 0.04 * 33.6 * 100 * math.pi * default_material().density.value / 1e6
    assert told.level == "note"
    assert told.measured == pytest.approx(mass, rel=0.05)


def test_as_much_everywhere_begins_and_ends_half_a_layer_thick(cylinder, tmp_path):
    """Flat layer, half a turn from 6 to 8 mm, three turns, half a level one: five turns of a whole section's area.

    That is what the five layers hold: 5 (8.4 x 4) 100 pi mm3. Where the bead is from half to all of h thick half a turn
    gets the integral of 1 - s from 1/2 to 1, an eighth of a turn, too much, at either end.
    """
    found = rising(cylinder)
    material = default_material().density.value / 1e6
    turn = 33.6 * 100 * math.pi * material
    assert found.document["totals"]["mass_kg"] == pytest.approx(5 * turn / 1000, rel=1e-5)
    moves = moves_of(found)
    assert moves.length[moves.flow].sum() == pytest.approx(5 * 100 * math.pi, rel=1e-3)
    climbing = np.flatnonzero(moves.flow & (moves.layer > 0))
    assert moves.start[climbing[0]] == pytest.approx([-50.0, 0.0, 6.0], abs=1e-3)
    assert moves.end[climbing[-1]] == pytest.approx([-50.0, 0.0, 20.0], abs=1e-3)
    assert found.document["continuity"]["beads"] == {"before": 5, "after": 2}
    (told,) = [finding for finding in found.findings if finding.code == "rising-flow"]
    assert told.measured == pytest.approx(turn / 4, rel=0.01)
    assert told.at_mm == pytest.approx((-50.0, 0.0, 20.0), abs=1e-3) or told.at_mm == pytest.approx(
        (-50.0, 0.0, 6.0), abs=1e-3
    )
    assert told.level == "warning"
    assert re.search(r"in 2 layers; most of it here, 1\.5 g or (9|33) % of", told.text)
    assert "flow control axis" in told.text
    program = tmp_path / "program.nc"
    program.write_text(found.program)
    judgement = verify_program(program, cylinder)
    assert judgement.ok, judgement.findings
    assert judgement.run.volume_mm3 == pytest.approx(5 * 33.6 * 100 * math.pi, rel=1e-4)
    # A second gap, in a layer that goes on from the one below, is none that may be.
    head, tail = found.program.split("(layer index=3 ", 1)
    lines = tail.split("\n")
    arcs = [k for k, line in enumerate(lines) if line.startswith(("G2", "G3"))]
    holed = "\n".join(line for k, line in enumerate(lines) if k not in arcs[1:3])
    assert not judged(head + "(layer index=3 " + holed, cylinder, tmp_path).ok


def test_files_run_alone(cylinder, tmp_path):
    """A bead that goes on through all layers stays in one file."""
    found = rising(cylinder, out=tmp_path / "out", dialect="rs274-by-layer")
    assert "continuity" in found.document
    files = sorted((tmp_path / "out").glob("program-*.nc"))
    assert len(files) == 1
    assert len(moves_of(found)) == len(read(files[0].read_text(), FlowWords()).moves)


@pytest.mark.parametrize("dialect", ["rs274", "rs274-incremental"])
def test_a_dry_run_stays_as_high_above(dialect, cylinder, tmp_path):
    """Every place of the dry run is that of the program, so much higher; also where heights are told as increments."""
    rising(cylinder, out=tmp_path / "out", dialect=dialect, release={}, layers=(0, 3))
    ends = [
        read((tmp_path / "out" / name).read_text(), FlowWords()).moves.end
        for name in ("program.nc", "dry_run.nc")
    ]
    lift = ends[1] - ends[0]
    assert lift[0, 2] > 0
    assert lift == pytest.approx(np.tile([0.0, 0.0, lift[0, 2]], (len(lift), 1)), abs=1e-9)


def test_a_rest_goes_on_with_the_rise(tmp_path):
    """Taken up at a layer inside the bead: its first turn is whole, and begins where the old one ended."""
    path = step(tmp_path, cq.Workplane(obj=cq.Solid.makeCone(60, 55, 20)))
    old = rising(path, out=tmp_path / "old", rising_planes=8)
    new = replan(tmp_path / "old", from_layer=3, height=12.0, out=tmp_path / "new", workers=1)
    row = old.document["layers"][3]["rising"]
    again = new.document["layers"][0]["rising"]
    # A circle begun elsewhere has its start by a sine and a cosine: some roundings of 53 mm.
    assert again["start_mm"] == pytest.approx(row["start_mm"], abs=1e-12)
    assert again["thickness_mm"] == pytest.approx([4.0, 4.0])
    masses = [layer["mass_kg"] for layer in old.document["layers"][3:]]
    assert [layer["mass_kg"] for layer in new.document["layers"]] == pytest.approx(masses, rel=1e-3)
    assert verify_program(tmp_path / "new" / "program.nc", path, options=FEW).ok
    within = replan(tmp_path / "old", from_bead=2, after=100.0, out=tmp_path / "within", workers=1)
    # The old start lies at 8 mm; 100 mm of some 330 mm of the turn are laid.
    moves = moves_of(within)
    first = np.flatnonzero(moves.flow)[0]
    length = old.document["layers"][2]["length_mm"]
    assert moves.start[first, 2] == pytest.approx(8 + 4 * 100 / length, abs=0.02)
    assert within.document["continuity"]["beads"] == {"before": 3, "after": 1}


@pytest.mark.parametrize("flow", ["axis", "speed-tied"])
def test_a_rest_is_right_from_its_first_move(flow, axis, tmp_path):
    """Cone r(z) = 60 - z / 4: a rest on a height that was not planned follows the section of that height at once."""
    path = step(tmp_path, cq.Workplane(obj=cq.Solid.makeCone(60, 55, 20)))
    machine = {"machine": axis} if flow == "axis" else {}
    rising(path, out=tmp_path / "old", rising_planes=8, **machine)
    rests = {"axis": ((3, 12.4, 4.0), (1, 4.0, 0.0)), "speed-tied": ((4, 16.4, 4.0), (1, 4.0, 2.0))}
    for layer, height, thin in rests[flow]:
        out = tmp_path / f"rest-{layer}"
        new = replan(tmp_path / "old", from_layer=layer, height=height, out=out, workers=1)
        row = new.document["layers"][0]["rising"]
        x, y, z = row["start_mm"]
        assert z == pytest.approx(height + (2.0 if thin == 2.0 else 0.0))
        assert math.hypot(x, y) == pytest.approx(60 - (z - 2) / 4 - HALF, abs=5e-4)
        # On the flat layer the bead grows, on a ramp it is as thick as a layer from the start on.
        assert row["thickness_mm"][1] == pytest.approx(4.0)
        ends = new.document["layers"][-1]["rising"]["thickness_mm"][0]
        assert ends == pytest.approx(0.0 if flow == "axis" else 2.0)
        if layer != 4:
            assert row["thickness_mm"][0] == pytest.approx(thin)
        assert ("It goes on with a rising bead at" in new.program) == (layer != 1)
        assert "map=1" not in new.program
        found = verify_program(out / "program.nc", path, options=FEW)
        assert found.ok, found.findings


def test_a_rest_that_cannot_climb_is_refused(tmp_path):
    """From 10 mm on the wall leans by 60 degrees within the half layer that a turn there would need."""
    profile = cq.Workplane("XZ").polyline([(0, 0), (60, 0), (60, 11.5), (74.7, 20), (0, 20)]).close()
    path = step(tmp_path, profile.revolve(360, (0, 0, 0), (0, 1, 0)))
    old = rising(path, out=tmp_path / "old")
    assert "rising" in old.document["layers"][2]
    with pytest.raises(SettingsError, match=r"whose top climbs .* lean more than the limit.*--from-bead"):
        replan(tmp_path / "old", from_layer=2, height=10.0, out=tmp_path / "new", workers=1)
    assert not (tmp_path / "new").exists()


def test_where_it_cannot_be(folder):
    """Two loops, a step in the wall and planned stops are told by layer and reason."""
    tube = cq.Workplane().circle(60).circle(30).extrude(8)
    found = rising(step(folder, tube, "tube.step"))
    reasons = [finding.text for finding in found.findings if finding.code == "not-rising"]
    assert len(reasons) == 1
    assert "layers 0 to 1 stay level" in reasons[0]
    assert "more than one bead" in reasons[0]
    assert "no-rising" in codes(found)
    steps = cq.Workplane().circle(60).extrude(8).faces(">Z").workplane().circle(40).extrude(8)
    part = read_part(step(folder, steps, "steps.step"), walls=False)
    found = rising(part)
    assert [(row["from_layer"], row["to_layer"]) for row in found.document["continuity"]["rising"]] == [
        (0, 1),
        (2, 3),
    ]
    found = rising(part, stop=[{"layer": 2, "why": "insert"}])
    assert "no-rising" in codes(found)
    assert found.document["continuity"] == {"beads": {"before": 4, "after": 4}, "rising": []}


def test_an_open_surface_rises(folder, tmp_path):
    """A cylinder without thickness, bead to its left: on the inside of a circle of radius 50."""
    ring = cq.Face.makeRuledSurface(cq.Edge.makeCircle(50), cq.Edge.makeCircle(50, cq.Vector(0, 0, 12)))
    part = read_part(step(folder, cq.Workplane(obj=ring), "surface.step"), walls=True)
    found = beadwright.plan(part, wall="centre", rising=True, workers=1)
    # Each millimetre gets as much here, so what climbs begins apart from the flat layer.
    assert found.document["continuity"]["beads"] == {"before": 3, "after": 2}
    moves = moves_of(found)
    ends = moves.end[moves.flow]
    assert np.hypot(ends[:, 0], ends[:, 1]) == pytest.approx(np.full(len(ends), 50.0), abs=0.011)
    program = tmp_path / "program.nc"
    program.write_text(found.program)
    assert verify_program(program, part, options=FEW).ok


def test_pictures_say_that_it_rises_and_show_no_place_as_lost(cylinder, tmp_path):
    """plan.json lists the level bead that is not there for readers of words; on the sheet nothing lacks."""
    found = rising(cylinder, out=tmp_path / "out")
    sheet = read_sheet(tmp_path / "out")
    written = json.loads((tmp_path / "out" / "plan.json").read_text())
    jsonschema.validate(written, SCHEMA)
    assert {place["why"] for place in written["layers"][2]["lost"]} == {"rising"}
    # Some hundred places of each layer would fill the memory of a tall wall.
    assert found.document["layers"][2]["lost"] == []
    assert [len(layer.lost) for layer in sheet.layers] == [0] * 5
    assert [", rising steadily, 1 bead, " in layer_words(layer)[1] for layer in sheet.layers] == [
        False,
        *[True] * 4,
    ]


def test_a_bad_setting_is_told(cylinder):
    with pytest.raises(SettingsError, match="rising_planes"):
        rising(cylinder, rising_planes=0)
