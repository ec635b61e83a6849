"""Beads of other widths by role: where they lie, what they lay, and that the program is as the part asks."""

from __future__ import annotations

from pathlib import Path

import cadquery as cq
import pytest

import beadwright
from beadwright.arcs import cover
from beadwright.curves import length
from beadwright.errors import SettingsError
from beadwright.pipeline import plan_part, verify_program
from beadwright.settings import parse_document, resolve

# 300 x 200 mm, three contour beads and lines inside.
ASKED = {
    "width": 10,
    "widths": {"outer": 8.4, "base": 9.0},
    "contours": 3,
    "fill": {"kind": "lines"},
    "workers": 1,
    "base_beads": 2,
}


@pytest.fixture(scope="module")
def block() -> cq.Workplane:
    return cq.Workplane().box(300, 200, 8)


def test_a_plate_of_beads_of_8_4_and_10_mm(block: cq.Workplane, tmp_path: Path) -> None:
    cq.exporters.export(block, str(tmp_path / "plate.step"))
    result = plan_part(str(tmp_path / "plate.step"), tmp_path / "out", resolved=resolve(ASKED))
    layer = result.layers[0]
    contour = sorted((b for b in layer.beads if b.role == "contour"), key=lambda bead: bead.rank)

    # tamped beads lie half of each width apart: 4.2, + (8.4 + 10) / 2, + 10
    assert [bead.offset for bead in contour] == pytest.approx([4.2, 13.4, 23.4], abs=1e-9)
    assert [bead.width for bead in contour] == [8.4, 10.0, 10.0]
    # a rectangle d inside one of 300 x 200 mm
    for bead in contour:
        assert length(bead.path) == pytest.approx(2 * (300 + 200 - 4 * bead.offset), abs=1e-6)
    base = sorted(bead.offset for bead in layer.beads if bead.role == "base")
    # half of 8.4 and 9 between the outermost bead's centreline and the first base bead's
    assert base == pytest.approx([-4.5 - 9.0, -4.5], abs=1e-9)
    fill = [bead for bead in layer.beads if bead.role == "fill"]
    # whole lines fit with a width at most a sixth off
    assert fill
    assert all(abs(bead.width - 10) <= 10 / 6 for bead in fill)
    covered = result.document["layers"][0]["coverage"]
    assert covered["reached_mm2"] > 0.995 * covered["reachable_mm2"]
    assert covered["overfilled_mm2"] < 0.015 * covered["covered_mm2"]
    assert result.document["settings"]["widths.outer_mm"] == {"value": 8.4, "from": "option"}
    found = verify_program(tmp_path / "out" / "program.nc", tmp_path / "plate.step")
    assert found.ok, found.findings


def test_round_beads_of_other_widths_overlap_as_two_alike_do() -> None:
    """w - A / h = (1 - pi / 4) h depends on the height only: 0.858407 mm of 4 mm (handbook value)."""
    block = cq.Workplane().box(200, 120, 4)
    result = beadwright.plan(block, width=10, widths={"outer": 8.4}, bead_section="round", workers=1)
    first, second = sorted(bead.offset for bead in result.layers[0].beads)

    assert second - first == pytest.approx((8.4 + 10) / 2 - 0.858407, abs=1e-6)


def test_a_wall_of_two_outer_and_one_inner_bead_is_full() -> None:
    """A ring of inner radius 100 mm, 8.4 + 10 + 8.4 mm thick: the middle bead is medial, and all is covered once."""
    ring = cq.Workplane().circle(126.8).circle(100).extrude(4)
    result = beadwright.plan(ring, width=10, widths={"outer": 8.4}, contours=3, workers=1)
    beads = result.layers[0].beads

    assert sorted((bead.role, round(bead.width, 3)) for bead in beads) == [
        ("contour", 8.4),
        ("contour", 8.4),
        ("medial", 10.0),
    ]
    # Pappus: 2 pi R w each, together the ring's own area
    area = 3.141592653589793 * (126.8**2 - 100**2)
    found = cover([(bead.path, bead.width) for bead in beads])
    assert found is not None
    assert found.union == pytest.approx(area, rel=2e-5)
    assert found.twice < 1e-4 * area


def test_ribs_have_their_own_width() -> None:
    block = cq.Workplane().box(300, 200, 4)
    result = beadwright.plan(
        block, widths={"rib": 9.6}, fill={"kind": "ribs", "rib_spacing": 60, "angles": [0]}, workers=1
    )
    ribs = [bead for bead in result.layers[0].beads if bead.role == "rib"]

    assert {bead.width for bead in ribs} == {9.6}
    # ends meet the second contour bead at the set overlap: its inner side is 16.8 mm inside, 5 % of 9.6 mm deep
    assert max(bead.path.points[:, 0].max() for bead in ribs) == pytest.approx(150 - 16.8 + 0.48, abs=1e-6)


def test_the_screw_is_asked_for_each_area() -> None:
    settings = resolve({"width": 10, "widths": {"outer": 8.4}}).settings

    # flat beads: width times height
    assert settings.bead_area(settings.width_of("outer")) == pytest.approx(33.6)
    assert settings.bead_area() == pytest.approx(40.0)
    # the nozzle must lay the narrowest bead too
    assert settings.nozzle_bore() == pytest.approx(7.62)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"widths": {"outer": 0.1}}, "widths.outer.*0.5 to 100 mm"),
        ({"widths": {"fil": 9}}, "did you mean fill"),
        ({"widths": {"fill": 14}}, "widths.fill: 14 mm beside the width, 8.4 mm"),
        ({"widths": {"rib": 3.9}}, "height: 4 mm is not below widths.rib, 3.9 mm"),
        ({"widths": {"inner": 12}, "bore": 7.62}, "bore: 7.62 mm cannot lay a bead 12 mm wide"),
        ({"widths": {"inner": 9}, "wall": "centre"}, "widths: are for solids"),
        ({"widths": {"base": 6}, "spacing": 2, "height": 1}, "widths.base: 6 mm is no more than the overlap"),
    ],
)
def test_faults_of_widths_are_told_in_words(given, words) -> None:
    with pytest.raises(SettingsError, match=words):
        resolve(given)


def test_beads_of_a_wedge_keep_one_width_where_roles_differ(tmp_path: Path) -> None:
    """16 to 60 mm thick on an extruder axis: beads that are not alike share nothing, and none is missing."""
    wedge = cq.Workplane().polyline([(0, -8), (300, -30), (300, 30), (0, 8)]).close().extrude(4)
    cq.exporters.export(wedge, str(tmp_path / "wedge.step"))
    card = parse_document(
        '[extruder]\nflow_control = "axis"\naxis_scale = 1000.0\n', name="m", told="machine"
    )
    asked = resolve({"width": 10, "widths": {"outer": 8.4}, "contours": 3, "workers": 1}, machine=card)
    result = plan_part(str(tmp_path / "wedge.step"), tmp_path / "out", resolved=asked)

    assert all(bead.widths == () for bead in result.layers[0].beads)
    found = verify_program(tmp_path / "out" / "program.nc", tmp_path / "wedge.step")
    assert found.ok, found.findings
