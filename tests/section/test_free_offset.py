"""Offset surfaces: sections of the offset of a sphere, a cylinder, an elliptic wall and a bumpy patch."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.brep import Conic3, ExtrusionSurface, OffsetSurface
from beadwright.section._free import pack_free
from beadwright.section._free_branches import free_branches
from beadwright.section._free_offset import ENOUGH
from beadwright.section._free_pieces import free_pieces
from tests.section import _build_free as build


def points_at(
    surface: OffsetSurface, box: list[list[float]], heights: list[float]
) -> list[tuple[float, np.ndarray, float]]:
    free = pack_free(surface, box)
    branches = free_branches(free, heights)
    n = np.diff(branches.first_piece)
    pieces = free_pieces(free, branches, np.arange(len(n)), np.zeros(len(n)), n)
    control = pieces.control[:, :2].reshape(-1, 6, 2)
    assert branches.conflicts.sum() == 0
    assert free.bound <= 2 * ENOUGH
    out = []
    for b in range(len(n)):
        own = control[pieces.first_piece[b] : pieces.first_piece[b + 1]]
        points = build.bezier(own, np.linspace(0, 1, 6)).reshape(-1, 2)
        out.append((branches.heights[branches.plane[b]], points, pieces.bound[b]))
    return out


def test_offset_of_a_sphere_is_a_sphere() -> None:
    # Two spans away from the poles, where the normal of the base is defined: radius 80 + 7.
    surface = OffsetSurface(base=build.turned(build.sphere(80.0), build.rotation(4)), distance=7.0)

    found = points_at(surface, [[0.2, 0.4], [3.1, 1.6]], [-40.0, 0.5, 33.0])

    assert len(found) >= 3
    for h, points, bound in found:
        off = np.abs(np.linalg.norm(points, axis=1) - np.sqrt(87.0**2 - h * h))
        assert off.max() <= bound


def test_offset_of_an_elliptic_wall() -> None:
    # Leaning wall over an ellipse: nearest distance to the base's ruling lines is the offset.
    direction = np.array([0.3, 0.0, 1.0]) / np.hypot(0.3, 1.0)
    ellipse = Conic3(centre=np.zeros(3), major=np.array([60.0, 0, 0]), minor=np.array([0, 30.0, 0]))
    surface = OffsetSurface(base=ExtrusionSurface(directrix=ellipse, direction=direction), distance=4.0)

    found = points_at(surface, [[0.0, 0.0], [3.0, 50.0]], [20.0])

    assert len(found) == 1
    h, points, bound = found[0]
    x = np.column_stack((points, np.full(len(points), h)))
    t = np.linspace(-0.3, 3.3, 40001)
    base = np.stack((60 * np.cos(t), 30 * np.sin(t), 0 * t), axis=1)
    across = np.eye(3) - np.outer(direction, direction)
    gap = np.array([np.linalg.norm((p - base) @ across, axis=1).min() for p in x])
    assert np.abs(gap - 4.0).max() <= bound + 2e-6  # sampling of the ellipse: (h^2 / 8 R) of 5.4 um steps


@pytest.mark.parametrize("distance", [-2.0, 3.0])
def test_offset_of_a_bumpy_patch(distance: float) -> None:
    base = build.bumpy(7, shape=(6, 6), rough=5.0)
    surface = OffsetSurface(base=base, distance=distance)

    found = points_at(surface, [[0.0, 0.0], [1.0, 1.0]], [0.4])

    referee = build.Referee(base)
    for h, points, _ in found:
        x = np.column_stack((points[::2], np.full(len(points[::2]), h)))
        grid = referee.grid(100)
        s = referee(grid)[0]
        uv = grid[np.argmin(np.linalg.norm(x[:, None] - s[None], axis=2), axis=1)]
        for _ in range(60):  # Gauss-Newton onto the base: converges while the offset is below its radii
            s, su, sv = referee(uv)
            a, b, c = (np.sum(p * q, axis=1) for p, q in ((su, su), (su, sv), (sv, sv)))
            r0, r1 = np.sum((x - s) * su, axis=1), np.sum((x - s) * sv, axis=1)
            det = a * c - b * b
            uv = np.clip(uv + np.stack((c * r0 - b * r1, a * r1 - b * r0), axis=1) / det[:, None], 0, 1)
        s, su, sv = referee(uv)
        normal = np.cross(su, sv)
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        inner = np.all((uv > 1e-3) & (uv < 1 - 1e-3), axis=1)
        assert inner.sum() > 5
        off = np.linalg.norm(x - s - distance * normal, axis=1)[inner]
        assert off.max() < 1e-6
