"""Offsets against closed forms, invariants, and families in which offsets fail."""

import math

import numpy as np
import pytest
from shapely.geometry import Polygon

from beadwright.arcs import offset, offset_path
from beadwright.curves import inside, region_area, region_length, signed_area
from beadwright.errors import GeometryError
from tests.arcs import _build_regions as make

SQUARE = make.region(make.box(0, 0, 100, 100))
ELL = make.region(make.path([[0, 0], [200, 0], [200, 100], [100, 100], [100, 200], [0, 200]]))
TRIANGLE = make.region(make.path([[0, 0], [300, 0], [150, 150 * math.sqrt(3)]]))
PLATE = make.region(make.box(0, 0, 400, 300), make.circle(200, 150, 50, hole=True))


@pytest.mark.parametrize(
    ("region", "distance", "area", "length"),
    [
        # Steiner: A + P r + pi r^2, P + 2 pi r.
        pytest.param(SQUARE, -10, 10000 + 4000 + 100 * math.pi, 400 + 20 * math.pi, id="O1 square out"),
        # L-shape: Steiner for five convex corners, the reflex corner takes r^2 back.
        pytest.param(ELL, -10, 38292.6990817, 858.5398163397, id="O5 L out"),
        # Strips of 790 + ... less corners; the reflex corner is a quarter disc.
        pytest.param(ELL, 10, 22421.46018366, 715.7079632679, id="O6 L in"),
        # A - P r + r^2 sum cot(alpha / 2), cot 30 degrees = sqrt 3.
        pytest.param(
            TRIANGLE, 20, 22500 * math.sqrt(3) - 18000 + 1200 * math.sqrt(3), 692.1539030917, id="O7 triangle"
        ),
        pytest.param(
            PLATE, 10, 380 * 280 - 3600 * math.pi, 2 * 660 + 120 * math.pi, id="O8 plate with a hole"
        ),
    ],
)
def test_closed_forms(region, distance, area, length):
    result = offset(region, distance=distance)
    assert region_area(result.region) == pytest.approx(area, rel=1e-9)
    assert region_length(result.region) == pytest.approx(length, rel=1e-9)
    assert result.bound.mm <= 1e-8
    assert (result.retries, result.fallbacks, result.grey) == (0, 0, 0)


@pytest.mark.parametrize("r", [0.001, 3.0, 49.0, 99.0])
def test_an_annulus_keeps_its_whole_boundary_length(r):
    # O9: Euler characteristic 0, so Steiner's term 2 pi r chi is 0.
    ring = make.region(make.circle(0, 0, 400), make.circle(0, 0, 200, hole=True))
    assert region_length(offset(ring, distance=r).region) == pytest.approx(1200 * math.pi, rel=1e-9)


@pytest.mark.parametrize("r", [50.0, 60.0, 1e6])
def test_a_square_erodes_out_of_existence(r):
    assert offset(SQUARE, distance=r).region.loops == ()


def test_just_before_it_vanishes_a_square_is_still_there():
    result = offset(SQUARE, distance=50 - 1e-6)
    # Side 2e-6, known to twice the bound.
    assert region_length(result.region) == pytest.approx(8e-6, abs=8 * 2e-8)


def test_a_hole_that_is_swallowed_by_growing_leaves_no_loop():
    assert len(offset(PLATE, distance=-50.5).region.loops) == 1
    assert len(offset(PLATE, distance=-49.5).region.loops) == 2


def test_a_dumbbell_splits_where_its_neck_is_narrower_than_two_distances():
    region = make.region(make.dumbbell(neck=9.0))
    assert len(offset(region, distance=4.49).region.loops) == 1
    assert len(offset(region, distance=4.51).region.loops) == 2


def test_moves_keep_their_faces_and_concentric_supports():
    loop = make.rounded(100, 60, 8)
    support = np.arange(8, dtype=np.int32)
    table = np.array(
        [
            (0, 0, 1, 0), (1, 92, 8, 8), (0, 1, 0, 100), (1, 92, 52, 8),
            (0, 0, 1, 60), (1, 8, 52, 8), (0, 1, 0, 0), (1, 8, 8, 8),
        ],
        dtype=float,
    )  # fmt: skip
    region = make.ArcRegion(
        loops=(make.ArcPath(points=loop.points, bulge=loop.bulge, face=loop.face, support=support),),
        supports=table,
    )
    result = offset(region, distance=3).region
    (path,) = result.loops
    for move in range(8):
        kind, a, b, c = result.supports[path.support[move]]
        old = table[path.face[move]]
        if kind == 1:
            assert (a, b, c) == (old[1], old[2], 5.0)
        else:
            # The line that really holds the move's start.
            assert a * path.points[move, 0] + b * path.points[move, 1] == pytest.approx(c, abs=1e-9)
            assert abs(c - old[3]) == 3.0


def test_an_arc_round_a_corner_carries_the_face_before_it_and_the_corner_as_support():
    result = offset(SQUARE, distance=-10).region
    (path,) = result.loops
    arcs = np.flatnonzero(path.bulge)
    assert sorted(path.face[arcs]) == [0, 1, 2, 3]
    ends = {0: (100, 0), 1: (100, 100), 2: (0, 100), 3: (0, 0)}
    for arc in arcs:
        assert tuple(result.supports[path.support[arc]]) == (1, *ends[path.face[arc]], 10)


def test_erosions_compose_and_opening_is_idempotent():
    rng = np.random.default_rng(3)
    for _ in range(8):
        region = make.region(make.blob(rng, 60))
        once = offset(region, distance=12.0).region
        twice = offset(offset(region, distance=5.0).region, distance=7.0).region
        slack = 2e-8 * (region_length(once) + 1)
        assert region_area(twice) == pytest.approx(region_area(once), abs=2 * slack)
        opened = offset(once, distance=-12.0).region
        again = offset(offset(opened, distance=12.0 - 1e-7).region, distance=-12.0 + 1e-7).region
        assert region_area(again) == pytest.approx(
            region_area(opened), abs=4e-7 * (region_length(opened) + 1)
        )


@pytest.mark.parametrize("far", [0.0, 1e7])
def test_neither_turning_nor_moving_changes_an_offset(far):
    rng = np.random.default_rng(4)
    for distance in (8.0, -8.0, 30.0):
        loop = make.blob(rng, 100)
        turned = make.region(make.turned(loop, 1.234, (far, -far)))
        area = region_area(offset(make.region(loop), distance=distance).region)
        # Coordinates of 1e7 are only known to 1.9e-9, on a boundary of about 1 m.
        assert region_area(offset(turned, distance=distance).region) == pytest.approx(
            area, abs=1e-5, rel=1e-9
        )


@pytest.mark.parametrize("seed", range(6))
def test_between_two_polygon_offsets(seed):
    # Sandwich by a polygon library: chords inside the region and chords outside of it, 0.001 mm apart.
    rng = np.random.default_rng(seed)
    region = make.holed_plate(rng, 8) if seed % 2 else make.region(make.blob(rng, 40))
    for distance in (-12.0, 7.0, 15.0):
        result = offset(region, distance=distance).region
        shape = None
        for loop in region.loops:
            corners = []
            for a, b, bulge in zip(loop.points, np.roll(loop.points, -1, 0), loop.bulge, strict=True):
                t = np.arange(200) / 200
                if bulge:
                    z0, z1 = complex(*a), complex(*b)
                    centre = (z0 + z1) / 2 + 1j * (z1 - z0) * (1 - bulge**2) / (4 * bulge)
                    z = centre + (z0 - centre) * np.exp(1j * 4 * math.atan(bulge) * t)
                    corners.append(np.c_[z.real, z.imag])
                else:
                    corners.append(a + t[:, None] * (b - a))
            polygon = Polygon(np.concatenate(corners))
            shape = polygon if shape is None else shape.difference(polygon)
        low = shape.buffer(-distance - 2e-3, quad_segs=200).area
        high = shape.buffer(-distance + 2e-3, quad_segs=200).area
        assert low <= region_area(result) <= high


@pytest.mark.parametrize("gap", [0.0, 1e-10, 3e-9, 9e-9, 2e-8, 1e-6])
@pytest.mark.parametrize("distance", [2.0, 7.7, -4.0])
def test_a_hole_that_touches_a_wall(gap, distance):
    region = make.region(make.box(0, 0, 100, 60), make.circle(50, 12 + gap, 12, hole=True))
    grown = 12.0 + distance
    if distance > 0:
        # the disc about the hole goes on beyond the wall's own offset: what lies there is a circular segment
        height = 12.0 + gap - distance
        beyond = grown**2 * math.acos(height / grown) - height * math.sqrt(grown**2 - height**2)
        area = (100 - 2 * distance) * (60 - 2 * distance) - (math.pi * grown**2 - beyond)
    else:
        area = 100 * 60 - 320 * distance + math.pi * (distance**2 - grown**2)

    result = offset(region, distance=distance)

    assert result.fallbacks == 0
    assert region_area(result.region) == pytest.approx(area, rel=1e-9)


def hard_regions(rng):
    """(name, region, distance) of the families that break offsets."""
    jitter = 10.0 ** rng.uniform(-12, -2)
    yield "blob", make.region(make.blob(rng, 60)), rng.uniform(-40, 60)
    yield "jittered blob", make.region(make.jittered(make.blob(rng, 60), jitter, rng)), rng.uniform(-40, 60)
    fillet = rng.uniform(1, 10)
    angle = rng.choice([0.0, rng.uniform(0, 6)])
    rounded = make.region(make.turned(make.rounded(100, 60, fillet), angle))
    for distance in (-fillet, fillet, fillet + 1e-7, fillet - 1e-9, 30, 30 - 1e-9, 30 + 1e-9, 30 - 1e-7):
        yield "rounded", rounded, distance
    bulge = 10.0 ** rng.uniform(-11, -3, 4) * rng.choice([-1, 1], 4)
    flat = make.path([[0, 0], [100, 0], [100, 60], [0, 60]], bulge)
    yield "flat", make.region(flat), rng.choice([5, 29.999, 30, 30 - 1e-9, -5])
    yield "plate", make.holed_plate(rng, 10), rng.uniform(-20, 20)
    yield "gear", make.region(make.gear()), rng.uniform(-10, 10)
    yield "star", make.region(make.star()), rng.uniform(-30, 30)
    yield "neck", make.region(make.dumbbell()), rng.choice([4.5, 4.5 - 1e-9, 4.5 + 1e-9, 20, 20 - 1e-9])
    yield "blob of 200", make.region(make.blob(rng, 200)), rng.uniform(-40, 60)
    if rng.random() < 0.03:
        yield "blob of 2000", make.region(make.blob(rng, 2000)), rng.uniform(-40, 60)
    yield "plate of 20", make.holed_plate(rng, 20), rng.uniform(-20, 20)
    yield "tiny spans", make.region(make.tiny(make.blob(rng, 60), rng)), rng.uniform(-40, 60)
    rings = [
        make.circle(0, 0, r, hole=hole) for r, hole in ((90, False), (70, True), (50, False), (20, True))
    ]
    yield "nested", make.region(*rings), rng.choice([rng.uniform(-15, 15), 10, 10 - 1e-9, -10, -10 + 1e-9])
    gap = 10.0 ** rng.uniform(-9, -1)
    beside = make.region(make.box(0, 0, 100, 60), make.circle(50, 12 + gap, 12, hole=True))
    yield "near tangent", beside, rng.choice([rng.uniform(-15, 15), gap / 2, gap / 2 + 1e-9])


def run_families(seeds):
    bad = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        for name, region, distance in hard_regions(rng):
            result = offset(region, distance=distance)
            if result.fallbacks:
                bad.append((seed, name, distance))
            # Growing never loses area and eroding never wins any.
            grown = region_area(result.region) - region_area(region)
            assert grown * distance <= 1e-6, (seed, name, distance)
    assert bad == []


def test_hard_families():
    run_families(range(20))


@pytest.mark.bench
def test_hard_families_ten_thousand():
    run_families(range(1000, 1680))


def test_loops_that_cross_are_united_first_and_told():
    crossed = make.region(make.box(0, 0, 100, 100), make.box(50, 0, 100, 100))
    result = offset(crossed, distance=10)
    assert result.normalised
    assert region_area(result.region) == pytest.approx(130 * 80)


@pytest.mark.parametrize("distance", [math.nan, math.inf])
def test_a_distance_must_be_finite(distance):
    with pytest.raises(GeometryError, match="finite"):
        offset(SQUARE, distance=distance)


def test_an_empty_region_stays_empty():
    assert offset(make.region(), distance=1).region.loops == ()


class TestPaths:
    def test_both_ends_of_an_open_path_are_kept(self):
        path = make.path([[0, 0], [100, 0], [100, 100]], closed=False)
        (left,) = offset_path(path, distance=10).paths
        assert left.points == pytest.approx(np.array([[0, 10], [90, 10], [90, 100]]))
        (right,) = offset_path(path, distance=-10).paths
        assert right.points == pytest.approx(np.array([[0, -10], [100, -10], [110, 0], [110, 100]]))
        assert right.bulge == pytest.approx([0, math.tan(math.pi / 8), 0])

    def test_a_closed_circle_moves_to_its_inside(self):
        # Tube of R 500, bead 8.4 on the inside: 495.8.
        (inner,) = offset_path(make.circle(0, 0, 500), distance=4.2).paths
        assert inner.closed
        assert signed_area(inner) == pytest.approx(math.pi * 495.8**2, rel=1e-9)

    def test_a_narrow_notch_is_trimmed(self):
        path = make.path([[0, 0], [50, 0], [50, -30], [60, -30], [60, 0], [110, 0]], closed=False)
        (beside,) = offset_path(path, distance=8).paths
        # Nothing reaches into a notch 10 wide with a bead 8 away: arcs of radius 8 round both corners.
        height = math.sqrt(64 - 25)
        assert beside.points[:, 1].min() == pytest.approx(height)
        assert beside.points[0] == pytest.approx((0, 8))
        assert beside.points[-1] == pytest.approx((110, 8))


def test_points_inside_agree_with_the_offset():
    # Definition of erosion: a point belongs to it if its distance from the boundary is at least r.
    rng = np.random.default_rng(8)
    result = offset(PLATE, distance=12).region
    points = rng.uniform((0, 0), (400, 300), (2000, 2))
    wall = np.minimum(
        np.minimum(points[:, 0], 400 - points[:, 0]), np.minimum(points[:, 1], 300 - points[:, 1])
    )
    hole = np.hypot(points[:, 0] - 200, points[:, 1] - 150) - 50
    assert np.array_equal(inside(result, points), np.minimum(wall, hole) > 12)
