"""Quintics of level curves: what they are off, measured by another library, never exceeds their bound."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.brep import SplineSurface
from beadwright.section._free import pack_free
from beadwright.section._free_branches import free_branches
from beadwright.section._free_pieces import FreePieces, free_pieces
from tests.section import _build_free as build


def carried(
    surface: SplineSurface, heights: list[float], tolerance: float = 2e-7
) -> tuple[FreePieces, np.ndarray]:
    free = pack_free(
        surface, [[surface.knots_u[0], surface.knots_v[0]], [surface.knots_u[-1], surface.knots_v[-1]]]
    )
    branches = free_branches(free, heights)
    n = np.diff(branches.first_piece)
    return (
        free_pieces(free, branches, np.arange(len(n)), np.zeros(len(n)), n, tolerance),
        branches.heights[branches.plane],
    )


SURFACES = {
    "bumpy": (build.bumpy(3), [-6.0, 0.31, 4.0]),
    "bumpy_low_degree": (build.bumpy(4, degree=(2, 2)), [-6.0, 0.31, 4.0]),
    "bumpy_one_way": (build.bumpy(6, degree=(1, 3)), [-6.0, 0.31]),
    "torus": (build.turned(build.torus(500.0, 200.0), build.rotation(2)), [-333.0, 0.5, 200.0]),
    "sphere": (build.turned(build.sphere(80.0), build.rotation(1)), [-79.9, 3.0]),
    "hull": (build.hull_side(), [111.3]),
}


@pytest.mark.parametrize("name", SURFACES)
@pytest.mark.parametrize("tolerance", [1e-3, 2e-7])
def test_sampled_deviation_is_below_the_bound(name: str, tolerance: float) -> None:
    surface, heights = SURFACES[name]
    pieces, level = carried(surface, heights, tolerance)
    control = pieces.control[:, :2].reshape(-1, 6, 2)
    owner = np.repeat(np.arange(len(level)), np.diff(pieces.first_piece))
    pick = np.random.default_rng(0).permutation(len(control))[:400]
    t = np.array([0.0, 0.07, 0.19, 0.33, 0.42, 0.5, 0.61, 0.74, 0.9, 1.0])

    points = build.bezier(control[pick], t)
    distance = (
        build.Referee(surface)
        .distance(points.reshape(-1, 2), np.repeat(level[owner[pick]], len(t)))
        .reshape(len(pick), -1)
    )

    assert np.isfinite(distance).mean() > 0.99  # where the referee's own Newton arrived
    distance = np.where(np.isfinite(distance), distance, 0.0)
    assert np.all(pieces.bound <= max(tolerance, 5e-7))
    assert np.all(distance.max(axis=1) <= pieces.bound[owner[pick]] + 1e-10)


@pytest.mark.parametrize("name", SURFACES)
def test_pieces_join_bit_for_bit_and_turn_smoothly(name: str) -> None:
    surface, heights = SURFACES[name]
    pieces, _ = carried(surface, heights)
    control = pieces.control[:, :2].reshape(-1, 6, 2)
    inside = np.ones(len(control), dtype=bool)
    inside[pieces.first_piece[1:] - 1] = False
    k = np.flatnonzero(inside)

    np.testing.assert_array_equal(control[k, 5], control[k + 1, 0])


def test_part_of_a_closed_branch_runs_past_its_start() -> None:
    surface = build.sphere(100.0)
    free = pack_free(surface, [[0, 0], [4, 2]])
    branches = free_branches(free, [60.0])
    n = float(branches.first_piece[1])

    whole = free_pieces(free, branches, [0], [0.3], [0.3])
    parts = free_pieces(free, branches, [0, 0], [n - 0.5, 0.5], [0.5, n - 0.5])

    assert whole.control[0].tolist() == whole.control[-1].tolist()
    ends = parts.control[parts.first_control[parts.first_piece[:-1]], :2]
    np.testing.assert_allclose(np.linalg.norm(ends, axis=1), 80.0, rtol=1e-13)
    last = parts.control[parts.first_control[parts.first_piece[1:]] - 1, :2]
    np.testing.assert_allclose(last, ends[::-1], atol=1e-12)
    # Cut short ones between: a short part across the start, then the long rest.
    lengths = [
        np.linalg.norm(np.diff(parts.control[a:b, :2], axis=0), axis=1).sum()
        for a, b in zip(
            parts.first_control[parts.first_piece[:-1]],
            parts.first_control[parts.first_piece[1:]],
            strict=True,
        )
    ]
    assert lengths[0] < lengths[1]
    assert sum(lengths) == pytest.approx(2 * np.pi * 80.0, rel=1e-2)


def test_a_part_that_is_a_point_says_nothing_about_the_next() -> None:
    # A face may touch the level curve in one point of its outline; the quintic there has no length.
    free = pack_free(build.sphere(100.0), [[0, 0], [4, 2]])
    branches = free_branches(free, [60.0])

    tiny = free_pieces(free, branches, [0, 0], [0.0, 0.0], [1e-300, 0.5])
    alone = free_pieces(free, branches, [0], [0.0], [0.5])

    assert np.diff(tiny.first_piece).tolist() == [1, *np.diff(alone.first_piece)]
    np.testing.assert_array_equal(tiny.control[6:], alone.control)


def test_an_outline_that_ends_in_a_hook_is_followed_to_its_end() -> None:
    # The profile's last two poles lie 5e-5 mm apart, so that it turns within micrometres of its end: a quintic
    # with that turning at one end only was thrown a kilometre aside, and its bound with it.
    profile = np.array([[0.0, 0.0], [5.0, 6.0], [7.0, 7.5], [7.00003, 7.50004]])
    turn, upper = np.linalg.qr(np.random.default_rng(7).normal(size=(3, 3)))
    turn = turn * np.sign(np.diag(upper))
    poles = np.stack([np.insert(profile, 1, y, axis=1) for y in (0.0, 150.0)], axis=1) @ turn.T
    surface = SplineSurface(
        degree=(3, 1),
        knots_u=np.repeat([0.0, 1.0], 4),
        knots_v=np.repeat([0.0, 1.0], 2),
        poles=poles,
        weights=np.ones((4, 2)),
    )
    z = poles[..., 2]

    pieces, _ = carried(surface, np.linspace(z.min(), z.max(), 502)[1:-1].tolist())

    assert len(pieces.bound) == 500
    assert pieces.bound.max() <= 2e-7


@pytest.mark.parametrize("gap", [1e-3, 1e-4, 1e-6])
def test_near_tangent_parts_say_so(gap: float) -> None:
    # Beside the crest of a pipe: angle = sqrt(2 gap / R), at 1e-6 below 1e-3; R = 4000 for 1e-4 and less.
    surface = build.pipe(4000.0, 500.0)
    pieces, _ = carried(surface, [4000.0 - gap])

    angle = np.sqrt(2 * gap / 4000.0)
    assert pieces.near_tangent.tolist() == [angle < 1e-4] * 2
    half = np.sqrt(gap * (8000.0 - gap))
    off = np.abs(np.abs(pieces.control[:, 1]) - half)
    assert off.max() <= pieces.bound.max()
