"""Rings in rings: offsets of every depth of nesting against closed forms."""

import math

import numpy as np
import pytest

from beadwright.arcs import offset
from beadwright.curves import depths, region_area
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
