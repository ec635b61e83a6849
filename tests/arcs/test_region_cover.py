"""Covered areas against closed forms: Pappus, corner, crossing; and against another library's polygons."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from beadwright.arcs import cover, offset
from beadwright.curves import ArcPath, ArcRegion


def line(*points, closed=False, bulge=None):
    n = len(points) - (not closed)
    none = np.full(n, -1, np.int32)
    return ArcPath(
        points=np.array(points, float),
        bulge=np.zeros(n) if bulge is None else np.array(bulge, float),
        face=none,
        support=none,
        closed=closed,
    )


@pytest.mark.parametrize(
    ("degrees", "share"),
    [(30, 0.00153745), (60, 0.01343787), (90, 0.05365046), (120, 0.17121331), (150, 0.60576347)],
)
def test_excess_of_a_corner(degrees, share):
    # w^2 (tan(t / 2) / 4 - t / 8): both legs' inner kite counts twice, the outer sector costs nothing
    t = math.radians(degrees)
    bent = line((0, 0), (100, 0), (100 + 100 * math.cos(t), 100 * math.sin(t)))

    assert 200 * 10 - cover([(bent, 10.0)]).union == pytest.approx(100 * share, abs=1e-6)


@pytest.mark.parametrize(("degrees", "area"), [(90, 100.0), (60, 115.470054)])
def test_a_crossing_is_covered_twice(degrees, area):
    # w^2 / sin t
    t = math.radians(degrees)
    end = np.array([math.cos(t), math.sin(t)]) * 90

    found = cover([(line((-90, 0), (90, 0)), 10.0), (line(-end, end), 10.0)])

    assert found.twice == pytest.approx(area, abs=1e-6)
    assert 2 * 180 * 10 - found.union == pytest.approx(area, abs=1e-6)


def test_a_ring_by_pappus_and_one_tighter_than_half_a_width():
    # width times length for a radius of half a width and more; a disc of 3 + 5 below
    ring = line((500, 0), (-500, 0), closed=True, bulge=[1, 1])
    tight = line((3, 0), (-3, 0), closed=True, bulge=[-1, -1])

    assert cover([(ring, 10.0)]).union == pytest.approx(10 * 1000 * math.pi, rel=1e-12)
    assert cover([(tight, 10.0)]).union == pytest.approx(64 * math.pi, rel=1e-12)


def test_beads_side_by_side_cover_a_rectangle_and_no_more():
    box = line((0, 0), (300, 0), (300, 200), (0, 200), closed=True)
    region = ArcRegion(loops=(box,), supports=np.zeros((0, 4)))
    half = ArcRegion(loops=offset(region, distance=25.0).region.loops, supports=np.zeros((0, 4)))

    found = cover([(line((0, 4 + 8 * k), (300, 4 + 8 * k)), 8.0) for k in range(25)], [region, half])

    assert found.union == pytest.approx(60000, abs=1e-6)
    assert found.twice == pytest.approx(0, abs=1e-6)
    assert found.inside == pytest.approx((60000, 250 * 150), abs=1e-6)


def test_nothing_covers_nothing():
    assert cover([]).union == 0.0


@pytest.mark.parametrize("seed", range(12))
def test_random_strips_against_polygons(seed):
    """Strips of random bent paths and a region; the polygons' arcs are within 1e-4 of ours."""
    rng = np.random.default_rng(seed)
    strips, shapes = [], []
    for _ in range(6):
        points = np.cumsum(rng.normal(0, 40, (5, 2)), axis=0)
        width = float(rng.choice([6.0, 8.4]))
        strips.append((line(*points), width))
        parts = [shapely.LineString(points[i : i + 2]).buffer(width / 2, cap_style="flat") for i in range(4)]
        for i in range(1, 4):  # at a corner a round joint outside
            a, b = points[i] - points[i - 1], points[i + 1] - points[i]
            turn = math.copysign(1.0, a[0] * b[1] - a[1] * b[0])
            ways = [np.array([v[1], -v[0]]) / np.hypot(*v) * turn for v in (a, b)]
            angles = np.linspace(0, 1, 200)[:, None]
            first = math.atan2(ways[0][1], ways[0][0])
            sweep = (math.atan2(ways[1][1], ways[1][0]) - first + math.pi) % (2 * math.pi) - math.pi
            arc = first + sweep * angles
            rim = points[i] + width / 2 * np.hstack([np.cos(arc), np.sin(arc)])
            parts.append(shapely.Polygon([points[i], *rim]).buffer(0))
        shapes.append(shapely.union_all(parts))
    ring = line((60, 0), (-60, 0), closed=True, bulge=[1, 1])
    disc = shapely.Point(0, 0).buffer(60, quad_segs=2000)

    found = cover(strips, [ArcRegion(loops=(ring,), supports=np.zeros((0, 4)))])

    everything = shapely.union_all(shapes)
    assert found.union == pytest.approx(everything.area, abs=0.05)
    assert found.inside[0] == pytest.approx(everything.intersection(disc).area, abs=0.05)
