"""The nearest place of a path against brute force."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.curves import ArcPath, nearest_place, points_at


def path(points, bulge, *, closed=True):
    none = np.full(len(bulge), -1, np.int32)
    return ArcPath(
        points=np.array(points, float), bulge=np.array(bulge, float), face=none, support=none, closed=closed
    )


@pytest.mark.parametrize("rows", [None, [1, 2], [3, 0]])
@pytest.mark.parametrize("closed", [True, False])
def test_the_nearest_place_is_that_of_brute_force(closed, rows):
    """Against 20,000 places a move on lines and arcs that turn both ways."""
    corners = [[0, 0], [40, 5], [60, 40], [10, 50], [-20, 20]]
    shape = path(corners, [0.3, -0.5, 0.0, 0.9, 0.2] if closed else [0.3, -0.5, 0.0, 0.9], closed=closed)
    share = np.linspace(0, 1, 20_001)
    looked = np.arange(len(shape.bulge)) if rows is None else np.array(rows)
    dense = points_at(shape, np.repeat(looked, len(share)), np.tile(share, len(looked)))
    for point in np.random.default_rng(3).uniform(-60, 100, (100, 2)):
        move, at = nearest_place(shape, point, None if rows is None else looked)
        assert move in looked
        found = points_at(shape, np.array([move]), np.array([at]))[0]
        best = np.hypot(*(dense - point).T).min()
        assert np.hypot(*(found - point)) == pytest.approx(best, abs=1e-4)
        assert np.hypot(*(found - point)) <= best + 1e-9
