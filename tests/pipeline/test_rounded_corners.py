"""Corner rounding through a whole job: bound, program, verification, stock."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import pytest

import beadwright
from beadwright.curves import length, lengths
from beadwright.errors import SettingsError
from beadwright.pipeline import plan_part, verify_program
from beadwright.settings import resolve


def test_a_frame_with_rounded_corners_is_told_and_verified(tmp_path: Path) -> None:
    frame = cq.Workplane().box(200, 120, 4).cut(cq.Workplane().box(80, 40, 4))
    cq.exporters.export(frame, str(tmp_path / "part.step"))
    asked = resolve({"corner_radius": 3, "workers": 1})
    result = plan_part(str(tmp_path / "part.step"), tmp_path / "out", resolved=asked)
    (row,) = result.document["layers"]
    text = (tmp_path / "out" / "program.nc").read_text()

    # the outline's two beads have four corners each; round the hole the offsets are arcs already
    assert row["rounded_corners"] == 8
    cost = (math.sqrt(2) - 1) * 3
    assert row["bounds_mm"]["corner"] == pytest.approx(cost, abs=1e-9)
    assert row["bounds_mm"]["total"] == pytest.approx(
        sum(row["bounds_mm"][part] for part in ("section", "fit", "region", "rounding", "corner")), abs=1e-12
    )
    assert " corner=1.24" in text
    found = verify_program(tmp_path / "out" / "program.nc", tmp_path / "part.step")
    assert found.ok, found.findings

    # the bead's long side at Y -55.8 moved in by 0.5 mm, less than what the corners cost
    program = tmp_path / "out" / "program.nc"
    assert "Y-55.8" in text
    program.write_text(text.replace("Y-55.8", "Y-55.3"))
    other = verify_program(program, tmp_path / "part.step")
    assert "profile" in [noted.finding.code for noted in other.findings]


def test_without_it_nothing_is_told() -> None:
    result = beadwright.plan(cq.Workplane().box(100, 60, 4), workers=1)

    assert "corner" not in result.document["bounds_mm"]
    assert "corner_radius_mm" not in result.document["settings"]
    assert "rounded_corners" not in result.document["layers"][0]


def test_a_radius_out_of_range_is_told() -> None:
    with pytest.raises(SettingsError, match=r"corner_radius: 0 is out of range; allowed 0\.1 to 100 mm"):
        resolve({"corner_radius": 0})


def test_walls_without_contour_beads_refuse_it() -> None:
    with pytest.raises(SettingsError, match="corner_radius: is for solids; walls have none"):
        resolve({"corner_radius": 3, "wall": "centre"})


def test_contour_fill_of_several_widths_is_rounded_like_the_beads_around_it() -> None:
    """A plate with corners of 60 degrees: the outer bead, 6.8 mm wide, and the rings inside it turn there alike."""
    ring = [(0, 0), (155, 0), (77.5, 77.5 * math.sqrt(3))]
    plate = cq.Workplane().polyline(ring).close().extrude(4)
    result = beadwright.plan(
        plate, workers=1, corner_radius=3, widths={"outer": 6.8}, fill={"kind": "contour", "joined": False}
    )
    (layer,) = result.layers
    # the innermost ring may be too small for the arcs, which is a finding of its own
    ringed = [bead for bead in layer.beads if bead.closed and length(bead.path) > 40]

    assert {bead.width for bead in ringed} == {6.8, 8.4}
    assert len(ringed) == 5
    for bead in ringed:
        # each arc turns by 120 degrees: its bulge is tan(120 / 4)
        assert sorted(bead.path.bulge)[-3:] == pytest.approx([math.tan(math.pi / 6)] * 3, abs=1e-12)
        radius = lengths(bead.path)[bead.path.bulge > 0.1] / (2 * math.pi / 3)
        assert radius == pytest.approx(3.0, abs=1e-9)
