"""Convex hulls of lines and arcs against closed forms, and of points against a reference library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from beadwright.curves import ArcPath, hull, signed_area


def path(points, bulge, closed=True):
    n = len(bulge)
    face = np.full(n, -1, np.int32)
    return ArcPath(
        points=np.array(points, float), bulge=np.array(bulge, float), face=face, support=face, closed=closed
    )


def area(corners):
    return signed_area(path(corners, np.zeros(len(corners))))


@pytest.mark.parametrize("tolerance", [0.05, 0.001])
def test_the_hull_of_a_circle_is_within_the_tolerance_of_it(tolerance):
    for turn in (1, -1):
        corners = hull([path([[510, 7], [-490, 7]], [turn, turn])], tolerance=tolerance)
        away = np.hypot(*(corners - [10, 7]).T)
        middles = np.hypot(*((corners + np.roll(corners, -1, axis=0)) / 2 - [10, 7]).T)

        assert away == pytest.approx(500, abs=1e-9)
        assert middles.min() >= 500 - tolerance
        assert math.pi * 500**2 - 2 * math.pi * 500 * tolerance < area(corners) < math.pi * 500**2


def test_an_arc_that_bends_inwards_and_a_hole_add_nothing():
    # a square of 40 with one side curved inwards, and a hole
    square = path([[0, 0], [40, 0], [40, 40], [0, 40]], [-0.3, 0, 0, 0])
    hole = path([[10, 20], [30, 20]], [-1, -1])

    assert hull([square, hole], tolerance=0.01).tolist() == [[0, 0], [40, 0], [40, 40], [0, 40]]


def test_an_arc_that_bends_outwards_by_less_than_the_tolerance_is_its_chord():
    # the height of an arc is chord * bulge / 2
    bent = [[0, 0], [40, 0], [40, 40], [0, 40]]

    assert len(hull([path(bent, [0.00049, 0, 0, 0])], tolerance=0.01)) == 4
    assert len(hull([path(bent, [0.00051, 0, 0, 0])], tolerance=0.01)) > 4


def test_points_against_the_reference_library():
    rng = np.random.default_rng(3)
    points = rng.normal(size=(400, 2))
    corners = hull([path(points, np.zeros(400))], tolerance=0.01)
    known = points[ConvexHull(points).vertices]

    assert sorted(corners.tolist()) == sorted(known.tolist())
    assert area(corners) == pytest.approx(ConvexHull(points).volume, rel=1e-12)


def test_without_area_there_are_fewer_than_three_corners():
    line = path([[0, 0], [1, 1], [2, 2], [3, 3]], np.zeros(4))

    assert hull([], tolerance=0.01).shape == (0, 2)
    assert hull([line], tolerance=0.01).tolist() == [[0, 0], [3, 3]]
