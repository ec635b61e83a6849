"""Polygons followed by arcs: closed forms of regular polygons, and distances by another library's polygons."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest
import shapely

from beadwright.arcs import fit_polygon
from beadwright.curves import ArcPath
from beadwright.errors import GeometryError
from tests.arcs._polygons import ring_loops

Floats = npt.NDArray[np.float64]


def fitted(points: Floats, tolerance: float, *, tangent: bool = False) -> tuple[ArcPath, float]:
    path, _, bound = fit_polygon(
        points, np.arange(len(points), dtype=np.int32), tolerance=tolerance, tangent=tangent
    )
    return path, bound


def turns(path: ArcPath) -> Floats:
    """Sizes of the turns where moves join, degrees, by the headings of points drawn beside the joints."""
    each = 4000
    ring = drawn(path, each)
    step = np.roll(ring, -1, axis=0) - ring
    heading = np.arctan2(step[:, 1], step[:, 0])
    at = np.arange(0, len(ring), each)
    turn = heading[at] - heading[at - 1]
    return np.degrees(np.abs((turn + np.pi) % (2 * np.pi) - np.pi))


def regular(n: int, radius: float) -> Floats:
    angle = 2 * np.pi * np.arange(n) / n
    return np.column_stack([50 + radius * np.cos(angle), -20 + radius * np.sin(angle)])


def drawn(path: ArcPath, each: int = 400) -> Floats:
    """Points of a path by its bulges: the circle through both ends that turns by 4 atan(bulge)."""
    out = []
    for p, q, b in zip(path.points, np.roll(path.points, -1, axis=0), path.bulge, strict=True):
        t = np.linspace(0, 1, each, endpoint=False)[:, None]
        if b == 0:
            out.append(p + t * (q - p))
            continue
        left = np.array([-(q - p)[1], (q - p)[0]])
        centre = (p + q) / 2 + left * (1 - b * b) / (4 * b)
        turn = 4 * math.atan(b) * t
        ray = p - centre
        out.append(centre + np.cos(turn) * ray + np.sin(turn) * np.array([-ray[1], ray[0]]))
    return np.concatenate(out)


def far(points: Floats, ring: Floats) -> float:
    """Greatest distance of points from a ring of chords, by GEOS."""
    chords = shapely.linestrings(np.stack([ring, np.roll(ring, -1, axis=0)], axis=1))
    _, found = shapely.STRtree(chords).query_nearest(
        shapely.points(points), all_matches=False, return_distance=True
    )
    return float(found.max())


def apart(points: Floats, path: ArcPath) -> float:
    """Hausdorff distance of a polygon and a path, the greater of both ways, by points some tenths apart."""
    polygon = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(points), 0.3))[:-1]
    arcs = drawn(path)
    return max(far(polygon, arcs), far(arcs, points))


@pytest.mark.parametrize("sense", [1, -1])
def test_a_regular_polygon_is_its_circle_and_strays_by_its_sagitta(sense: int) -> None:
    path, bound = fitted(regular(120, 60.0)[::sense], 0.1)

    # half turns: tan(180 degrees / 4)
    assert path.bulge.tolist() == [sense, sense]
    assert np.hypot(*(path.points - (50, -20)).T) == pytest.approx(np.full(2, 60.0), abs=1e-9)
    assert path.points.mean(axis=0) == pytest.approx((50, -20), abs=1e-9)
    # the chord of an angle of 2 pi / n is nearer to the centre than its ends by R (1 - cos(pi / n))
    assert bound == pytest.approx(60 * (1 - math.cos(math.pi / 120)), abs=1e-9)


def test_o12_three_hundred_and_fifteen_chords_are_two_arcs_within_five_hundredths() -> None:
    # R (1 - cos(pi / n)) <= e with R 1000 and e 0.05: n = ceil(pi / acos(1 - e / R)) = 315
    assert math.ceil(math.pi / math.acos(1 - 0.05 / 1000)) == 315
    path, bound = fitted(regular(315, 1000.0), 0.05)
    left, _ = fitted(regular(314, 1000.0), 0.05)

    # two arcs of half a turn
    assert path.bulge.tolist() == [1, 1]
    assert np.hypot(*(path.points - (50, -20)).T) == pytest.approx(np.full(2, 1000.0), abs=1e-8)
    assert bound == pytest.approx(1000 * (1 - math.cos(math.pi / 315)), abs=1e-9)
    assert np.count_nonzero(left.bulge) == 0


def test_a_tolerance_below_the_sagitta_leaves_the_chords() -> None:
    path, bound = fitted(regular(24, 60.0), 0.1)

    assert (len(path.points), np.count_nonzero(path.bulge), bound) == (24, 0, 0.0)


@pytest.mark.parametrize("tangent", [False, True])
def test_sides_stay_straight_and_roundings_become_arcs_of_their_radius(tangent: bool) -> None:
    """A rectangle 200 x 120 whose corners of R 20 are eight chords each."""
    corners = []
    for x, y, begin in ((80, 40, 0), (-80, 40, 90), (-80, -40, 180), (80, -40, 270)):
        angle = np.radians(begin + np.linspace(0, 90, 9))
        corners.append(np.column_stack([x + 20 * np.cos(angle), y + 20 * np.sin(angle)]))
    path, bound = fitted(np.concatenate(corners), 0.5, tangent=tangent)

    arc = path.bulge != 0
    assert arc.sum() == 4
    assert len(arc) == 8
    # a quarter turn
    assert path.bulge[arc] == pytest.approx(np.full(4, math.tan(math.pi / 8)), rel=1e-9)
    assert bound == pytest.approx(20 * (1 - math.cos(math.pi / 32)), abs=1e-9)


@pytest.mark.parametrize("tangent", [False, True])
def test_corners_of_the_part_stay(tangent: bool) -> None:
    path, bound = fitted(np.array([[0.0, 0], [100, 0], [100, 50], [0, 50]]), 0.5, tangent=tangent)

    assert path.points.tolist() == [[0, 0], [100, 0], [100, 50], [0, 50]]
    assert (np.count_nonzero(path.bulge), bound) == (0, 0.0)


@pytest.mark.parametrize("tangent", [False, True])
@pytest.mark.parametrize(("noise", "tolerance", "most"), [(0.0, 0.1, 40), (0.05, 0.5, 30)])
def test_the_bound_holds_on_free_shapes_and_on_noise(
    noise: float, tolerance: float, most: int, tangent: bool
) -> None:
    random = np.random.default_rng(7)
    angle = np.sort(random.uniform(0, 2 * np.pi, 1500))
    radius = 150 + 20 * np.cos(3 * angle) + random.normal(0, noise, len(angle))
    points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    path, bound = fitted(points, tolerance, tangent=tangent)

    assert not tangent or turns(path).max() < 0.1
    assert bound <= tolerance
    assert len(path.bulge) <= most
    # the chords that stand for the arcs here stray by less
    assert apart(points, path) <= bound + 1e-3
    assert apart(points, path) >= bound / 3


def stadium(step: float) -> Floats:
    """Two straight sides of 200 and two half circles of R 50, all in chords of one length."""
    run, turn = np.arange(0, 200, step), np.arange(0, np.pi, step / 50)
    sine, cosine = 50 * np.sin(turn), 50 * np.cos(turn)
    return np.concatenate(
        [
            np.column_stack([run - 100, np.full(len(run), -50.0)]),
            np.column_stack([100 + sine, -cosine]),
            np.column_stack([100 - run, np.full(len(run), 50.0)]),
            np.column_stack([-100 - sine, cosine]),
        ]
    )


def test_where_a_side_meets_a_rounding_in_even_chords_the_joint_is_found() -> None:
    path, bound = fitted(stadium(2.0), 0.05, tangent=True)
    kinked, _ = fitted(stadium(2.0), 0.05)

    # a straight move and a half circle in two, twice; the chord of 2 on R 50 has a sagitta of 0.01
    assert sorted(np.degrees(4 * np.arctan(path.bulge)).round(3))[:2] == [0, 0]
    assert len(path.bulge) == 6
    assert bound == pytest.approx(50 * (1 - math.cos(0.02)), abs=2e-3)
    radius = np.hypot(*(path.points[path.bulge != 0] - (100, 0)).T)
    assert turns(path).max() < 0.1 < turns(kinked).max()
    assert radius[:2] == pytest.approx([50, 50], abs=0.03)


def test_smooth_joints_beside_a_corner_and_none_smoothed_there() -> None:
    """Three quarters of a circle of R 100 between two sides that meet square."""
    t = np.linspace(0, 1.5 * np.pi, 200)
    arc = np.column_stack([100 * np.cos(t), 100 * np.sin(t)])
    path, bound = fitted(np.vstack([arc, [[100.0, -100.0]]]), 0.05, tangent=True)

    assert sorted(turns(path))[-1] == pytest.approx(90.0, abs=0.1)
    assert sorted(turns(path))[-2] < 0.1
    # two sides, and three quarters of a turn in two arcs
    assert len(path.bulge) == 4
    assert bound <= 0.05


def test_chords_of_an_ellipse_become_tangent_arcs_within_the_tolerance() -> None:
    t = 2 * np.pi * np.arange(400) / 400
    points = np.column_stack([300 * np.cos(t), 120 * np.sin(t)])
    path, bound = fitted(points, 0.05, tangent=True)

    assert turns(path).max() < 0.1
    assert apart(points, path) <= bound + 1e-3 <= 0.051
    # an interpolating arc strays by |k'| L^3 / 125 or so: no fewer than 20 would do, and the chords are 400
    assert 20 <= len(path.bulge) <= 50


def test_a_tolerance_of_nothing_is_refused() -> None:
    from beadwright.arcs import fit_polygons

    with pytest.raises(GeometryError, match="above 0"):
        fit_polygons(ring_loops(regular(8, 10.0)), tolerance=0.0)


def test_chains_of_straight_curves_become_loops_of_their_own() -> None:
    from beadwright.arcs import fit_polygons

    found = fit_polygons(ring_loops(regular(90, 40.0), regular(60, 20.0)[::-1]), tolerance=0.1)

    assert [len(loop.bulge) for loop in found.region.loops] == [2, 2]
    assert (found.edges, found.lines, found.arcs) == (150, 0, 4)
    assert found.region.supports[:, 3] == pytest.approx([40, 20], abs=1e-9)
    assert [int(loop.support[0]) for loop in found.region.loops] == [0, 1]
