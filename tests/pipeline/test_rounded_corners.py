"""Corner rounding through a whole job: bound, program, verification, stock."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import pytest

from beadwright.errors import SettingsError
from beadwright.pipeline import plan_part, verify_program
from beadwright.settings import resolve


def planned(part: cq.Workplane, folder: Path, **asked):
    cq.exporters.export(part, str(folder / "part.step"))
    return plan_part(str(folder / "part.step"), folder / "out", resolved=resolve({"workers": 1, **asked}))


def test_a_frame_with_rounded_corners_is_told_and_verified(tmp_path: Path) -> None:
    frame = cq.Workplane().box(200, 120, 4).cut(cq.Workplane().box(80, 40, 4))
    result = planned(frame, tmp_path, corner_radius=3)
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


def test_a_straight_move_that_lies_in_by_the_corners_share_is_a_finding(tmp_path: Path) -> None:
    planned(cq.Workplane().box(200, 120, 4), tmp_path, corner_radius=3, contours=1)
    program = tmp_path / "out" / "program.nc"
    text = program.read_text()
    # the bead's long side at Y -55.8 moved in by 0.5 mm, less than the corners' 1.24 mm
    assert "Y-55.8" in text
    program.write_text(text.replace("Y-55.8", "Y-55.3"))
    found = verify_program(program, tmp_path / "part.step")

    assert "profile" in [noted.finding.code for noted in found.findings]


def test_without_it_nothing_is_told(tmp_path: Path) -> None:
    result = planned(cq.Workplane().box(100, 60, 4), tmp_path)

    assert "corner" not in result.document["bounds_mm"]
    assert "corner_radius_mm" not in result.document["settings"]
    assert "rounded_corners" not in result.document["layers"][0]


def test_a_radius_out_of_range_is_told() -> None:
    with pytest.raises(SettingsError, match=r"corner_radius: 0 is out of range; allowed 0\.1 to 100 mm"):
        resolve({"corner_radius": 0})
