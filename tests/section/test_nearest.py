"""The nearest points that the section's own check looks for."""

from __future__ import annotations

import numpy as np

from beadwright import brep
from beadwright.section._verify_spline import Nearest


def sheared_tube(spans: int, shear: float) -> brep.SplineSurface:
    """A closed polygon of chords of a circle of radius 6, swept along (0, shear, 1) by 15."""
    turn = np.linspace(0.0, 2.0 * np.pi, spans + 1)
    ring = 6.0 * np.column_stack((np.cos(turn), np.sin(turn), 0.0 * turn))
    ring[-1] = ring[0]
    along = np.array([0.0, 15.0 * shear, 15.0])
    knots = np.concatenate(([0.0], np.linspace(0.0, 1.0, spans + 1), [1.0]))
    return brep.SplineSurface(
        degree=(1, 1),
        knots_u=knots,
        knots_v=np.array([0.0, 0.0, 1.0, 1.0]),
        poles=np.stack((ring, ring + along), axis=1),
        weights=np.ones((spans + 1, 2)),
    )


def test_nearest_points_beside_a_seam_whose_seeds_lie_beyond_it() -> None:
    # The sweep leans along the seam's tangent: on the seed lines below and above a point just before the
    # seam the nearest places lie after it, and those beside them too, as the seeds are dense along u.
    surface = sheared_tube(spans=400, shear=0.4)
    uv = np.column_stack((np.linspace(0.9975, 0.9999, 9), np.full(9, 0.083)))
    points = brep.surface_points(surface, uv)

    found = Nearest(surface, np.array([[0.0, 0.0], [1.0, 1.0]]))(points)

    # The points are points of the surface: the nearest is the point itself.
    assert np.abs(brep.surface_points(surface, found) - points).max() < 1e-9
