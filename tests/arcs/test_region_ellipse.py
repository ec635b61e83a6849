"""Offsets of a fitted ellipse with semi-axes 300 x 200 against its parallel curve's formula."""

import math

import pytest
from scipy.special import ellipe

from beadwright.arcs import fit, offset
from beadwright.curves import region_area, region_length
from tests.arcs._build_loops import build, ellipse

# Complete elliptic integral of the second kind, parameter 1 - (b / a)^2.
PERIMETER = 4 * 300 * float(ellipe(1 - (200 / 300) ** 2))
AREA = math.pi * 300 * 200


@pytest.fixture(scope="module")
def region():
    return fit(build([([ellipse(300, 200)], True)]), tolerance=1e-5).region


@pytest.mark.parametrize("inwards", [50, 5, 100, -50, -100])
def test_below_the_least_radius_steiner_holds(region, inwards):
    # O2, O3: A - P r + pi r^2, P - 2 pi r, for r below b^2 / a = 133.3.
    result = offset(region, distance=inwards).region
    assert region_area(result) == pytest.approx(AREA - PERIMETER * inwards + math.pi * inwards**2, rel=1e-6)
    assert region_length(result) == pytest.approx(PERIMETER - 2 * math.pi * inwards, rel=1e-6)


def test_beyond_it_the_swallow_tails_are_trimmed(region):
    # O4: the parallel curve at 150 crosses itself; its signed area is too small by both tails.
    result = offset(region, distance=150)
    (loop,) = result.region.loops
    formula = AREA - PERIMETER * 150 + math.pi * 150**2
    assert region_area(result.region) > formula + 1
    # The tip lies on the long axis where the disc of radius 150 touches twice: x = c sqrt(1 - (r / b)^2),
    # c^2 = a^2 - b^2.
    tip = math.sqrt((300**2 - 200**2) * (1 - (150 / 200) ** 2))
    assert loop.points[:, 0].max() == pytest.approx(tip, abs=1e-4)
