"""Stock judged against another solid: closed forms, places where it lacks, volumes, and what is told."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

import beadwright
from beadwright.errors import SettingsError, StepError
from beadwright.layers._finished import NEAR
from beadwright.pipeline import plan_part
from beadwright.pipeline._finished import read_finished
from beadwright.settings import resolve


def planned(folder: Path, blank: cq.Workplane, finished: cq.Workplane, **asked):
    cq.exporters.export(finished, str(folder / "tool.step"))
    return beadwright.plan(blank, finished=str(folder / "tool.step"), workers=1, **asked)


def test_a_cylinder_inside_a_box(tmp_path: Path) -> None:
    """Radius 40 in a box of 100 x 120: 10 mm at the nearest; the farthest point of the circle is 20 mm from both
    ends' sides, but nearer to the long ones: at (40 sin a, 40 cos a) the least of 50 - 40 sin a and 60 - 40 cos a is
    greatest where they are equal."""
    result = planned(tmp_path, cq.Workplane().box(100, 120, 8), cq.Workplane().cylinder(8, 40))
    told = result.document["finished"]
    (side,) = [row for row in told["faces"] if row["kind"] == "cylinder"]

    # 50 - 40 sin a = 60 - 40 cos a: cos a - sin a = 1/4, so sin a = (sqrt(2 - 1/16) - 1/4) / 2
    sine = (math.sqrt(2 - 1 / 16) - 0.25) / 2
    assert side["stock_mm"]["least"] == pytest.approx(10.0, abs=NEAR)
    assert side["stock_mm"]["greatest"] == pytest.approx(50 - 40 * sine, abs=NEAR)
    x, y, _ = side["least_at_mm"]
    assert (abs(x), y) == (pytest.approx(40, abs=NEAR), pytest.approx(0, abs=2))
    assert told["outside_mm2"] == pytest.approx(0, abs=1e-9)
    # a box, and what a cylinder leaves of it
    assert told["print_mm3"] == pytest.approx(100 * 120 * 8, rel=1e-9)
    assert told["machined_mm3"] == pytest.approx(100 * 120 * 8 - math.pi * 40**2 * 8, rel=1e-9)
    assert (told["base_mm"], told["top_mm"]) == (pytest.approx(0, abs=1e-6), pytest.approx(0, abs=1e-6))
    assert not [finding for finding in result.findings if finding.code.startswith("finished")]


def test_a_cone_has_least_at_the_bottom_of_its_layer(tmp_path: Path) -> None:
    """Radius 40 - z in a cylinder of 45: in the layer from 4 to 8 mm between 45 - 36 and 45 - 32 mm."""
    cone = cq.Workplane().circle(40).workplane(offset=8).circle(32).loft(ruled=True)
    result = planned(tmp_path, cq.Workplane().circle(45).extrude(8), cone, layers="1:2", bead_section="round")
    told = result.document["finished"]
    (side,) = [row for row in told["faces"] if row["kind"] == "cone"]

    # round beads: half of 4 mm inside at the borders of layers
    assert side["stock_mm"]["least"] == pytest.approx(45 - 36 - 2.0, abs=NEAR)
    assert side["stock_mm"]["greatest"] == pytest.approx(45 - 32, abs=NEAR)
    # one layer of two has no volume to speak of
    assert "machined_mm3" not in told


def test_a_finished_part_that_sticks_out_is_an_error_with_its_place(tmp_path: Path) -> None:
    """A pin of radius 10 at (45, 0) in a box that ends at x = 50: out by 5 mm, at (55, 0)."""
    tool = cq.Workplane().center(45, 0).circle(10).extrude(4)
    blank = cq.Workplane().rect(100, 80).extrude(4)
    result = planned(tmp_path, blank, tool)
    (found,) = [finding for finding in result.findings if finding.code == "finished-outside"]

    assert (found.level, found.unit) == ("error", "mm")
    assert found.measured == pytest.approx(-5.0, abs=NEAR)
    assert found.at_mm is not None
    assert found.at_mm[:2] == (pytest.approx(55, abs=0.1), pytest.approx(0, abs=1))
    # circular segment beyond x = 50, half angle 60 degrees: r^2 (t - sin t cos t)
    third = math.pi / 3
    outside = result.document["finished"]["outside_mm2"]
    assert outside == pytest.approx(100 * (third - math.sin(third) * math.cos(third)), rel=1e-6)


def test_the_sheet_and_the_settings_tell_it(tmp_path: Path) -> None:
    for name, part in (("blank", cq.Workplane().box(60, 60, 4)), ("tool", cq.Workplane().box(50, 40, 4))):
        cq.exporters.export(part, str(tmp_path / f"{name}.step"))
    job = tmp_path / "job.toml"
    job.write_text('finished = "tool.step"\nstock = 2\nworkers = 1\n')
    result = plan_part(str(tmp_path / "blank.step"), tmp_path / "out", resolved=resolve({}, job=job))
    told = result.document["finished"]
    page = (tmp_path / "out" / "report.html").read_text()

    # 2 mm of stock on a box of 60 x 60 x 4 round one of 50 x 40: 7 mm, and up to 12 mm along two sides
    assert [row["stock_mm"]["least"] for row in told["faces"]] == pytest.approx([7.0] * 4, abs=NEAR)
    greatest = sorted(row["stock_mm"]["greatest"] for row in told["faces"])
    assert greatest == pytest.approx([7.0, 7.0, 12.0, 12.0], abs=NEAR)
    # three layers over the stock below and above: all but the part's own 4 mm
    assert told["base_mm"] >= 2.0
    assert told["top_mm"] >= 2.0
    assert '"machined_mm3"' in page
    assert result.document["settings"]["finished"] == {"value": "tool.step", "from": "job"}
    assert str(tmp_path) not in (tmp_path / "out" / "program.nc").read_text()


def test_what_is_at_fault_is_told(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="finished: is for one part"):
        resolve({"finished": "tool.step", "copies": 2})
    with pytest.raises(StepError, match=r"nothing\.step"):
        read_finished(resolve({"finished": str(tmp_path / "nothing.step")}), np.eye(3, 4))
