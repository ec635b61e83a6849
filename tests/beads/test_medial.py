"""Medial beads against closed forms of wedges, rings and corners, and distances by an independent library."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.beads import Trail, arrange, contour_beads, wall_range
from beadwright.beads._axis import middles
from beadwright.beads._curve import clearance, through
from beadwright.beads._listed import spaced
from beadwright.curves import ArcRegion, length, signed_area
from beadwright.layers import plan_layers
from tests.post._build_programs import bead, circle, layer, path

W, H, BORE = 8.4, 4.0, 7.62
ROUND = W - H * (1 - math.pi / 4)  # no-void spacing of the untamped bead: area / height


def polygon(points):
    return path(points, [0.0] * len(points))


def region(*loops):
    return ArcRegion(loops=loops, supports=np.zeros((0, 4)))


def laid(*loops, spacing=W, contours=2):
    return contour_beads(
        layer(plan_layers(0.0, 4.0, 4.0)[0], region=region(*loops)),
        width=W,
        height=H,
        spacing=spacing,
        contours=contours,
        walls=wall_range(width=W, spacing=spacing, bore=BORE),
    )


def of_role(result, role):
    return [b for b in result.beads if b.role == role]


@pytest.mark.parametrize(("spacing", "two"), [(W, 15.24), (ROUND, 14.38)])
def test_limits_of_walls_as_the_trade_has_them(spacing, two):
    # 8.4 on a bore of 7.62: 7.62 to 10.92 for one bead; dead up to 15.24 tamped, 14.38 untamped
    limits = wall_range(width=W, spacing=spacing, bore=BORE)

    assert (limits.least, limits.most) == pytest.approx((7.62, 10.92), abs=1e-12)
    assert limits.two == pytest.approx(two, abs=0.005)


def test_a_wall_of_exactly_one_bead_is_one_bead():
    result = laid(polygon([[0, 0], [1000, 0], [1000, W], [0, W]]))

    (only,) = result.beads
    assert (only.role, only.rank, only.loop, only.closed, only.width) == ("medial", 1, 0, False, W)
    assert only.offset == W / 2
    # from one end of the wall to the other
    assert length(only.path) == pytest.approx(1000, abs=1e-6)
    assert only.width * length(only.path) * only.height == pytest.approx(1000 * W * 4.0, rel=1e-9)
    assert np.abs(only.path.points[:, 1] - W / 2).max() < 1e-9
    assert result.findings == ()


@pytest.mark.parametrize("slant", [0.0, 1.0, -1.0, 5.0])
def test_a_bead_goes_on_to_a_slanted_end_until_its_corner_meets_it(slant):
    result = laid(polygon([[0, 0], [300, 0], [300 + slant, W], [0, W]]))
    (only,) = result.beads
    far = max(only.path.points[[0, -1], 0].tolist())

    # the end is square to the bead, so that its corner on the shorter side is the last of the wall
    assert far == pytest.approx(min(300, 300 + slant), abs=0.1)


def test_a_bead_ends_where_a_round_end_begins():
    # a slot's outline: the square end's corners lie on the sides only as far as these are straight
    bulge = 1.0
    ends = path([[0, 0], [300, 0], [300, W], [0, W]], [0.0, bulge, 0.0, bulge])
    (only,) = laid(ends).beads

    assert sorted(only.path.points[[0, -1], 0].tolist()) == pytest.approx([0, 300], abs=0.3)


def test_a_round_bead_ends_as_far_inside_as_its_side():
    # covering width (area by height) 8.4 - (1 - pi / 4) 4: half of what is less lies at each side, and at each end
    result = laid(polygon([[0, 0], [300, 0], [300, W], [0, W]]), spacing=ROUND)
    (only,) = result.beads

    assert length(only.path) == pytest.approx(300 - (W - ROUND), abs=1e-4)


@pytest.mark.parametrize(("spacing", "two"), [(W, 15.24), (ROUND, 2 * BORE - (W - ROUND))])
def test_a_wedge_has_findings_where_neither_one_bead_nor_two_fit_and_nowhere_else(spacing, two):
    # from 5 to 26 mm over 600: the disc at x has the radius (2.5 + x tan a) cos a
    run, tan = 600.0, 10.5 / 600
    cos = 1 / math.hypot(1, tan)

    def place(thick):
        return (thick / 2 / cos - 2.5) / tan

    result = laid(polygon([[0, -2.5], [run, -13], [run, 13], [0, 2.5]]), spacing=spacing)
    medial = [b for b in of_role(result, "medial") if b.rank == 1]

    assert medial[0].start[0] == pytest.approx(place(7.62), abs=0.01)
    assert medial[-1].end[0] == pytest.approx(place(10.92), abs=0.01)
    for b, following in itertools.pairwise(medial):
        assert b.end == following.start
    for b in medial:
        thin = 2 * cos * (2.5 + b.start[0] * tan)
        assert b.width == pytest.approx(min(thin, 10.92), abs=2e-4)
        assert 7.6199 <= b.width <= 10.92
    wall, thin = result.findings
    assert (wall.code, wall.measured, wall.allowed) == ("wall", 10.92, 10.92)
    assert wall.at_mm[0] == pytest.approx(place(10.92), abs=0.01)
    assert f"{place(two) - place(10.92):.1f} mm of a wall 10.92 to {two:.2f} mm" in wall.text
    assert (thin.code, thin.at_mm[0] < place(7.62)) == ("thin", True)
    assert thin.measured == pytest.approx(5.0, abs=0.1)
    # contour beads begin where the medial bead ends
    (outer,) = [b for b in of_role(result, "contour") if b.rank == 1]
    assert not outer.closed
    assert [outer.start[0], outer.end[0]] == pytest.approx([place(10.92)] * 2, abs=0.5)


@pytest.mark.parametrize("wall", [8.0, 8.4, 9.0, 10.5])
def test_a_ring_is_one_closed_bead_on_its_mean_circle(wall):
    result = laid(circle(0, 0, 100), circle(0, 0, 100 - wall, -1))

    (only,) = result.beads
    assert (only.role, only.closed) == ("medial", True)
    assert only.width == pytest.approx(wall, abs=1e-4)
    assert length(only.path) == pytest.approx(2 * math.pi * (100 - wall / 2), rel=1e-6)
    assert [f.code for f in result.findings] == []


def test_round_a_corner_the_bead_keeps_to_the_middle():
    ell = [[0, 0], [200, 0], [200, W], [W, W], [W, 100], [0, 100]]
    (only,) = laid(polygon(ell)).beads

    at = np.concatenate([spaced(only.path, 0.2), only.path.points])
    # at the ends of the wall the bead goes on to them
    at = at[(at[:, 0] < 200 - W / 2) & (at[:, 1] < 100 - W / 2)]
    assert sorted(only.path.points[[0, -1]].max(axis=1).tolist()) == pytest.approx([100, 200], abs=1e-6)
    # points between an outer side and the inner corner lie on parabolas; the corner's disc has the radius
    # r = sqrt(2) W / (1 + sqrt(2)), as r to both sides and sqrt(2) (W - r) to the corner
    near = shapely.distance(shapely.points(at), shapely.LinearRing(ell))
    # widths are printed to 1e-4
    assert near.min() >= only.width / 2 - 2.6e-5
    assert near.max() == pytest.approx(math.sqrt(2) * W / (1 + math.sqrt(2)), abs=0.01)
    apart = np.hypot(*np.maximum(W - at, 0).T) - at.min(axis=1)
    assert np.abs(apart).max() <= 0.01
    assert only.width == pytest.approx(W, abs=0.006)


def test_boards_that_meet_are_two_beads_and_no_contour_crumbs():
    tee = [[0, 0], [200, 0], [200, W], [104.2, W], [104.2, 100], [95.8, 100], [95.8, W], [0, W]]
    result = laid(polygon(tee))

    assert [b.role for b in result.beads] == ["medial", "medial"]
    # the disc in the joint has the radius 5.25: 4.2 + c = hypot(4.2, 4.2 - c) for c = 1.05
    board, stem = result.beads
    assert np.abs(board.path.points - [100, 5.25]).sum(axis=1).min() < 1e-3
    assert stem.width == pytest.approx(W, abs=1e-3)
    assert result.findings == ()


def test_where_a_wall_meets_blocks_contours_stop_and_say_so():
    block = [[0, 0], [60, 0], [60, 25.5], [100, 25.5], [100, 0], [160, 0],
             [160, 60], [100, 60], [100, 34.5], [60, 34.5], [60, 60], [0, 60]]  # fmt: skip
    result = laid(polygon(block), contours=1)
    (wall,) = [b for b in of_role(result, "medial") if b.rank == 1]
    contours = of_role(result, "contour")

    assert wall.width == pytest.approx(9.0, abs=1e-4)
    assert [b.closed for b in contours] == [False, False]
    assert [b.hole for b in contours] == [False, False]
    # what is gone lies on the contour line of the wall, 4.2 from its sides, an entry every 4 mm at most
    at = np.array([at for p in result.lost for at in p.along])
    assert {p.kind for p in result.lost} == {"medial"}
    depth = shapely.distance(shapely.points(at), shapely.LinearRing(block))
    assert depth == pytest.approx(W / 2, abs=1e-6)
    for x in np.arange(60.0, 100.0, 0.5):
        for y in (25.5 + W / 2, 34.5 - W / 2):
            assert np.hypot(*(at - [x, y]).T).min() <= 2.0
    # contours remain where a disc of the greatest bead fits that touches them from inside
    part = shapely.Polygon(block)
    line = part.buffer(-W / 2, quad_segs=400).boundary
    fits = part.buffer(-5.46, quad_segs=400).buffer(5.46 - W / 2 + 1e-3, quad_segs=400)
    mouth = shapely.box(50, 20, 110, 40)
    kept = line.difference(mouth).length + line.intersection(mouth).intersection(fits).length
    assert sum(length(b.path) for b in contours) == pytest.approx(kept, abs=0.2)


def test_what_contour_beads_leave_is_filled_where_one_bead_fits():
    # 25.2 is three beads: a contour all round and one bead between, which two contours would not make
    result = laid(polygon([[0, 0], [360, 0], [360, 3 * W], [0, 3 * W]]))

    contour, middle = result.beads
    assert (contour.role, contour.rank, middle.role, middle.rank) == ("contour", 1, "medial", 2)
    assert (middle.loop, middle.width, middle.offset) == (contour.loop, W, 1.5 * W)
    # from the inner side of the contour bead at one end to that at the other
    assert length(middle.path) == pytest.approx(360 - 2 * W, abs=1e-6)
    assert result.findings == ()


def test_thick_parts_and_their_corners_get_no_medial_bead():
    result = laid(polygon([[0, 0], [300, 0], [120, 200]]))

    assert of_role(result, "medial") == []
    assert all(b.closed and signed_area(b.path) > 0 for b in result.beads)
    assert result.lost == ()


def test_a_contour_bead_cut_open_is_never_turned_round():
    open_bead = bead(path([[0, 0], [100, 0]], [0.0], closed=False))
    medial = bead(path([[0, 50], [100, 50]], [0.0], closed=False), role="medial", loop=1)
    beads = arrange([open_bead, medial], Trail(end=np.array([100.0, 0.0])), layer=0, z=4.0).beads

    assert [(b.role, b.start) for b in beads] == [("contour", (0.0, 0.0)), ("medial", (100.0, 50.0))]


def test_lines_and_arcs_pass_their_points_within_the_tolerance():
    # an ellipse, its points exact
    t = np.linspace(0, 2 * math.pi, 400)
    points = np.stack([120 * np.cos(t), 70 * np.sin(t)], axis=1)
    points[-1] = points[0]
    line = through(points, closed=True, tolerance=0.01)

    ring = shapely.LinearRing(
        np.stack([120 * np.cos(s := np.linspace(0, 2 * math.pi, 20001)), 70 * np.sin(s)], 1)
    )
    assert shapely.distance(shapely.points(spaced(line, 0.2)), ring).max() < 0.011
    assert len(line.bulge) < 60


@given(
    st.floats(20, 90),
    st.floats(-3, 3),
    st.floats(-3, 3),
    st.floats(7, 13),
    st.integers(3, 9),
    st.floats(0, 6),
)
@settings(max_examples=40, deadline=None)
def test_no_medial_bead_leaves_the_region(radius, dx, dy, wall, corners, twist):
    # a ring of uneven thickness with a polygon inside it: curved, straight and cornered walls at once
    angle = -2 * math.pi * np.arange(corners) / corners + twist
    hole = np.stack([dx + radius * np.cos(angle), dy + radius * np.sin(angle)], axis=1)
    outer = circle(0, 0, radius + wall + math.hypot(dx, dy))
    result = laid(outer, polygon(hole))

    big = radius + wall + math.hypot(dx, dy)
    for b in result.beads:
        at = spaced(b.path, 1.0)
        if not b.closed:
            # the ends of a wall are nearer
            at = at[np.hypot(*(at[:, None] - b.path.points[[0, -1]]).transpose(2, 0, 1)).min(axis=1) > 8.0]
        near = np.minimum(
            big - np.hypot(*at.T), shapely.distance(shapely.points(at), shapely.LinearRing(hole))
        )
        assert near.min(initial=np.inf) >= b.offset - 1e-4
        if b.role == "medial":
            assert 7.6 <= b.width <= 10.92
    # every point of a middle is as far from both sides as its radius says
    for line in middles(region(outer, polygon(hole)), least=3.81, most=7.62, step=3.81, tolerance=0.0025):
        near = np.minimum(
            big - np.hypot(*line.at.T), shapely.distance(shapely.points(line.at), shapely.LinearRing(hole))
        )
        assert near == pytest.approx(line.radius, abs=1e-6)


def test_clearance_is_the_least_distance():
    # an arc bowing towards a line, a point and a circle: r - 10 from the centre's distance, in closed form
    bow = path([[-10, 0], [10, 0]], [1.0], closed=False)
    below = region(polygon([[-500, -25], [500, -25], [500, -20], [-500, -20]]))
    spike = region(polygon([[0, -14], [30, -60], [-30, -60]]))
    disc = region(circle(3, -30, 12))

    assert clearance(bow, below, reach=50.0) == pytest.approx(10.0, abs=1e-12)
    assert clearance(bow, spike, reach=50.0) == pytest.approx(4.0, abs=1e-12)
    assert clearance(bow, disc, reach=50.0) == pytest.approx(math.hypot(3, 30) - 22, abs=1e-12)
