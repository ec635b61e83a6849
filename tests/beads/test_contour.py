"""Contour and wall beads against closed forms (trade checks O6-O8, O10, O14-O16) and polygon buffers."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from beadwright.beads import contour_beads, wall_beads
from beadwright.curves import ArcRegion, length, signed_area
from beadwright.errors import SettingsError
from beadwright.layers import plan_layers
from tests.post._build_programs import circle, layer, path

W, H = 8.4, 4.0


def polygon(points):
    return path(points, [0.0] * len(points))


def on(*loops):
    region = ArcRegion(loops=loops, supports=np.zeros((0, 4)))
    return layer(plan_layers(0.0, 4.0, 4.0)[0], region=region)


def beads_of(*loops, width=W, spacing=None, contours=2):
    return contour_beads(on(*loops), width=width, height=H, spacing=spacing or width, contours=contours)


def test_o6_contour_bead_of_an_l_shape():
    # 200^2 - 100^2, 10 inside: sharp at convex corners, round at the reflex one
    ell = polygon([[0, 0], [200, 0], [200, 100], [100, 100], [100, 200], [0, 200]])
    (only,) = beads_of(ell, width=20.0, contours=1).beads

    assert signed_area(only.path) == pytest.approx(22421.46018366, rel=1e-9)
    assert length(only.path) == pytest.approx(715.7079632679, rel=1e-9)
    assert (only.role, only.rank, only.loop, only.hole, only.offset) == ("contour", 1, 0, False, 10.0)


def test_o7_contour_bead_of_a_triangle():
    # area A - P r + r^2 sum cot(a/2)
    triangle = polygon([[0, 0], [300, 0], [150, 150 * math.sqrt(3)]])
    (only,) = beads_of(triangle, width=40.0, contours=1).beads

    assert signed_area(only.path) == pytest.approx(23049.60413938, rel=1e-9)
    assert length(only.path) == pytest.approx(692.1539030917, rel=1e-9)


def test_o8_holes_have_their_beads_with_the_material_on_the_left():
    plate = polygon([[0, 0], [400, 0], [400, 300], [0, 300]])
    laid = beads_of(plate, circle(200, 150, 50, -1), width=20.0, contours=1).beads

    assert sum(signed_area(b.path) for b in laid) == pytest.approx(95090.26644708, rel=1e-9)
    assert sum(length(b.path) for b in laid) == pytest.approx(1696.991118431, rel=1e-9)
    assert {b.loop for b in laid} == {0, 1}
    (hole,) = [b for b in laid if b.hole]
    assert signed_area(hole.path) == pytest.approx(-math.pi * 60**2, rel=1e-9)


def test_ranks_lie_at_their_offsets_and_share_their_loop():
    laid = beads_of(circle(0, 0, 200), circle(0, 0, 150, -1), spacing=7.5, contours=3).beads

    assert [b.rank for b in laid] == [1, 1, 2, 2, 3, 3]
    assert [b.offset for b in laid[::2]] == [4.2, 4.2 + 7.5, 4.2 + 15.0]
    outer = [b for b in laid if not b.hole]
    assert len({b.loop for b in outer}) == 1
    assert [length(b.path) for b in outer] == pytest.approx(
        [2 * math.pi * (200 - b.offset) for b in outer], rel=1e-9
    )


def test_beads_end_early_where_the_region_is_full():
    laid = beads_of(circle(0, 0, 20), contours=9)

    # 4.2 + 8.4 k < 20 for k = 0, 1
    assert [b.rank for b in laid.beads] == [1, 2]
    assert laid.findings == ()


def test_a_region_that_splits_keeps_all_its_beads():
    # two squares of 100 joined by a bar 12 wide: one bead at 4.2, two at 12.6
    bar = [[0, 0], [100, 0], [100, 44], [140, 44], [140, 0], [240, 0],
           [240, 100], [140, 100], [140, 56], [100, 56], [100, 100], [0, 100]]  # fmt: skip
    laid = beads_of(polygon(bar)).beads

    assert [(b.rank, b.loop) for b in laid] == [(1, 0), (2, 0), (2, 0)]
    # a square, and what opens towards the bar: 12.6 from its two corners instead of from the edge
    r, t = 12.6, 6.0
    opening = 2 * (r * t - (t * math.sqrt(r * r - t * t) + r * r * math.asin(t / r)) / 2)
    assert [signed_area(b.path) for b in laid[1:]] == pytest.approx(
        [(100 - 2 * r) ** 2 + opening] * 2, rel=1e-9
    )


def test_o10_a_thin_wall_is_reported_and_not_dropped_silently():
    laid = beads_of(circle(0, 0, 50), circle(0, 0, 44, -1))

    assert laid.beads == ()
    (thin,) = laid.findings
    assert (thin.code, thin.allowed) == ("thin", W)
    assert thin.measured == pytest.approx(6.0, rel=2e-3)


def test_an_empty_region_has_no_beads_and_no_findings():
    laid = beads_of()

    assert (laid.beads, laid.findings) == ((), ())


def test_contour_beads_against_polygon_buffers():
    # a star of lines; shapely's mitred erosion has its corners where ours are sharp
    star = [
        [
            (100 if i % 2 else 60) * math.cos(i * math.pi / 7),
            (100 if i % 2 else 60) * math.sin(i * math.pi / 7),
        ]
        for i in range(14)
    ]
    laid = beads_of(polygon(star), contours=2).beads
    for b in laid:
        eroded = shapely.Polygon(star).buffer(-b.offset, quad_segs=4000)
        assert signed_area(b.path) == pytest.approx(eroded.area, rel=1e-7)
        assert length(b.path) == pytest.approx(eroded.length, rel=1e-6)


@pytest.mark.parametrize(
    ("side", "radius"),
    # counter-clockwise: the left is inside. Open cylinder R 500, width 8.4 (the issue of the job)
    [("centre", 500.0), ("left", 495.8), ("right", 504.2)],
)
def test_a_cylinder_as_a_wall(side, radius):
    (only,) = wall_beads(on(), [circle(0, 0, 500.0)], side=side, width=W, height=H).beads

    assert (only.role, only.closed, only.rank) == ("wall", True, 1)
    assert length(only.path) == pytest.approx(2 * math.pi * radius, rel=1e-9)
    assert only.offset == pytest.approx(500.0 - radius, abs=1e-12)


@pytest.mark.parametrize(("side", "radius"), [("centre", 500.0), ("left", 495.8), ("right", 504.2)])
def test_an_open_wall_keeps_both_ends(side, radius):
    half = path([[500, 0], [0, 500], [-500, 0]], [math.tan(math.pi / 8)] * 2, closed=False)
    (only,) = wall_beads(on(), [half], side=side, width=W, height=H).beads

    assert not only.closed
    assert only.start == pytest.approx((radius, 0.0), abs=1e-9)
    assert only.end == pytest.approx((-radius, 0.0), abs=1e-9)
    assert length(only.path) == pytest.approx(math.pi * radius, rel=1e-9)


def test_a_branch_is_a_finding_and_curves_that_meet_are_joined():
    tee = [path([p, [0, 0]], [0], closed=False) for p in ([-100, 0], [100, 0], [0, -80])]
    laid = wall_beads(on(), tee, side="centre", width=W, height=H)

    # four odd nodes: two beads (Euler)
    assert len(laid.beads) == 2
    (branch,) = laid.findings
    assert (branch.code, branch.at_mm, branch.measured) == ("branch", (0.0, 0.0, 4.0), 3)


@pytest.mark.parametrize("sizes", [{"width": 0.0}, {"spacing": -1.0}, {"contours": 0}, {"height": math.nan}])
def test_sizes_must_be_above_zero(sizes):
    given = {"width": W, "height": H, "spacing": W, "contours": 2} | sizes
    with pytest.raises(SettingsError, match="above 0"):
        contour_beads(on(circle(0, 0, 50)), **given)


def test_an_unknown_side_is_refused():
    with pytest.raises(SettingsError, match="'centre', 'left' or 'right'"):
        wall_beads(on(), [], side="middle", width=W, height=H)


def test_a_neck_just_under_two_offsets_wide_is_a_finding():
    # two blocks joined by a bar narrower than one bead by less than the bounds: there or not, nobody knows
    low, high = 50 - W / 2 + 1e-3, 50 + W / 2 - 1e-3
    bar = [[0, 0], [100, 0], [100, low], [140, low], [140, 0], [240, 0],
           [240, 100], [140, 100], [140, high], [100, high], [100, 100], [0, 100]]  # fmt: skip
    laid = beads_of(polygon(bar), contours=1)
    necks = [f for f in laid.findings if f.code == "neck"]

    assert len(laid.beads) == 2
    assert len(necks) == len(laid.lost) == 1
    assert necks[0].at_mm[:2] == pytest.approx((120.0, 50.0), abs=0.5)
    # the layer's fit bound is 0.01: the bar's 2e-3 lie within it
    assert necks[0].measured == pytest.approx(W, abs=0.03)


def test_a_wall_too_tight_for_its_bead_is_a_finding():
    laid = wall_beads(on(), [circle(0, 0, 4.0)], side="left", width=W, height=H)

    assert laid.beads == ()
    assert [(f.code, f.layer) for f in laid.findings] == [("thin", 0)]
    assert laid.findings[0].measured == pytest.approx(8 * math.pi)
