"""Beads whose widths follow the wall: wedges, rings and boards against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from beadwright.beads import Trail, _gaps, arrange, contour_beads, coverage, wall_range
from beadwright.beads._listed import spaced
from beadwright.beads._located import located
from beadwright.beads._meet import Own
from beadwright.beads._narrow import _smooth
from beadwright.beads._vary import along_points, jointed, stepped
from beadwright.beads._zones import zones
from beadwright.curves import ArcRegion, length, lengths
from beadwright.layers import plan_layers
from tests.post._build_programs import circle, layer, path

W, H, BORE = 8.4, 4.0, 7.62
ROUND = W - H * (1 - math.pi / 4)  # no-void spacing of the untamped bead: area / height
RUN, TAN = 600.0, 10.5 / 600  # the wedge: from 5 to 26 mm over 600
COS = 1 / math.hypot(1, TAN)
WEDGE = [[0, -2.5], [RUN, -13], [RUN, 13], [0, 2.5]]


def polygon(points):
    return path(points, [0.0] * len(points))


def on(*loops):
    return layer(plan_layers(0.0, 4.0, 4.0)[0], region=ArcRegion(loops=loops, supports=np.zeros((0, 4))))


def laid(ground, spacing=W, contours=2, *, vary=True):
    return contour_beads(
        ground,
        width=W,
        height=H,
        spacing=spacing,
        contours=contours,
        walls=wall_range(width=W, spacing=spacing, bore=BORE),
        vary=vary,
    )


def place(thick):
    """Where the disc of the wedge has a diameter: (2.5 + x tan a) cos a is its radius."""
    return (thick / 2 / COS - 2.5) / TAN


@pytest.mark.parametrize(("spacing", "two"), [(W, 15.24), (ROUND, 2 * BORE - (W - ROUND))])
def test_a_wedge_is_covered_but_where_no_bead_fits(spacing, two):
    ground = on(polygon(WEDGE))
    result = laid(ground, spacing)
    found = coverage(ground, result.beads, width=W, loss=W - spacing, hollow=result.rest)

    # below 7.62 nothing, 10.92 to 15.24 (14.38) too much for one and too little for two; nowhere else
    wall, thin = result.findings
    assert (wall.code, wall.measured, wall.allowed) == ("wall", 10.92, 10.92)
    assert wall.at_mm[0] == pytest.approx(place(10.92), abs=0.01)
    assert f"{place(two) - place(10.92):.1f} mm of a wall 10.92 to {two:.2f} mm" in wall.text
    assert (thin.code, thin.at_mm[0] < place(7.62)) == ("thin", True)
    assert found.missed < 0.005
    assert found.outside < 5.0
    # where two beads are too much for the wall they overlap by up to 15.24 - 10.92 mm, and no more is laid twice
    twice = (two - 10.92) * (place(two) - place(10.92)) / 2
    assert found.doubled < 1.5 * twice


def test_the_volume_along_a_wedge_is_its_area_by_the_height():
    beads = [b for b in laid(on(polygon(WEDGE))).beads if b.rank == 1 and b.start[0] < 80]
    (only,) = beads

    assert (only.start[0], only.end[0]) == pytest.approx((place(7.62), place(10.92)), abs=0.02)
    assert 7.62 <= min(only.widths) < 7.7
    assert 10.8 < max(only.widths) <= 10.92
    # the trapezium of the discs' diameters over the bead's length
    area = (7.62 + 10.92) / 2 * (place(10.92) - place(7.62))
    assert length(only.path) * only.width * H == pytest.approx(area * H, rel=2e-4)
    own = np.asarray(only.widths)[only.path.support]
    assert (lengths(only.path) * own).sum() == pytest.approx(length(only.path) * only.width, rel=1e-12)
    # no edge stands out of the wedge by more than the tolerance of arcs, 0.01 mm
    outline = shapely.Polygon(WEDGE)
    for part, width in only.strips():
        strip = shapely.LineString(part.points).buffer(width / 2, cap_style="flat")
        assert all(
            shapely.distance(shapely.Point(p), outline) <= 0.011 for p in shapely.get_coordinates(strip)
        )


@pytest.mark.parametrize("vary", [False, True])
def test_an_even_ring_is_two_contour_beads_of_another_width(vary):
    # 16 mm: two of 8.0 on the radii 96 and 88
    ground = on(circle(0, 0, 100), circle(0, 0, 84, -1))
    result = laid(ground, vary=vary)
    found = coverage(ground, result.beads, width=W, loss=0.0, hollow=result.rest)

    assert [(b.role, b.rank, b.closed, b.widths) for b in result.beads] == [("contour", 1, True, ())] * 2
    assert [(b.width, b.offset) for b in result.beads] == [(8.0, 4.0), (8.0, 4.0)]
    assert [length(b.path) for b in result.beads] == pytest.approx(
        [2 * math.pi * 96, 2 * math.pi * 88], rel=1e-6
    )
    assert found.doubled == pytest.approx(0.0, abs=0.02)
    assert found.underfilled == pytest.approx(0.0, abs=0.02)
    assert result.findings == ()


@pytest.mark.parametrize("vary", [False, True])
@pytest.mark.parametrize("thick", [15.24, 16.0, 18.5, 21.8])
def test_an_even_board_of_two_beads_is_one_contour_bead_of_half_its_thickness(thick, vary):
    board = [[0, 0], [300, 0], [300, thick], [0, thick]]
    (only,) = laid(on(polygon(board)), vary=vary).beads

    assert (only.role, only.rank, only.closed, only.widths) == ("contour", 1, True, ())
    assert only.width == pytest.approx(thick / 2, abs=1e-4)
    assert only.offset == only.width / 2
    ring = shapely.LinearRing(board)
    near = shapely.distance(shapely.points(spaced(only.path, 1.0)), ring)
    assert near == pytest.approx(np.full(len(near), thick / 4), abs=1e-4)


def test_lines_that_only_a_bulge_of_an_even_wall_has_room_for_are_listed():
    # a wall of 21.7 mm, filled by two beads of 10.85, and a bulge to 28.2 mm on 32.6 mm of its length: there the second
    # of the nominal beads would have a line, 12.6 mm inside, between two arcs round the bulge's inner corners
    wall = [[0, -108], [21.7, -108], [21.7, -16.3], [28.2, -16.3]]
    result = laid(on(polygon(wall + [[x, -y] for x, y in reversed(wall)])), vary=False)
    first, second = (math.acos((21.7 - x) / 12.6) for x in (12.6, 15.6))
    sides = sum(2 * (16.3 - 12.6 * math.sin(angle)) for angle in (first, second))

    assert [(b.rank, b.width) for b in result.beads] == [(1, 10.85)]
    assert [lost.kind for lost in result.lost] == ["even"]
    assert result.lost[0].length == pytest.approx(sides + 2 * 12.6 * (second - first), rel=1e-6)
    assert all(12.6 - 1e-6 <= x <= 15.6 + 1e-6 and abs(y) < 8 for x, y in result.lost[0].along)
    # one place for 4 mm at most
    assert len(result.lost[0].along) >= result.lost[0].length / 4


@pytest.mark.parametrize("thick", [8.4 + 8.42, 14.0, 22.0, 40.0])
def test_boards_that_two_other_widths_do_not_fill_better_keep_theirs(thick):
    # nearly two beads; too thin for two of 7.62; too thick for two of 10.92; a board for contour beads and fill
    beads = laid(on(polygon([[0, 0], [300, 0], [300, thick], [0, thick]])), vary=False).beads

    assert {b.width for b in beads if b.role == "contour"} == {W}


def test_a_tapering_board_of_two_beads_is_one_closed_bead():
    # from 15.5 to 21.5 mm: two of 7.75 to 10.75, which narrow and widen along its sides
    ground = on(polygon([[0, 0], [600, 0], [600, 21.5], [0, 15.5]]))
    result = laid(ground)
    (only,) = result.beads
    found = coverage(ground, result.beads, width=W, loss=0.0, hollow=result.rest)

    assert (only.role, only.closed) == ("medial", True)
    assert 7.7 < min(only.widths) < 7.9
    assert 10.6 < max(only.widths) < 10.8
    assert found.missed < 0.005
    assert found.excess < 0.005


def test_a_board_of_three_beads_has_one_in_the_middle():
    # 23.4 mm: three of 7.8; rank 2 has no room beside two of 8.4
    ground = on(polygon([[0, 0], [300, 0], [300, 23.4], [0, 23.4]]))
    ring, middle = laid(ground).beads

    assert (ring.closed, middle.closed) == (True, False)
    assert middle.width == pytest.approx(7.8, abs=1e-4)
    assert np.abs(middle.path.points[:, 1] - 11.7).max() < 1e-6
    sides = np.flatnonzero(lengths(ring.path) > 200)
    assert np.asarray(ring.widths)[ring.path.support[sides]] == pytest.approx([7.8] * 2, abs=0.03)


def test_long_contours_beside_a_wall_stay_contours_of_their_offset():
    # two blocks joined by a wall of 16: what is taken out of the contour is listed, the rest has its offset
    block = [[0, 0], [60, 0], [60, 22], [200, 22], [200, 0], [260, 0],
             [260, 60], [200, 60], [200, 38], [60, 38], [60, 60], [0, 60]]  # fmt: skip
    result = laid(on(polygon(block)))
    outer = [b for b in result.beads if b.rank == 1]

    assert sorted(b.role for b in outer) == ["contour", "contour", "medial", "medial"]
    ring = shapely.LinearRing(block)
    for b in outer:
        near = shapely.distance(shapely.points(spaced(b.path, 1.0)), ring)
        assert near == pytest.approx(np.full(len(near), 4.2 if b.role == "contour" else 4.0), abs=1e-4)
    gone = [place for place in result.lost if place.kind == "medial"]
    assert sum(place.length for place in gone) == pytest.approx(2 * 140, abs=1.0)


@pytest.mark.parametrize(("thick", "wide"), [(20.0, 10.0), (29.0, 8.4)])
def test_walls_of_the_last_rank_are_widened_where_no_fill_finds_room(thick, wide):
    # two of 8.4 leave 3.2 mm, less than a bead, or 12.2 mm, which belong to the fill
    result = laid(on(polygon([[0, 0], [300, 0], [300, thick], [0, thick]])), contours=1)

    assert [(b.role, b.width) for b in result.beads] == [("contour", wide)]
    assert bool(result.rest.loops) == (wide == W)


@pytest.mark.parametrize("thick", np.arange(22.9, 52.0, 2.1).tolist())
def test_walls_of_three_beads_and_more_are_filled_whatever_their_thickness(thick):
    # n beads take n times 7.62 to 10.92 mm, so that from 22.86 mm on a number fits; sides lean by 1 mm, so no two
    # beads of one width do
    ground = on(polygon([[0, 0], [600, 0], [600, thick + 1], [0, thick]]))
    result = laid(ground, contours=10)
    found = coverage(ground, result.beads, width=W, loss=0.0, hollow=result.rest)

    assert found.missed < 0.01
    assert found.excess < 0.015
    assert not {"gap", "wall"} & {finding.code for finding in (*result.findings, *result.gaps.findings)}


def test_a_gap_that_one_width_cannot_close_is_told_with_its_place_and_size():
    # two sides from 18 to 24 mm apart: two beads of 8.4 leave 1.2 to 7.2 mm between their sides
    ground = on(polygon([[0, 0], [600, 0], [600, 24], [0, 18]]))
    result = laid(ground, vary=False)
    (told,) = result.gaps.findings
    found = coverage(ground, result.beads, width=W, loss=0.0, hollow=result.rest, gaps=result.gaps)

    assert (told.code, told.level, told.allowed) == ("gap", "warning", 7.62)
    assert told.measured == pytest.approx(24 - 2 * W, abs=0.2)
    assert told.at_mm[0] == pytest.approx(600 - 2 * W, abs=8.0)
    # a trapezium between the inner sides of the beads; its ends are bevelled by half a degree, 0.1 mm
    open_ = (600 - 2 * W) * (1.2 + 7.2) / 2
    assert found.unreachable == pytest.approx(open_, rel=0.01)
    assert found.missed < 0.005
    assert found.underfilled == pytest.approx(open_, rel=0.02)


def test_polygons_that_stand_in_where_gaps_are_cut_out_are_counted(monkeypatch):
    offset, subtract = _gaps.offset, _gaps.subtract
    monkeypatch.setattr(_gaps, "offset", lambda region, **by: replace(offset(region, **by), fallbacks=1))
    monkeypatch.setattr(_gaps, "subtract", lambda *regions: replace(subtract(*regions), fallbacks=1))
    ground = on(polygon([[0, 0], [600, 0], [600, 24], [0, 18]]))
    result = laid(ground, vary=False)
    _, fallbacks, bound = result.gaps.taken_from(ground.region)

    assert result.fallbacks == result.gaps.fallbacks == 1
    assert fallbacks == len(result.gaps.regions) == 1
    assert 0 < bound < 1e-6


def test_what_two_beads_at_their_widest_leave_is_told():
    # two of 10.92 make 21.84 mm, three of 7.62 make 22.86: between them, up to 22.35, two leave a gap
    ground = on(polygon([[0, 0], [900, 0], [900, 22.4], [0, 21.4]]))
    result = laid(ground, contours=3)
    told = [finding for finding in result.gaps.findings if finding.code == "gap"]

    assert told
    assert max(each.measured for each in told) == pytest.approx(0.51, abs=0.03)
    assert all("as wide as they can be" in each.text for each in told)


def test_gaps_of_a_wedge_lie_where_the_beads_leave_them():
    # one contour bead of 8.4 each side of the wedge of 5 to 26 mm: open from 16.8 to 24.42 mm
    result = laid(on(polygon(WEDGE)), contours=1, vary=False)
    (told,) = result.gaps.findings
    (gap,) = result.gaps.regions
    every = np.concatenate([loop.points for loop in gap.loops])

    assert told.code == "gap"
    assert every[:, 0].min() == pytest.approx(place(2 * W), abs=1.0)
    assert place(24.42) - 1.0 < every[:, 0].max() < place(24.42) + 7.62


def test_beads_keep_their_widths_from_any_start_and_either_way():
    beads = laid(on(polygon(WEDGE))).beads
    ordered = arrange(beads, Trail(), layer=0, z=4.0).beads

    for b in ordered:
        (old,) = [o for o in beads if o.widths == b.widths and o.loop == b.loop and o.rank == b.rank]
        own = np.asarray(b.widths or (b.width,))[b.path.support if b.widths else 0]
        assert float((lengths(b.path) * own).sum()) == pytest.approx(length(old.path) * old.width, rel=1e-9)


@pytest.mark.parametrize("back", [False, True])
def test_a_bead_reaches_both_ends_of_its_stretch_where_the_number_changes_beside_one(back):
    at = np.array([[0.0, 5.4], [6, 4.0], [12, 4.0], [40, 4.0]])
    width = np.array([10.8, 8.0, 8.0, 8.0])
    at, width = (at[::-1] * [-1, 1] + [40, 0], width[::-1]) if back else (at, width)
    line = path([[0, 4.2], [40, 4.2]], [0.0], closed=False)
    own = Own(begin=0.0, end=40.0, at=at, width=width, place=at[:, 0])
    chain = _smooth(own, line, 0.01, W)

    assert chain.path.points[[0, -1]].tolist() == at[[0, -1]].tolist()
    assert chain.width[[0, -1]].tolist() == width[[0, -1]].tolist()
    assert chain.at[-1] == pytest.approx(length(chain.path), rel=1e-12)


def test_a_closed_bead_opened_at_a_corner_follows_the_wall_there_too():
    # a frame of even walls of 19 mm: half way between two stretches of its outer bead lies a corner
    outer = polygon([[-75, -55], [75, -55], [75, 55], [-75, 55]])
    inner = polygon([[-56, 36], [56, 36], [56, -36], [-56, -36]])
    outer = replace(outer, face=np.array([1, 2, 3, 4], np.int32))
    inner = replace(inner, face=np.array([5, 6, 7, 8], np.int32))
    beads = laid(on(outer, inner)).beads

    assert any(bead.widths for bead in beads)
    for bead in beads:
        (x, y), half = np.abs(spaced(bead.path, 1.0)).T, bead.width / 2
        # the nearest boundary of the frame is half a bead away, less what a widened bead's neighbour lets it come near
        assert np.minimum(np.minimum(75 - x, 55 - y), np.maximum(x - 56, y - 36)).min() > 0.4 * half
        # and each long move follows the side of the frame that it runs along
        run = lengths(bead.path) > 20
        ends = np.concatenate([bead.path.points, bead.path.points[:1]])
        side = np.where(np.abs(np.diff(ends[:, 0])) > np.abs(np.diff(ends[:, 1])), 0, 1)[run]
        middle = ((ends[1:] + ends[:-1]) / 2)[run]
        places = {(0, -1): {1, 7}, (1, 1): {2, 6}, (0, 1): {3, 5}, (1, -1): {4, 8}}
        signs = np.sign(middle[np.arange(len(side)), 1 - side]).astype(int)
        for face, one, sign in zip(bead.path.face[run].tolist(), side.tolist(), signs.tolist(), strict=True):
            assert face in places[one, sign]


def test_numbers_of_beads_by_thickness():
    # n equal beads with the limits 7.62 to 10.92 (tamped): two up to 21.84, three from 22.86; between them the
    # nearer one. A contour bead of 8.4 on either side and one bead between them from 24.42
    found = zones(wall_range(width=W, spacing=W, bore=BORE), width=W, spacing=W, last=False)
    # on; where that would leave 10.92 to 15.24, too much for one and too little for two, three up to 10.68
    thick = np.array([10.0, 12.0, 16.0, 22.0, 22.5, 24.0, 25.2, 28.0, 32.0, 32.1])

    assert found.number(thick).tolist() == [1, 2, 2, 2, 3, 3, 0, 3, 3, 0]
    assert found.shared(thick)[7:9] == pytest.approx([28 / 3, 32 / 3])
    assert found.shared(thick)[:6] == pytest.approx([10.0, 7.62, 8.0, 10.92, 7.62, 8.0])


def test_a_path_cut_where_its_width_steps_is_the_same_path():
    ring = circle(3, 4, 50)
    run = length(ring)
    cut, widths = stepped(ring, np.array([0.0, run / 2, run]), np.array([8.0, 9.0, 8.0]), width=W, room=1.0)

    assert np.hypot(*(cut.points - [3, 4]).T) == pytest.approx(np.full(len(cut.points), 50.0), abs=1e-9)
    assert length(cut) == pytest.approx(run, rel=1e-12)
    own = np.asarray(widths)[cut.support]
    # the mean of a width that rises and falls evenly
    assert (lengths(cut) * own).sum() / run == pytest.approx(8.5, abs=1e-4)
    assert np.abs(np.diff(own)).max() <= 2 * 0.005 * W


def test_joints_and_places_along_a_path():
    line, at = along_points(np.array([[0.0, 0], [10, 0], [20, 0]]), closed=False, tolerance=0.001)
    cut = jointed(line, [4.0, 15.0])

    assert at.tolist() == [0.0, 10.0, 20.0]
    assert cut.points.tolist() == [[0, 0], [4, 0], [15, 0], [20, 0]]
    row, place_, apart = located(
        [line, circle(100, 0, 20)], np.array([[17, 0.0], [100, 20.0], [50, 50]]), reach=1.0
    )
    assert row.tolist() == [0, 1, -1]
    assert place_[:2] == pytest.approx([17.0, math.pi * 10], abs=1e-9)
    assert apart[:2] == pytest.approx([0.0, 0.0], abs=1e-9)


@pytest.mark.parametrize("vary", [False, True])
@pytest.mark.parametrize(("near", "radius"), [(9.0, 5.0), (9.0, 20.0), (8.0, 3.0)])
def test_a_bead_ends_where_the_wall_is_as_thick_as_one_bead_takes(vary, near, radius):
    # between a straight side and a round hole the middle is a parabola; where it lies y from both, the hole's centre is
    # radius + y away, and the wall is 10.92 thick where y is 5.46
    box = polygon([[-80, 0], [80, 0], [80, 100], [-80, 100]])
    hole = circle(0, near + radius, radius, -1)
    half = math.sqrt((radius + 5.46) ** 2 - (near + radius - 5.46) ** 2)
    (bead,) = [bead for bead in laid(on(box, hole), vary=vary).beads if bead.role == "medial"]
    ends = bead.path.points[np.argsort(bead.path.points[:, 0])][[0, -1]]

    assert ends == pytest.approx(np.array([[-half, 5.46], [half, 5.46]]), abs=2e-5)
