"""Distances of points from lines and arcs, against dense points and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.curves import distances, samples
from tests.post._build_programs import circle, path


def test_distances_from_lines_and_arcs_against_dense_points():
    line = path([[0, 0], [100, 0], [100, 60], [40, 60]], [0.0, 0.5, -0.25, 0.9])
    rng = np.random.default_rng(7)
    points = rng.uniform(-50, 150, (200, 2))
    # dense points of each move, by its circle
    dense = []
    ends = np.roll(line.points, -1, axis=0)
    for p, q, b in zip(line.points, ends, line.bulge, strict=True):
        t = np.linspace(0, 1, 20001)
        p, q = complex(*p), complex(*q)
        if b == 0:
            dense.append(p + t * (q - p))
        else:
            centre = (p + q) / 2 + 1j * (q - p) * (1 - b * b) / (4 * b)
            dense.append(centre + (p - centre) * np.exp(4j * np.arctan(b) * t))
    dense = np.concatenate(dense)
    true = np.abs((points[:, 0] + 1j * points[:, 1])[:, None] - dense[None]).min(axis=1)

    assert distances([line], points) == pytest.approx(true, abs=2e-5)


def test_a_slice_of_points_and_moves_too_large_for_one_block_gives_the_same(monkeypatch):
    rng = np.random.default_rng(5)
    points = rng.uniform(-80, 80, (37, 2))
    paths = [circle(0, 0, 50), path([[60, 0], [70, 0], [70, 20]], [0.3, 0.0, -0.2])]
    whole = distances(paths, points)

    monkeypatch.setattr("beadwright.curves._distance.BLOCK", 7)

    assert distances(paths, points).tolist() == whole.tolist()


def test_without_a_path_everything_is_far():
    assert distances([], np.zeros((2, 2))).tolist() == [np.inf, np.inf]


def test_samples_lie_on_their_path_with_both_ends_and_every_middle():
    open_path = path([[60, 0], [70, 0], [70, 20], [40, 20]], [0.0, 0.4, -0.2], closed=False)
    points = samples([open_path, circle(0, 0, 50)], 3.0)
    near = distances([open_path, circle(0, 0, 50)], points)
    wanted = np.array([[60, 0], [65, 0], [70, 0], [70, 20], [40, 20], [50, 0], [0, 50], [-50, 0]])
    gaps = np.hypot(*(wanted[:, None] - points[None]).transpose(2, 0, 1)).min(axis=1)

    assert near.max() < 1e-12
    assert gaps.max() < 1e-12
