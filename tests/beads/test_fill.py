"""Fill and ribs: exact lengths on rectangles, coverage by the exact sweep, and centrelines kept inside."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from beadwright.beads import FillPlan, contour_beads, coverage, fill_beads, wall_range
from beadwright.curves import ArcRegion, length
from beadwright.layers import plan_layers
from tests.beads.test_contour import polygon
from tests.post._build_programs import circle, layer, path

W, H = 8.4, 4.0
LIMITS = wall_range(width=W, spacing=W, bore=7.62)
PLATE = polygon([[0, 0], [400, 0], [400, 300], [0, 300]])


def filled(
    *loops,
    kind="lines",
    angles=(0.0, 90.0),
    joined=True,
    overlap=0.1,
    index=0,
    rib_spacing=100.0,
    turned=False,
):
    plan = plan_layers(0.0, 40.0, 4.0)[index]
    on = layer(plan, region=ArcRegion(loops=loops, supports=np.zeros((0, 4))))
    laid = contour_beads(on, width=W, height=H, spacing=W, contours=2, walls=LIMITS)
    asked = FillPlan(
        kind=kind, angles=angles, joined=joined, overlap=overlap, rib_spacing=rib_spacing, turned_ribs=turned
    )
    laid = fill_beads(on, laid, asked, width=W, spacing=W, limits=LIMITS)
    return on, laid, coverage(on, laid.beads, width=W, loss=0.0, hollow=laid.rest)


def of_role(laid, role):
    return [bead for bead in laid.beads if bead.role == role]


def points_of(path, closed):
    """Points along lines and arcs, arcs in steps."""
    points = []
    ends = np.roll(path.points, -1, axis=0)
    for a, b, bulge in zip(path.points, ends, path.bulge, strict=False):
        points.append(a)
        if bulge:
            t = np.linspace(0, 1, 200)[1:-1]
            half = 2 * math.atan(bulge)
            z = complex(*a) + complex(*(b - a)) * np.sin(t * half) / math.sin(half) * np.exp(
                1j * (t - 1) * half
            )
            points += [np.array([v.real, v.imag]) for v in z]
    return points if closed else [*points, path.points[-1]]


def test_lines_that_fit_exactly_fill_a_rectangle_exactly():
    # inside two contour beads 30 lines of 8.4 mm: 252 mm high; without overlap their length is area / width
    box = polygon([[0, 0], [400, 0], [400, 252 + 4 * W], [0, 252 + 4 * W]])
    _, laid, found = filled(box, joined=False, overlap=0.0)
    lines = of_role(laid, "fill")

    assert len(lines) == 30
    assert all(bead.width == pytest.approx(W, rel=1e-12) for bead in lines)
    assert sum(length(bead.path) for bead in lines) == pytest.approx(30 * (400 - 4 * W), rel=1e-12)
    # what is open and what is laid twice are the corners of the second contour beads alone
    assert found.reachable - found.reached == pytest.approx(4 * (1 - math.pi / 4) * (W / 2) ** 2, abs=1e-3)
    assert found.overfilled == pytest.approx(8 * W * W * (0.25 - math.pi / 16), abs=1e-3)


def test_a_height_that_no_whole_beads_fill_changes_their_width():
    _, laid, found = filled(PLATE, joined=False, overlap=0.0)
    lines = of_role(laid, "fill")

    # 300 - 4 x 8.4 = 266.4 mm are 32 lines of 8.325 mm
    assert len(lines) == 32
    assert lines[0].width == pytest.approx(266.4 / 32, rel=1e-12)
    assert found.missed < 2e-4


@pytest.mark.parametrize("index", [0, 1])
def test_joined_lines_of_a_rectangle_are_one_bead_within_the_limits(index):
    _, laid, found = filled(PLATE, index=index)

    assert len(of_role(laid, "fill")) == 1
    assert found.missed < 0.005
    assert found.excess < 0.015
    assert found.outside < 1e-3


def test_layers_take_the_angles_in_turn():
    _, even, _ = filled(PLATE, joined=False, index=0)
    _, odd, _ = filled(PLATE, joined=False, index=3)
    ways = [
        {abs(round(float(np.diff(bead.path.points[:, axis])[0]), 6)) for bead in of_role(laid, "fill")}
        for laid, axis in ((even, 1), (odd, 0))
    ]

    assert ways == [{0.0}, {0.0}]


def test_lines_keep_clear_of_holes_whose_joints_are_level():
    # a slot whose arc ends lie at one height with those of the outer loop: no line runs through it
    slot = polygon([[100, 100], [100, 200], [160, 200], [160, 100]])
    on, laid, found = filled(PLATE, slot)

    assert found.outside < 1e-3
    assert found.missed < 0.005
    assert on.region.loops[1] is slot
    assert len(of_role(laid, "fill")) <= 4


def random_region(seed):
    """A blob of arcs with up to three holes."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(5, 11))
    around = np.sort(rng.uniform(0, 2 * math.pi, n)) if seed % 2 else np.arange(n) * 2 * math.pi / n
    if np.diff(around, append=around[0] + 2 * math.pi).max() > 2.5:
        around = np.arange(n) * 2 * math.pi / n
    out = np.column_stack([np.cos(around), np.sin(around)]) * rng.uniform(170, 260, (n, 1))
    blob = path(out, rng.uniform(-0.1, 0.35, n))
    holes = [
        circle(70 * math.cos(a), 70 * math.sin(a), float(rng.uniform(12, 30)), -1)
        for a in rng.uniform(0, 0.6) + 2.1 * np.arange(int(rng.integers(0, 4)))
    ]
    return (blob, *holes)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("kind", ["lines", "ribs"])
def test_random_regions(seed, kind):
    angles = (17.0 * seed, 17.0 * seed + 90)
    on, laid, found = filled(
        *random_region(seed),
        kind=kind,
        angles=angles,
        rib_spacing=60.0,
        overlap=0.1 if kind == "lines" else 0.0,
    )
    lines = of_role(laid, "fill" if kind == "lines" else "rib")
    rings = [shapely.Polygon(points_of(loop, True)) for loop in on.region.loops]
    solid = rings[0].difference(shapely.union_all(rings[1:]))
    # chords of the outline lie up to 0.05 inside or outside of the arcs
    core = solid.buffer(-W / 2 + 0.05, quad_segs=64)

    assert lines
    assert all(core.contains(shapely.LineString(points_of(bead.path, False))) for bead in lines)
    assert found.outside < 1e-3
    assert found.crossings < 1e-3
    assert found.excess < 0.03
    if kind == "lines":
        assert found.missed < 0.02
        assert sum(length(b.path) * b.width for b in laid.beads) == pytest.approx(
            found.covered + found.overfilled, rel=1e-9
        )
    assert all(LIMITS.least - 1e-9 <= bead.width <= LIMITS.most + 1e-9 for bead in lines)


def test_ribs_stand_above_each_other_and_never_cross():
    _, even, found = filled(PLATE, kind="ribs", index=0, overlap=0.0)
    _, odd, _ = filled(PLATE, kind="ribs", index=1, overlap=0.0)
    rows = [
        {round(float(b.path.points[0, 1]), 6) for b in of_role(laid, "rib") if level(b)}
        for laid in (even, odd)
    ]
    columns = [
        {round(float(b.path.points[0, 0]), 6) for b in of_role(laid, "rib") if not level(b)}
        for laid in (even, odd)
    ]

    assert rows == [{100.0, 200.0}] * 2
    assert columns == [{100.0, 200.0, 300.0}] * 2
    assert found.crossings < 1e-6
    # which family runs on changes: 2 whole and 3 x 3 broken ones, then 3 whole and 2 x 4
    assert [len(of_role(laid, "rib")) for laid in (even, odd)] == [2 + 9, 3 + 8]


def level(bead):
    return abs(bead.path.points[0, 1] - bead.path.points[1, 1]) < 1e-9


def test_broken_ribs_meet_the_others_with_the_overlap_that_was_set():
    _, laid, _ = filled(PLATE, kind="ribs", overlap=0.1)
    upright = sorted(
        (b for b in of_role(laid, "rib") if not level(b)), key=lambda b: tuple(b.path.points.min(axis=0))
    )
    low, high = sorted(upright[1].path.points[:, 1])

    # from rib to rib 100 mm less a bead, and a tenth of a bead more at each end
    assert high - low == pytest.approx(100 - W + 0.2 * W, rel=1e-12)


def test_beads_that_turn_at_crossings_are_as_few_as_euler_allows():
    # 2 ribs along and 3 across have 10 loose ends: at least 5 beads; 17 pieces between the 6 crossings
    for index in (0, 1):
        _, laid, found = filled(PLATE, kind="ribs", index=index, overlap=0.0, turned=True)
        ribs = of_role(laid, "rib")

        assert len(ribs) == 5
        assert not any(bead.closed for bead in ribs)
        assert laid.joined == 17
        # the two cuts at a crossing touch and do not lie on each other; a bend of 45 degrees of a bead itself
        # lays w^2 (tan(a / 2) / 4 - a / 8) beyond what it covers, and there are 24 of them
        bend = W * W * (math.tan(math.pi / 8) / 4 - math.pi / 32)
        assert found.crossings == pytest.approx(24 * bend, abs=1e-3)
        # straight ribs, less w / sqrt(2) of each of the 24 arms, and 12 cuts of w
        straight = 2 * (400 - 4 * W) + 3 * (300 - 4 * W)
        assert sum(length(bead.path) for bead in ribs) == pytest.approx(
            straight - 24 * W / math.sqrt(2) + 12 * W, rel=1e-12
        )


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("angles", [(0.0, 90.0), (10.0, 70.0, 130.0), (0.0, 30.0)])
def test_turned_ribs_of_random_regions(seed, angles):
    loops = random_region(seed)
    _, broken, before = filled(*loops, kind="ribs", angles=angles, rib_spacing=80.0, index=seed)
    on, laid, found = filled(*loops, kind="ribs", angles=angles, rib_spacing=80.0, turned=True, index=seed)
    ribs = of_role(laid, "rib")
    rings = [shapely.Polygon(points_of(loop, True)) for loop in on.region.loops]
    core = rings[0].difference(shapely.union_all(rings[1:])).buffer(-W / 2 + 0.05, quad_segs=64)

    assert len(ribs) <= len(of_role(broken, "rib"))
    assert all(core.contains(shapely.LineString(points_of(bead.path, bead.closed))) for bead in ribs)
    # no two beads cross
    lines = [shapely.LineString(points_of(bead.path, bead.closed)) for bead in ribs]
    assert not any(a.crosses(b) for i, a in enumerate(lines) for b in lines[:i])
    assert all(line.is_simple for line in lines)
    assert found.crossings <= before.crossings + 1e-6
    assert found.outside < 1e-3


def test_a_region_that_contours_fill_gets_no_fill():
    _, laid, _ = filled(polygon([[0, 0], [100, 0], [100, 30], [0, 30]]))

    assert of_role(laid, "fill") == []


def crossed(*loops, joined=True, index=0):
    plan = plan_layers(0.0, 40.0, 4.0)[index]
    on = layer(plan, region=ArcRegion(loops=loops, supports=np.zeros((0, 4))))
    laid = contour_beads(on, width=W, height=H, spacing=W, contours=1000, walls=LIMITS)
    asked = FillPlan(kind="contour", angles=(0.0,), joined=joined, overlap=0.1, rib_spacing=100.0, contours=2)
    laid = fill_beads(on, laid, asked, width=W, spacing=W, limits=LIMITS)
    return laid, coverage(on, laid.beads, width=W, loss=0.0, hollow=laid.rest)


def test_rings_of_a_disc_are_one_bead_by_cross_overs():
    # 200 mm: ranks 3 to 24 lie at 4.2 + 8.4 (k - 1) from the edge; each gives up one spacing, and gets a cross-over
    laid, found = crossed(circle(0, 0, 200))
    apart, _ = crossed(circle(0, 0, 200), joined=False)
    fill = of_role(laid, "fill")
    rings = of_role(apart, "fill")

    assert len(fill) < len(rings) / 4
    assert laid.joined == len(rings) == 22
    assert [b.rank for b in laid.beads if b.role == "contour"] == [1, 2]
    longest = max(fill, key=lambda b: length(b.path))
    whole = sum(length(b.path) for b in rings)
    # a cross-over of sqrt(2) spacings in place of one spacing of ring
    assert sum(length(b.path) for b in fill) == pytest.approx(
        whole + (len(rings) - len(fill)) * (math.sqrt(2) - 1) * W, rel=2e-3
    )
    assert not longest.closed
    assert found.missed < 0.02
    assert found.excess < 0.02


@pytest.mark.parametrize("seed", range(3))
def test_crossed_rings_of_random_regions_keep_inside_and_lose_nothing(seed):
    loops = random_region(seed)
    laid, found = crossed(*loops, index=3)
    apart, before = crossed(*loops, joined=False)
    rings = [shapely.Polygon(points_of(loop, True)) for loop in loops]
    core = rings[0].difference(shapely.union_all(rings[1:])).buffer(-W / 2 + 0.05, quad_segs=64)
    fill = of_role(laid, "fill")

    assert len(fill) < len(of_role(apart, "fill"))
    assert all(core.contains(shapely.LineString(points_of(bead.path, bead.closed))) for bead in fill)
    assert sum(length(b.path) for b in fill) == pytest.approx(
        sum(length(b.path) for b in of_role(apart, "fill")), rel=0.02
    )
    assert found.missed < before.missed + 0.01
