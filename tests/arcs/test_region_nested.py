"""Rings in rings: offsets of every depth of nesting against closed forms."""

import math

import numpy as np
import pytest

from beadwright.arcs import offset, unite
from beadwright.arcs._region import crooked
from beadwright.arcs._spans import spans_of
from beadwright.curves import ArcPath, ArcRegion, depths, region_area
from tests.arcs import _build_regions as make


@pytest.mark.parametrize("seed", range(10))
def test_six_rings_in_each_other(seed):
    rng = np.random.default_rng(seed)
    radii = np.cumsum(rng.uniform(8, 20, 12))[::-1]
    at = rng.uniform(-50, 50, 2)
    way = np.where(np.arange(12) % 2, -1.0, 1.0)
    region = make.region(*(make.circle(*at, r, hole=s < 0) for r, s in zip(radii, way, strict=True)))
    # No ring is thinner than 8: all stay, moved by the distance.
    for distance in rng.uniform(-3.9, 3.9, 4):
        result = offset(region, distance=distance)
        assert result.fallbacks == 0
        assert sorted(depths(result.region)) == list(range(12))
        assert region_area(result.region) == pytest.approx(
            math.pi * np.sum(way * (radii - way * distance) ** 2), rel=1e-9
        )


def test_a_wall_that_begins_at_the_height_of_the_highest_ray() -> None:
    """Heights at which (top - bottom) times (loops / (top - bottom)) rounds to more than the loops."""
    bottom, top = -8.005315521586454e-09, 85.0337271001665
    assert (top - bottom) * (7 / (top - bottom)) > 7

    def box(x: float, low: float, high: float, *beside: float) -> ArcPath:
        points = [[x, low], [x + 10, low], [x + 10, high], [x, high], *([x, y] for y in beside)]
        none = np.full(len(points), -1, np.int32)
        return ArcPath(points=np.array(points), bulge=np.zeros(len(points)), face=none, support=none)

    boxes = [box(0, top, 95), box(20, 80, 95, top), *(box(20.0 * i, bottom, 10.0 + i) for i in range(2, 7))]
    region = ArcRegion(loops=tuple(boxes), supports=np.zeros((0, 4)))

    assert not crooked(spans_of(region.loops))
    assert len(unite(region).region.loops) == 7


@pytest.mark.parametrize("height", [0.0, 5e-324, 1.78e-311, 1e-300])
def test_loops_whose_heights_differ_by_less_than_can_be_divided_by(height: float) -> None:
    """Two heights one of which is no normal number: what lies there was in no bin, and memory beside them was read."""
    hole = make.path([[60.0, height], [-30.0, -50.0], [-30.0, 50.0]])
    region = make.region(make.circle(0.0, 0.0, 90.0), hole)

    assert region_area(unite(region).region) == pytest.approx(math.pi * 90**2 - 4500, rel=1e-9)
    # The material grows by 1: a disc of 91, and the triangle's inradius, twice its area by its length, is less by 1.
    inradius = 2 * 4500 / (100 + 2 * math.hypot(90, 50))
    assert region_area(offset(region, distance=-1.0).region) == pytest.approx(
        math.pi * 91**2 - 4500 * (1 - 1 / inradius) ** 2, rel=1e-9
    )
