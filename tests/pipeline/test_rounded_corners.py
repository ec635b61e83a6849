"""Corner rounding through a whole job: bound, program, verification, stock."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import pytest

import beadwright
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
