"""Widths that follow the wall through the whole job, and what is told where the machine cannot follow."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import cadquery as cq
import pytest

import beadwright
from beadwright.curves import length
from beadwright.pipeline import plan_part, verify_program
from beadwright.settings import parse_document, resolve

ORACLE = Path(__file__).resolve().parents[3] / "shared" / "tools" / "oracle.py"

AXIS = '[extruder]\nflow_control = "axis"\naxis_scale = 1000.0\n'


@pytest.fixture(scope="module")
def wedge() -> cq.Workplane:
    ring = [(0, -4), (150, -9), (150, 9), (0, 4)]
    return cq.Workplane().polyline(ring).close().extrude(4)


def codes(result):
    return [finding.code for finding in result.findings]


def test_a_wedge_on_an_extruder_axis(wedge: cq.Workplane, tmp_path: Path) -> None:
    cq.exporters.export(wedge, str(tmp_path / "wedge.step"))
    card = parse_document(AXIS, name="machine.toml", told="machine")
    result = plan_part(
        str(tmp_path / "wedge.step"), tmp_path / "out", resolved=resolve({"workers": 1}, machine=card)
    )
    (layer,) = result.layers
    varied = [bead for bead in layer.beads if bead.widths]

    assert "width-fixed" not in codes(result)
    assert {bead.role for bead in varied} == {"medial"}
    # the axis counts the volume: that of the beads, mm3 / 1000
    (last,) = [line for line in result.program.splitlines() if " A" in line][-1:]
    volume = sum(b.width * 4.0 * length(b.path) for b in layer.beads)
    assert float(last.rpartition("A")[2]) == pytest.approx(volume / 1000, rel=1e-5)
    found = verify_program(tmp_path / "out" / "program.nc", tmp_path / "wedge.step")
    assert found.ok
    assert found.run.volume_mm3 is not None
    # moves are printed to 1e-4 mm
    assert found.run.volume_mm3 == pytest.approx(volume, rel=1e-5)


def test_a_machine_that_cannot_follow_is_told(wedge: cq.Workplane) -> None:
    result = beadwright.plan(wedge, workers=1)
    (told,) = [finding for finding in result.findings if finding.code == "width-fixed"]

    assert all(bead.widths == () for layer in result.layers for bead in layer.beads)
    assert (told.level, told.allowed, told.unit) == ("note", 8.4, "mm")
    assert "the flow follows the path speed by itself" in told.text


SCREW = '[extruder]\nflow_control = "s-word"\n' + "".join(
    f"[[extruder.calibration]]\nrpm = {rpm}\nrate = {rate}\n"
    for rpm, rate in ((20, 4.0), (60, 12.0), (140, 28.0))
)


def test_a_wedge_at_one_screw_speed_is_laid_faster_where_it_is_narrow(
    wedge: cq.Workplane, tmp_path: Path
) -> None:
    cq.exporters.export(wedge, str(tmp_path / "wedge.step"))
    card = parse_document(SCREW, name="machine.toml", told="machine")
    out = tmp_path / "out"
    result = plan_part(str(tmp_path / "wedge.step"), out, resolved=resolve({"workers": 1}, machine=card))
    lines = result.program.splitlines()
    bead = next(row for row, line in enumerate(lines) if "role=medial" in line)
    widths, feeds = [], []
    for line in lines[bead : lines.index("(end bead)", bead)]:
        if line.startswith("(width mm="):
            widths.append(float(line[10:-1]))
        elif line.startswith("F"):
            feeds.append(float(line[1:]))

    assert "width-fixed" not in codes(result)
    assert len(widths) > 5
    # one volume a second: the job's 100 mm/s (6000 mm/min) where the bead is narrowest, in proportion elsewhere
    assert max(feeds) == pytest.approx(6000.0, abs=0.05)
    assert [f * w for f, w in zip(feeds, widths, strict=True)] == pytest.approx(
        [6000.0 * min(widths)] * len(widths), rel=1e-4
    )
    # and one screw word before the bead, none inside it
    assert (
        sum(" S" in line or line.startswith("S") for line in lines[bead : lines.index("(end bead)", bead)])
        == 1
    )
    found = verify_program(out / "program.nc", tmp_path / "wedge.step")
    assert found.ok

    # a bead that keeps its speed where it widens is found
    program = out / "program.nc"
    text = program.read_text()
    slow = [line for line in text.splitlines() if line.startswith("F") and float(line[1:]) == feeds[-1]]
    program.write_text(text.replace(slow[0], "F5999", 1))
    told = {noted.finding.code for noted in verify_program(program, tmp_path / "wedge.step").findings}
    assert "width-flow" in told


def frame(wall: float) -> cq.Workplane:
    """150 x 110 mm round an opening."""
    return cq.Workplane().box(150, 110, 4).cut(cq.Workplane().box(150 - 2 * wall, 110 - 2 * wall, 4))


# walls that share two beads, that are evened, and a tongue that tapers through one bead and two
@pytest.mark.parametrize(
    "part", ["shared", *(pytest.param(part, marks=pytest.mark.byhand) for part in ("even", "tapering"))]
)
def test_where_beads_of_other_widths_stand_the_nominal_ones_are_told_as_lost(
    part: str, tmp_path: Path
) -> None:
    if not ORACLE.exists():
        pytest.skip("the independent checker is not beside this checkout")
    block = cq.Workplane().box(80, 80, 4).translate((200, 0, 0))
    tongue = cq.Workplane().polyline([(0, -11), (170, -4.5), (170, 4.5), (0, 11)]).close().extrude(4)
    made = {
        "shared": frame(19).add(block).combine(),
        "even": frame(15.6).add(block).combine(),
        "tapering": block.union(tongue.translate((0, 0, -2))),
    }
    step = tmp_path / "part.step"
    cq.exporters.export(made[part], str(step))
    card = parse_document(SCREW, name="machine.toml", told="machine")
    result = plan_part(str(step), tmp_path / "out", resolved=resolve({"workers": 1}, machine=card))
    (row,) = result.document["layers"]
    roles = {bead.role for layer in result.layers for bead in layer.beads}

    assert roles == ({"contour"} if part == "even" else {"contour", "medial"})
    assert {place["why"] for place in row["lost"]} == (set() if part == "even" else {"medial"})
    # one entry for each 4 mm at most, each with the nominal width that is not there
    assert all(place["length_mm"] <= 4.0 and place["width_mm"] == 8.4 for place in row["lost"])
    done = subprocess.run(
        [sys.executable, str(ORACLE), str(tmp_path / "out" / "program.nc"), str(step)],
        capture_output=True, text=True, timeout=280, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout
    assert verify_program(tmp_path / "out" / "program.nc", step).ok
