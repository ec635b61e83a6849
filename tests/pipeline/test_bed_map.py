"""Layers on a measured platform: closed forms of level, tilted and twisted ones, every dialect, the verifier."""

from __future__ import annotations

import json
import math
import re

import cadquery as cq
import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.errors import InputError, SettingsError
from beadwright.pipeline import replan, verify_program
from beadwright.pipeline._part import read_part
from beadwright.settings import default_material
from beadwright.verify import VerifyOptions, read
from tests.pipeline.test_plan_api import SCHEMA

# A block of 120 x 80 with a round corner: lines and an arc; 5 layers of 4 mm.
PART = cq.Workplane().box(120, 80, 20, centered=(True, True, False)).edges("|Z and >X and >Y").fillet(30)
# Sections are not what is looked at here: two do.
FEW = VerifyOptions(layers=2)
LINES = np.array([-100.0, -30.0, 20.0, 100.0])
SCREW = (
    '[extruder]\nflow_control = "s-word"\n'
    "calibration = [{rpm = 20, rate = 5}, {rpm = 60, rate = 15}, {rpm = 100, rate = 25}]\n"
)
AXIS = '[extruder]\nflow_control = "axis"\n'


def write(path, height):
    rows = [f"{x:g},{y:g},{height(x, y):.6f}" for y in LINES for x in LINES]
    path.write_text("x,y,z\n" + "\n".join(rows) + "\n")
    return path


def level(x, y):
    return 1.0


def tilted(x, y):
    return 0.004 * x - 0.003 * y


def twisted(x, y):
    return x * y / 12_000


@pytest.fixture(scope="module")
def part(tmp_path_factory):
    """Read once: a file would be read by a child process each time."""
    path = tmp_path_factory.mktemp("part") / "block.step"
    cq.exporters.export(PART, str(path))
    return read_part(path, walls=False)


def mapped(part, folder, height, **options):
    file = write(folder / "bed_map.csv", height)
    machine = options.pop("machine", None)
    if machine is not None:
        (folder / "machine.toml").write_text(machine)
        options["machine"] = folder / "machine.toml"
    return beadwright.plan(
        part, folder / "out", bed_map={"file": str(file), **options.pop("rule", {})}, workers=1, **options
    )


def off_surface(text, height, layers=3):
    """Distances of printed moves from the surface by its own formula: the move by its centre, densely."""
    reading = read(text)
    moves, worst = reading.moves, 0.0
    for row in np.flatnonzero(moves.flow):
        k = int(moves.layer[row])
        if k >= layers:
            continue
        for t in np.linspace(0, 1, 40):
            (x0, y0), (x1, y1) = moves.start[row, :2], moves.end[row, :2]
            x, y = x0 + t * (x1 - x0), y0 + t * (y1 - y0)
            if moves.sweep[row]:
                cx, cy = moves.centre[row]
                turn = t * moves.sweep[row]
                c, s = math.cos(turn), math.sin(turn)
                x, y = cx + c * (x0 - cx) - s * (y0 - cy), cy + s * (x0 - cx) + c * (y0 - cy)
            z = moves.start[row, 2] + t * (moves.end[row, 2] - moves.start[row, 2])
            want = 4.0 * (k + 1) + (1 - (k + 1) / layers) * height(x, y)
            worst = max(worst, abs(z - want))
    return worst


def test_a_level_platform_one_higher_takes_three_thinner_layers(part, tmp_path):
    # closed form: map +1, n 3, h 4: three layers of 11/3, the fourth nominal
    flat, plain = mapped(part, tmp_path, level), beadwright.plan(part, workers=1)

    jsonschema.validate(flat.document, SCHEMA)
    rows = flat.document["layers"]
    assert [row["map"]["thickness_mm"] for row in rows[:3]] == [pytest.approx([11 / 3, 11 / 3])] * 3
    assert "map" not in rows[3]
    tops = [float(z) for z in re.findall(r"^G1 Z([\d.]+)$", flat.program, re.MULTILINE)]
    beads = [row["beads"] for row in rows]
    firsts = [tops[0], tops[2 * beads[0]], tops[2 * beads[0] + 2 * beads[1]]]
    assert firsts == [4.6667, 8.3333, 12.0]
    # nothing bends: the moves are those of a level platform
    assert flat.document["totals"]["moves"] == plain.document["totals"]["moves"]
    # the first three layers weigh 11/12 of the plain ones
    masses = [a["mass_kg"] / b["mass_kg"] for a, b in zip(rows, plain.document["layers"], strict=True)]
    assert masses == pytest.approx([11 / 12] * 3 + [1.0] * 2, rel=1e-9)
    assert verify_program(tmp_path / "out" / "program.nc", part, FEW).ok


@pytest.mark.parametrize("height", [tilted, twisted])
def test_printed_moves_keep_the_bound_that_they_state(part, tmp_path, height):
    made = mapped(part, tmp_path, height)
    told = [float(v) for v in re.findall(r"^\(bound .* map=(\S+)\)", made.program, re.MULTILINE)]
    assert len(told) == 3
    assert off_surface(made.program, height) <= max(told) <= 0.02 + 0.0005
    assert re.search(r"^G[23] X\S+ Y\S+ Z\S+ I\S+ J\S+$", made.program, re.MULTILINE), (
        "an arc that climbs is a helix"
    )
    found = verify_program(tmp_path / "out" / "program.nc", part, FEW, bed_map=tmp_path / "bed_map.csv")
    assert found.ok
    assert found.on_map.layers == 3
    assert found.on_map.greatest <= found.on_map.allowed
    # Volume by the verifier's sums and by the plan's: on lines the same; on arcs, an eighth of the way, the plan takes
    # the thickness as straight, which strays by at most bound x (1/3) / (2/3) = 0.01 of 4 mm: 0.0025 / 8.
    density = default_material().density.value
    assert made.document["totals"]["mass_kg"] == pytest.approx(
        found.run.volume_mm3 * 1e-9 * density, rel=3.1e-4
    )


@pytest.mark.parametrize(
    "name", ["rs274-lines", "rs274-radius", "rs274-inch", "rs274-incremental", "rs274-numbered"]
)
def test_every_dialect_follows_the_platform(part, tmp_path, name):
    made = mapped(part, tmp_path, twisted, dialect=name, layers="0:4")
    assert off_surface(made.program, twisted) <= made.document["layers"][0]["map"]["off_mm"] + 1e-9
    found = verify_program(tmp_path / "out" / "program.nc", part, FEW)
    assert found.ok, [noted.finding.text for noted in found.findings]


def test_an_extruder_axis_follows_the_local_thickness(part, tmp_path):
    made = mapped(part, tmp_path, tilted, machine=AXIS, layers="0:4")
    found = verify_program(tmp_path / "out" / "program.nc", part, FEW)
    assert found.ok
    rows = np.flatnonzero((found.reading.moves.layer == 0) & (found.reading.moves.advance > 0))
    moves = found.reading.moves
    middle = (moves.start[rows, :2] + moves.end[rows, :2]) / 2
    straight = moves.sweep[rows] == 0
    # 8.4 wide, 4 high, a third of the platform's height less: advance a mm is the area in the middle of a line
    want = 8.4 * (4 - tilted(*middle[straight].T) / 3)
    given = moves.advance[rows][straight] / np.hypot(*(moves.end - moves.start)[rows][straight, :2].T)
    np.testing.assert_allclose(given, want, rtol=1e-4)
    assert not any(f.code == "map-flow" for f in made.findings)


def test_a_screw_that_turns_evenly_fills_the_local_thickness_by_the_speed(part, tmp_path):
    made = mapped(part, tmp_path, tilted, machine=SCREW, layers="0:4", feed=60.0)
    moves = read(made.program).moves
    rows = np.flatnonzero(moves.flow & (moves.layer == 0) & (moves.sweep == 0) & (moves.length > 5))
    middle = (moves.start[rows, :2] + moves.end[rows, :2]) / 2
    # what a steady screw gives is area by speed: 60 mm/s at 4 mm
    np.testing.assert_allclose(moves.feed[rows] * (4 - tilted(*middle.T) / 3), 60.0 * 4.0, rtol=1e-4)
    assert np.ptp(moves.feed[rows]) > 2.5
    assert len(re.findall(r"M3 S", made.program)) == made.document["totals"]["beads"], (
        "S stands at starts only"
    )
    assert verify_program(tmp_path / "out" / "program.nc", part, FEW).ok


def test_a_drive_that_follows_the_speed_cannot_and_says_so(part, tmp_path):
    made = mapped(part, tmp_path, level)
    (found,) = [f for f in made.findings if f.code == "map-flow"]
    # a bead for 4 mm in a gap of 11/3: 12/11 as wide
    assert found.measured == pytest.approx(100 / 11)


def codes(part, text, path, **options):
    path.write_text(text)
    return {noted.finding.code for noted in verify_program(path, part, FEW, **options).findings}


def test_the_verifier_finds_planted_faults(part, tmp_path):
    def raised(text):
        return re.sub(
            r"^(G1 X\S+ Y\S+ Z)(\S+)$", lambda m: f"{m[1]}{float(m[2]) + 0.05:.4f}", text, count=3, flags=re.M
        )

    def other(text):
        return re.sub(
            r"(\(bed_map row=2 column=0 mm=\S+,)(\S+)\)", lambda m: f"{m[1]}{float(m[2]) + 1})", text
        )

    sound, path = mapped(part, tmp_path, twisted, layers="0:4").program, tmp_path / "changed.nc"
    for change, code in (
        (raised, "map-height"),
        (other, "map-height"),
        (lambda text: re.sub(r"\(bed_map row=1 [^\n]*\n", "", text), "map"),
        (lambda text: text.replace(" map=1)", ")", 1), "map"),
        (lambda text: re.sub(r" map=0\.\d+\)", ")", text, count=1), "bound"),
    ):
        assert code in codes(part, change(sound), path)
    elsewhere = write(tmp_path / "other.csv", tilted)
    assert codes(part, sound, path, bed_map=elsewhere) >= {"map-differs", "map-height"}


def test_faults_of_the_map_name_what_to_do(part, tmp_path):
    with pytest.raises(InputError, match=r"thick, thinner than 3\.9 mm: let more layers share the height"):
        mapped(part, tmp_path, level, rule={"least": 3.9})
    with pytest.raises(
        SettingsError, match=r"9 layers cannot share .* since the part has 5; give 5 or fewer"
    ):
        mapped(part, tmp_path, level, rule={"layers": 9})
    # What is wrong with the file is told beside what is wrong with the settings.
    (tmp_path / "broken.csv").write_text("0,0\n1,0,zero\n")
    with pytest.raises(SettingsError) as caught:
        beadwright.plan(
            part, bed_map={"file": str(tmp_path / "broken.csv"), "layers": 9, "least": 4.5}, workers=1
        )
    assert [line.split(" ")[0] for line in str(caught.value).split("\n  ")] == [
        "bed_map.layers:",
        "bed_map:",
        "broken.csv:1:",
        "broken.csv:2:",
    ]
    with pytest.raises(InputError, match=r"layer 0 has a bead that reaches X 115\.800, beyond X 100"):
        mapped(part, tmp_path, level, at=(60.0, 0.0))
    with pytest.raises(SettingsError, match=r"bed_map.bound: 5(\.0)? is out of range"):
        mapped(part, tmp_path, level, rule={"bound": 5})
    with pytest.raises(InputError, match=r"bed_map: .*cannot be read"):
        beadwright.plan(part, bed_map="nowhere.csv", workers=1)


def test_the_machine_file_may_name_the_map_and_a_job_file_stands_beside_its_own(part, tmp_path):
    write(tmp_path / "bed_map.csv", level)
    (tmp_path / "machine.toml").write_text('bed_map = "bed_map.csv"\n')
    one = beadwright.plan(part, machine=tmp_path / "machine.toml", workers=1, layers="0:1")
    assert one.document["bed_map"]["layers"] == 3
    (tmp_path / "job.toml").write_text('[bed_map]\nfile = "bed_map.csv"\nlayers = 2\nbound = "0.05 mm"\n')
    two = beadwright.plan(
        part, job=tmp_path / "job.toml", machine=tmp_path / "machine.toml", workers=1, layers="0:1"
    )
    assert two.document["bed_map"]["layers"] == 2
    assert two.document["layers"][0]["map"]["thickness_mm"] == pytest.approx([3.5, 3.5])
    assert str(tmp_path) not in two.program + json.dumps(two.document)


def test_a_rest_begins_above_the_map_only(tmp_path):
    path = tmp_path / "block.step"
    cq.exporters.export(PART, str(path))
    mapped(path, tmp_path, tilted)
    with pytest.raises(SettingsError, match="layers below 3 follow the platform's map"):
        replan(tmp_path / "out", from_layer=2, height=8.0, workers=1)
    rest = replan(tmp_path / "out", from_layer=3, height=12.1, out=tmp_path / "rest", workers=1)
    assert "bed_map" not in rest.document
    assert verify_program(tmp_path / "rest" / "program.nc", path, FEW).ok
