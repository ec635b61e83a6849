"""Sections through the front door, against closed forms."""

from __future__ import annotations

import json
import math
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

import beadwright
from beadwright.errors import OutputError, SettingsError

# Numbers here pass through a few dozen roundings of coordinates of some hundred mm.
NEAR = 1e-9


def test_a_cylinder_gives_one_true_circle() -> None:
    cut = beadwright.section_at(cq.Workplane().circle(500).extrude(300), z=100)

    assert cut.kinds() == {"circle": 1}
    assert abs(cut.area - math.pi * 500**2) <= NEAR * 500**2
    assert abs(cut.length - 2 * math.pi * 500) <= NEAR * 500


def test_an_oblique_plane_gives_an_ellipse_with_the_way_back() -> None:
    part = cq.Workplane().circle(100).extrude(400)
    # Normal tilted by 60 degrees: semi-axes 100 and 100 / cos 60 = 200, area pi 100 200, centre on the axis.
    cut = beadwright.section_at(part, plane=(0, 0, 200, 0, math.sqrt(3) / 2, 0.5))

    record = cut.as_dict()
    (loop,) = record["loops"]
    assert abs(loop["area_mm2"] - math.pi * 100 * 200) <= NEAR * 2e4
    to_model = np.array(record["to_model"])
    for curve in loop["curves"]:
        x, y, z = to_model @ [*curve["from_mm"], record["height_mm"]["taken"], 1.0]
        assert abs(math.hypot(x, y) - 100) <= NEAR * 100
        assert abs(y * math.sqrt(3) / 2 + (z - 200) / 2) <= NEAR * 200


def test_a_plane_as_text_is_the_same_plane() -> None:
    part = cq.Workplane().box(20, 30, 40)

    text = beadwright.section_at(part, plane="0,0,3,0,0,2")
    level = beadwright.section_at(part, z=3.0)

    assert abs(text.area - 600) <= NEAR * 600
    assert abs(level.area - 600) <= NEAR * 600
    assert text.frame is not None
    assert level.frame is None


def test_a_plane_on_a_flat_face_goes_to_the_asked_side() -> None:
    step = (
        cq.Workplane()
        .box(40, 40, 10, centered=(True, True, False))
        .faces(">Z")
        .workplane()
        .rect(20, 20)
        .extrude(5)
    )

    below = beadwright.section_at(step, z=10, side="below")
    above = beadwright.section_at(step, z=10, side="above")

    assert abs(below.area - 1600) <= NEAR * 1600
    assert abs(above.area - 400) <= NEAR * 1600
    assert abs(below.section.taken - (10 - 1e-6)) < 1e-8
    assert "horizontal face" in above.why


def test_a_plane_beside_the_part_gives_nothing() -> None:
    cut = beadwright.section_at(cq.Workplane().box(10, 10, 10), z=100)

    assert cut.loops.n_chains == 0
    assert cut.area == 0.0


def test_surfaces_are_cut_if_wanted() -> None:
    face = cq.Workplane().circle(50).extrude(20).faces("%CYLINDER").val()

    cut = beadwright.section_at(face, z=10, surfaces=True)

    assert abs(cut.length - 100 * math.pi) <= NEAR * 100


@pytest.mark.parametrize(
    "planes",
    [{}, {"z": 1, "plane": (0, 0, 0, 0, 0, 1)}, {"z": math.nan}, {"plane": "1,2,3"}, {"plane": (0,) * 6}],
)
def test_no_plane_is_refused(planes: dict[str, object]) -> None:
    with pytest.raises(SettingsError):
        beadwright.section_at(cq.Workplane().box(1, 1, 1), **planes)


def test_files_are_told_by_their_ending(tmp_path: Path) -> None:
    cut = beadwright.section_at(cq.Workplane().circle(50).extrude(20), z=10)

    written = beadwright.write_section(cut, tmp_path / "cut.json")
    assert json.loads(written.path.read_text())["loops"][0]["curves"][0]["radius_mm"] == 50
    with pytest.raises(OutputError, match=r"\.dxf"):
        beadwright.write_section(cut, tmp_path / "cut.png")
