"""Advice of examine on parts whose walls, balance and poses are known in closed form."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import cadquery as cq
import numpy as np
import pytest

import beadwright
from beadwright.curves import ArcRegion, region_moments
from beadwright.pipeline import show_examination
from beadwright.settings import PlanSettings
from tests.post._build_programs import circle, path


def test_moments_of_arcs():
    # a half disc of radius R: its centroid lies 4 R / (3 pi) from the diameter
    half = path([[10, 5], [-10, 5]], [1.0, 0.0])
    area, moments = region_moments(ArcRegion(loops=(half,), supports=np.zeros((0, 4))))
    assert area == pytest.approx(50 * math.pi, rel=1e-12)
    assert moments / area == pytest.approx([0.0, 5 + 40 / (3 * math.pi)], abs=1e-12)
    # a disc of 50 at (100, 0) without one of 20 at (110, 0)
    ring = ArcRegion(loops=(circle(100, 0, 50), circle(110, 0, 20, -1)), supports=np.zeros((0, 4)))
    area, moments = region_moments(ring)
    assert moments == pytest.approx([math.pi * (2500 * 100 - 400 * 110), 0.0], abs=1e-6)


def plate_with_ribs():
    """A frame of walls 4 (thinner than a bead), 12 (between one and two) and 20 mm."""
    base = cq.Workplane().box(20, 300, 60, centered=(True, True, False))
    thin = cq.Workplane(origin=(60, 0, 0)).box(4, 300, 60, centered=(True, True, False))
    middle = cq.Workplane(origin=(120, 0, 0)).box(12, 300, 60, centered=(True, True, False))
    return base.add(thin).add(middle).combine()


# beads of 8.4 from a bore of 7.62: one makes 7.62 to 10.92 mm, two 15.24 to 21.84; shares by area 4, 12 and 20 of 36
def test_walls_by_thickness_and_places_out_of_reach():
    found = beadwright.examine(plate_with_ribs())
    pose = found.pose
    assert {text.split(" is ", 1)[1] for text in found.advice if text.startswith("a wall at ")} <= {
        "thinner than one bead can be, 7.62 mm"
    }
    assert any(text.startswith("a wall 10.92 to 15.24 mm thick at ") for text in found.advice)

    thin, one, between, two, above = pose.thickness
    # a disc of 7.62 mm does not reach the eight corners of the other two walls: (1 - pi / 4) r^2 each
    corners = 8 * (1 - math.pi / 4) * 3.81**2
    assert thin == pytest.approx((4 * 300 + corners) / (36 * 300), rel=1e-4)
    assert between == pytest.approx(12 / 36, rel=0.02)
    assert two == pytest.approx(20 / 36, rel=0.02)
    assert one == pytest.approx(0.0, abs=0.01)
    assert above == pytest.approx(0.0, abs=0.01)
    places = {round(wall.at[0] - pose.walls[0].at[0]) for wall in pose.walls}
    assert places == {0, -60}
    assert {round(wall.high, 6) for wall in pose.walls} == {7.62, 15.24}
    told = pose.as_dict()["thickness_in_widths"]
    assert [row["from"] for row in told] == pytest.approx([0, 7.62 / 8.4, 1.3, 15.24 / 8.4, 2.6], abs=1e-6)


@pytest.mark.parametrize(
    ("thick", "section", "out"), [(7.2, "flat", True), (14.8, "flat", True), (14.8, "round", False)]
)
def test_walls_out_of_reach_are_those_that_the_plan_cannot_make(thick, section, out):
    """Under the bore, 7.62 mm, none; from 10.92 mm to what two take: 15.24 mm flat, 14.38 mm round, which overlap."""
    board = cq.Workplane().box(thick, 200, 40)

    assert bool(beadwright.examine(board, bead_section=section).pose.walls) == out


def test_machined_faces_that_face_the_platform_are_told(tmp_path):
    """A wedge whose underside leans 60 degrees from upright looks 60 degrees below level; its top looks up."""
    run = 40 * math.tan(math.radians(60))
    wedge = cq.Workplane("XZ").polyline([(0, 0), (60, 0), (60 + run, 40), (0, 40)]).close().extrude(50)
    (tmp_path / "job.toml").write_text('[[stock]]\nfaces = "all"\namount = 3\n')
    found = beadwright.examine(wedge, job=tmp_path / "job.toml")
    told = found.as_dict()["pose"]["machined_facing_down_deg"]

    assert sorted(told.values()) == [pytest.approx(60, abs=1e-6), pytest.approx(90, abs=1e-6)]
    assert any("2 machined faces look at the platform" in text for text in found.advice)
    assert "machined_facing_down_deg" not in beadwright.examine(wedge).as_dict()["pose"]
    up = beadwright.examine(wedge, stock=[{"faces": {"facing": (0, 0, 1)}, "amount": 3.0}])
    assert up.pose.facing_down == {}


def test_balance_of_a_part_that_overhangs():
    # a post of 40 x 40 x 100 with an arm of 200 x 40 x 40 on top, from its side
    post = cq.Workplane().box(40, 40, 100, centered=(True, True, False))
    arm = cq.Workplane(origin=(80, 0, 100)).box(200, 40, 40, centered=(True, True, False))
    found = beadwright.examine(post.union(arm), rotate=(0, 0, 0))
    pose = found.pose
    x = (200 * 40 * 40 * 80) / (40 * 40 * 100 + 200 * 40 * 40)

    # placed about the middle of its box: the post at -80
    assert pose.centre[0] + 80 == pytest.approx(x, rel=1e-9)
    assert pose.margin == pytest.approx(20 - x, rel=1e-6)
    assert any("tips over" in text for text in found.advice)
    assert pose.base_area == pytest.approx(1600.0, rel=1e-9)
    assert pose.slenderness == pytest.approx(140 / 40, rel=1e-6)
    assert list(pose.lean.values()) == [pytest.approx(90.0)]


def test_a_round_base_carries_to_its_rim():
    """A cylinder of radius 80 stands with its centre 80 mm inside its base; the square in its rim has 56.6."""
    pose = beadwright.examine(cq.Workplane().circle(80).extrude(200)).pose

    # what the sections' fit and the hull may each be off
    assert pose.margin == pytest.approx(80, abs=0.1)
    assert pose.slenderness == pytest.approx(200 / 160, rel=1e-3)


def test_a_part_on_an_edge_is_told_without_infinite_figures(capsys):
    block = beadwright.examine(cq.Workplane().box(60, 60, 60), rotate=(45, 0, 0))
    # as where the lowest points of a free-form face are fewer than three
    pose = replace(block.pose, margin=-math.inf, slenderness=math.inf)
    told = pose.as_dict()

    assert "margin_mm" not in told
    assert "slenderness" not in told
    # JSON knows no infinity (RFC 8259, section 6)
    json.dumps(told, allow_nan=False)
    show_examination(replace(block, pose=pose))
    shown = "".join(capsys.readouterr())
    assert "over no area to stand on" in " ".join(shown.split())
    assert any("point or an edge" in each for each in pose.sentences(PlanSettings()))
    assert "inf " not in shown


def test_poses_side_by_side():
    # a wedge of 45 degrees on its edge side would lean; a box has three different poses
    pose = beadwright.examine(cq.Workplane().box(300, 200, 100)).pose

    told = {each.rotate: (each.layers, each.base_area, each.lean_area) for each in pose.poses}
    assert told[0.0, 0.0, 0.0] == (25, pytest.approx(60000.0), 0.0)
    assert sorted((layers, round(base)) for layers, base, _ in told.values()) == [
        (25, 60000),
        (25, 60000),
        (50, 30000),
        (50, 30000),
        (75, 20000),
        (75, 20000),
    ]


def test_a_better_pose_is_proposed():
    # a mushroom: head up leans, head down does not
    part = cq.Workplane().circle(40).extrude(100).faces(">Z").workplane().circle(120).extrude(30)
    found = beadwright.examine(part)

    assert found.pose.poses[0].lean_area == pytest.approx(math.pi * (120**2 - 40**2), rel=0.02)
    assert any("--rotate 0,180,0" in text for text in found.advice)


def test_rounded_inner_corners_and_ends_of_slots_are_no_holes():
    """Four quarters of a cylinder of radius 3 in a square opening, two halves of radius 5 in a slot; and one hole."""
    plate = cq.Workplane().rect(200, 160).extrude(12)
    plate = plate.cut(cq.Workplane().center(-40, 0).rect(60, 60).extrude(12).edges("|Z").fillet(3))
    plate = plate.cut(cq.Workplane().center(40, 30).slot2D(50, 10).extrude(12))
    plate = plate.cut(cq.Workplane().center(40, -30).circle(9).extrude(12))
    found = beadwright.examine(plate)
    assert list(found.pose.holes.values()) == [pytest.approx(18.0)]
    assert found.pose.inner_radius == pytest.approx(3.0, abs=0.06)
    assert any(text.startswith("1 round hole is narrower than 3 beads") for text in found.advice)


def test_narrow_holes_and_inner_corners():
    part = cq.Workplane().box(300, 200, 40).faces(">Z").workplane().hole(20)
    part = (
        part.faces(">Z")
        .workplane(origin=(80, 0))
        .rect(60, 60)
        .cutThruAll()
        .edges("|Z")
        .edges("<X or >X")
        .fillet(1)
    )
    found = beadwright.examine(part)

    assert list(found.pose.holes.values()) == [pytest.approx(20.0, rel=1e-9)]
    assert any("narrower than 3 beads" in text for text in found.advice)
    assert found.as_dict()["pose"]["inner_radius_mm"] == pytest.approx(10.0, rel=1e-6)
