"""Every measured quantity against a closed form: rings, squares with corners, beads that cross."""

from __future__ import annotations

import math
import re
from functools import lru_cache

import cadquery as cq
import numpy as np
import pytest

from beadwright.brep import Model
from beadwright.kernel import from_shape
from beadwright.pipeline import plan
from beadwright.verify import LayerResult, Verification, VerifyOptions, verify
from beadwright.verify import _layer as layer_module
from beadwright.verify._cut import Cut, Floats
from tests.verify._programs import HandBead, ring, square, told

ALL = VerifyOptions(every=True)


@lru_cache(maxsize=8)
def box(side: float, height: float = 4.0) -> Model:
    return from_shape(cq.Workplane().rect(side, side).extrude(height), name="hand.step")


@lru_cache(maxsize=8)
def tube(outer: float, inner: float, height: float = 4.0) -> Model:
    return from_shape(cq.Workplane().circle(outer).circle(inner).extrude(height), name="hand.step")


def first(found: Verification) -> LayerResult:
    return found.checked[0]


def errors(found: Verification) -> list[str]:
    return [n.finding.code for n in found.findings if n.finding.level == "error"]


def test_a_ring_has_the_length_and_volume_of_pappus() -> None:
    # a round bead 10 x 4 on R 500: 3141.592654 mm, 114876.6413 mm3, 130.95937 g at 1.14 g/cm3
    model = tube(505.0, 495.0)

    found = verify(
        told(model, [[ring(500.0)]]), model, VerifyOptions(every=True, bead_section="round", density=1.14)
    )

    assert found.run.bead_mm == pytest.approx(3141.592654, abs=1e-6)
    assert found.run.volume_mm3 == pytest.approx(114876.6413, abs=1e-4)
    assert found.run.mass_g == pytest.approx(130.95937, abs=1e-5)
    assert found.run.feed_s == pytest.approx((3141.592654 + 20) / 100, abs=1e-6)  # and 20 mm down at feed


def test_a_bead_whose_width_varies_is_measured_move_by_move() -> None:
    # 100 mm of 8 and 100 mm of 10, 4 high
    model = box(300.0)
    moves = ("(width mm=8.0)", "G1 X0 Y0", "(width mm=10.0)", "G1 X100 Y0")
    bead = HandBead((-100.0, 0.0), moves, role="medial", width=9.0, closed=0)
    found = verify(told(model, [[bead]]), model, ALL)

    assert found.run.volume_mm3 == pytest.approx(100 * 8 * 4 + 100 * 10 * 4, abs=1e-6)
    assert first(found).covered_mm2 == pytest.approx(1800.0, abs=1e-6)
    assert "comment-place" not in errors(found)


def test_a_width_outside_a_bead_is_at_a_wrong_place() -> None:
    model = box(300.0)
    text = told(model, [[HandBead((-100.0, 0.0), ("G1 X100 Y0",), role="medial", closed=0)]])
    found = verify(text.replace("(layer ", "(width mm=8.0)\n(layer ", 1), model, ALL)

    assert "comment-place" in errors(found)


def test_a_ring_that_fills_its_section_leaves_nothing_and_covers_nothing_twice() -> None:
    # swept area 2 pi R w is that of the section pi (505^2 - 495^2)
    model = tube(505.0, 495.0)
    found = verify(told(model, [[ring(500.0)]]), model, ALL)
    layer = first(found)

    assert errors(found) == []
    assert layer.region_mm2 == pytest.approx(2 * math.pi * 500 * 10, rel=1e-6)
    assert layer.covered_mm2 == pytest.approx(2 * math.pi * 500 * 10, rel=1e-9)
    # chords of both outlines: less than a thousandth times the length of the boundary
    assert layer.underfilled_mm2 is not None
    assert layer.underfilled_mm2 < 1e-3 * 2 * math.pi * 1000
    assert layer.doubled_mm2 == pytest.approx(0.0, abs=1e-3)


def test_a_corner_covers_twice_what_its_closed_form_says() -> None:
    # a turn of 90 degrees, w 10, h 4: w^2 (tan(45) / 4 - pi / 16) h = 21.4602 mm3
    model = box(210.0)
    layer = first(verify(told(model, [[square(100.0)]]), model, ALL))

    assert layer.doubled_mm2 is not None
    # the disc at a corner has 64 corners and the circle's own area: each quarter is off by less than 0.02 mm2
    assert layer.doubled_mm2 * 4.0 / 4 == pytest.approx(21.4602, abs=4.0 * 0.02)
    assert layer.covered_mm2 == pytest.approx(800 * 10 - 4 * 5.36504, abs=0.05)


@pytest.mark.parametrize("degrees", [90.0, 60.0, 30.0])
def test_beads_that_cross_cover_their_rhomb_twice(degrees: float) -> None:
    # w^2 / sin(angle): 100 at 90 degrees, 115.470 at 60 (461.880 mm3 at h 4)
    model = box(400.0)
    c, s = 150 * math.cos(math.radians(degrees)), 150 * math.sin(math.radians(degrees))
    beads = [
        HandBead(start=(-150.0, 0.0), moves=("G1 X150.0 Y0.0",), role="fill", offset=math.nan, closed=0),
        HandBead(
            start=(round(-c, 6), round(-s, 6)),
            moves=(f"G1 X{c:.6f} Y{s:.6f}",),
            role="fill",
            offset=math.nan,
            closed=0,
        ),
    ]
    layer = first(verify(told(model, [beads]), model, ALL))

    assert layer.doubled_mm2 == pytest.approx(100 / math.sin(math.radians(degrees)), abs=1e-4)


@pytest.mark.parametrize("off", [0.05, -0.05, 0.3])
def test_deviation_of_a_ring_of_the_wrong_radius_is_its_difference(off: float) -> None:
    model = tube(505.0, 400.0)
    found = verify(told(model, [[ring(500.0 + off), ring(405.0, hole=True)]]), model, ALL)
    profile = found.profile

    assert profile is not None
    accuracy = first(found).accuracy
    assert accuracy <= 2e-4
    assert profile.greatest == pytest.approx(off, abs=accuracy)
    # the outer ring is 500 of 905 parts of the length, the other one lies right
    assert profile.mean == pytest.approx(off * (500 + off) / (905 + off), abs=accuracy)
    assert profile.p95 == pytest.approx(abs(off), abs=accuracy)
    outside = [n.finding for n in found.findings if n.finding.code == "profile"]
    assert len(outside) == 1
    assert outside[0].face is not None
    assert model.faces[outside[0].face].radius == pytest.approx(505.0)


def test_deviation_of_a_shifted_ring_runs_over_all_angles() -> None:
    # shifted by e, the deviation at angle t is e cos t: greatest e, mean 0, 95 % within e cos of the last 5 %
    model, e = tube(505.0, 400.0), 0.2
    shifted = HandBead(
        start=(500 + e, 0.0), moves=(f"G3 X{-500 + e} Y0.0 I-500 J0.0", f"G3 X{500 + e} Y0.0 I500 J0.0")
    )
    found = verify(told(model, [[shifted, ring(405.0, hole=True)]]), model, ALL)
    outer = found.faces[next(f.id for f in model.faces if abs(f.radius - 505) < 1e-6)]

    assert outer.greatest == pytest.approx(e, abs=3e-4)
    assert outer.mean == pytest.approx(0.0, abs=3e-4)
    # |cos t| is below c on a share 1 - 2 acos(c) / pi of the circle
    assert outer.p95 == pytest.approx(e * math.cos(0.05 * math.pi / 2), abs=1e-3)


def test_a_bead_beyond_the_layer_below_is_without_support() -> None:
    # radius 500, then 504: a ring of 4 mm width on the outside hangs, pi ((509)^2 - (505)^2)
    solid = cq.Workplane().circle(505).circle(495).extrude(4)
    upper = cq.Workplane(origin=(0, 0, 4)).circle(509).circle(499).extrude(4)
    model = from_shape(solid.union(upper), name="hand.step")
    found = verify(told(model, [[ring(500.0)], [ring(504.0)]]), model, ALL)
    second = found.checked[1]

    assert second.unsupported_mm2 == pytest.approx(math.pi * (509**2 - 505**2), rel=1e-5)
    assert second.unsupported_mm == 0.0  # the centreline still lies over the bead below


def test_limits_are_judged_at_their_first_line() -> None:
    model = tube(505.0, 495.0)
    text = told(model, [[ring(500.0)]])
    box_mm = np.array([[-490.0, -600.0, 0.0], [600.0, 600.0, 100.0]])
    found = verify(text, model, VerifyOptions(every=True, envelope=box_mm, greatest_feed=90.0))
    lines = text.split("\n")
    told_at = {n.finding.code: n for n in found.findings}

    assert lines[(told_at["envelope"].line or 0) - 1].startswith("G3 X-500")
    assert told_at["envelope"].finding.measured == pytest.approx(-500.0)
    assert lines[(told_at["feed-limit"].line or 0) - 1] == "G1 Z4.0"
    assert told_at["feed-limit"].finding.measured == pytest.approx(100.0)


def test_the_extent_of_an_arc_counts_not_its_ends() -> None:
    # a half turn from (500, 0) to (-500, 0) reaches y = 500
    model = tube(505.0, 495.0)
    limit = np.array([[-600.0, -600.0, 0.0], [600.0, 499.0, 100.0]])
    found = verify(told(model, [[ring(500.0)]]), model, VerifyOptions(every=True, envelope=limit))

    assert [n.finding.measured for n in found.findings if n.finding.code == "envelope"] == [
        pytest.approx(500.0)
    ]


def test_flow_while_the_axes_stand_has_the_volume_of_its_time() -> None:
    # 0.5 s at 100 mm/s of a flat bead 10 x 4: 2000 mm3
    model = tube(505.0, 495.0)
    text = told(model, [[ring(500.0)]]).replace("M3\n", "M3\nG4 P0.5\n", 1)
    found = verify(text, model, ALL)
    standing = next(n for n in found.findings if n.finding.code == "flow-while-standing")

    assert standing.finding.measured == pytest.approx(2000.0)
    assert text.split("\n")[(standing.line or 0) - 1] == "G4 P0.5"
    assert found.run.dwell_s == 0.5
    assert errors(verify(text, model, VerifyOptions(every=True, standstill_mm3=2000.0))) == []


# A rounding of 6 that runs out into the flat top of a post of R 30, cut 1.1e-6 below it: at a depth d its level curve
# has the radius 24 + sqrt(12 d - d^2), 24.0036; 1e-4 deeper it would be 0.031 farther out.
@pytest.mark.parametrize(("off", "codes"), [(0.0, set()), (0.05, {"profile"})])
def test_where_the_kernel_loses_the_plane_beside_a_flat_the_next_one_speaks(
    off: float, codes: set[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    depth = 1.1e-6
    model = from_shape(cq.Workplane().circle(30).extrude(10).faces(">Z").edges().fillet(6))
    radius = 24 + math.sqrt(12 * depth - depth**2)
    text = told(model, [[ring(radius - 5.0 - off)]], height=2 * (10 - depth))
    answers = layer_module.passes
    asked: list[float] = []

    def lost(found: Cut, part: Model, matrix: Floats, cuts: tuple[float, ...]) -> bool:
        asked.append(cuts[0])
        return cuts[0] != asked[0] and answers(found, part, matrix, cuts)

    monkeypatch.setattr(layer_module, "passes", lost)
    found = verify(text, model, ALL)

    assert asked[0] == pytest.approx(10 - depth, abs=1e-9)
    assert {n.finding.code for n in found.findings if n.finding.level == "error"} == codes


def test_beads_of_a_usual_width_are_not_due_where_an_even_wall_bulges() -> None:
    # two layers of a plate with both ranks, then a wall of 21.7 mm, which two beads of 10.85 fill, with a bulge of
    # 28.2 mm, where the second of the usual ones would have a line of 33 mm
    wall = [
        (0, -108),
        (21.7, -108),
        (21.7, -16.3),
        (28.2, -16.3),
        (28.2, 16.3),
        (21.7, 16.3),
        (21.7, 108),
        (0, 108),
    ]
    upper = cq.Workplane().workplane(offset=8.0).polyline(wall).close().extrude(8.0)
    part = cq.Workplane().center(20, 0).rect(80, 240).extrude(8.0).union(upper)
    model = from_shape(part, name="hand.step")
    text = plan(model, workers=1).program

    assert {rank: list(offsets) for rank, offsets in offsets_of(text).items()} == {
        "1": [4.2, 5.425],
        "2": [12.6],
    }
    assert errors(verify(text, model, ALL)) == []
    # a bead of the plate that is left out is missing all the same
    begin = text.index("(bead", text.index("rank=2") - 40)
    end = text.index("(end bead)", begin) + len("(end bead)\n")
    assert "missing-bead" in errors(verify(text[:begin] + text[end:], model, ALL))


def offsets_of(text: str) -> dict[str, dict[float, None]]:
    """Offsets of the contour beads of each rank, in their order."""
    found: dict[str, dict[float, None]] = {}
    for rank, offset in re.findall(r"role=contour rank=(\d) .* offset=([\d.]+)", text):
        found.setdefault(rank, {})[round(float(offset), 6)] = None
    return found
