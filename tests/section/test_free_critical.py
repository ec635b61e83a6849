"""Critical heights of faces whose extrema and saddles are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.brep import SplineSurface
from beadwright.section._free import pack_free
from beadwright.section._free_branches import free_branches
from beadwright.section._free_critical import free_critical
from tests.section import _build_free as build


def heights_of(surface: SplineSurface) -> tuple[np.ndarray, float]:
    box = [[surface.knots_u[0], surface.knots_v[0]], [surface.knots_u[-1], surface.knots_v[-1]]]
    return free_critical(pack_free(surface, box))


def distance_to(found: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    return np.abs(found[None, :] - wanted[:, None]).min(axis=1)


@pytest.mark.parametrize("seed", range(3))
def test_turned_torus_has_its_four(seed: int) -> None:
    # A torus about the axis a: extrema +-(R s + r), saddles +-(R s - r), s = sqrt(1 - a_z^2).
    turn = build.rotation(seed)
    s = np.sqrt(1 - turn[2, 2] ** 2)

    found, tolerance = heights_of(build.turned(build.torus(50.0, 12.0), turn))

    wanted = np.array([-50 * s - 12, -50 * s + 12, 50 * s - 12, 50 * s + 12])
    assert distance_to(found, wanted).max() <= tolerance
    assert distance_to(wanted, found).max() <= tolerance


def test_rings_and_crests_are_one_height() -> None:
    # A torus about z has rings of critical points at +-r; a lying pipe two crests.
    ring, tolerance = heights_of(build.torus(50.0, 12.0))
    crest, _ = heights_of(build.pipe(40.0, 3000.0))

    assert distance_to(np.array([-12.0, 12.0]), ring).max() <= tolerance
    assert distance_to(ring, np.array([-12.0, 12.0])).max() <= tolerance
    assert distance_to(crest, np.array([-40.0, 40.0])).max() <= tolerance


@pytest.mark.parametrize("seed", range(4))
def test_branch_counts_change_only_there(seed: int) -> None:
    surface = build.bumpy(seed)
    free = pack_free(surface, [[0, 0], [1, 1]])
    found, _ = free_critical(free)
    levels = np.linspace(-14, 14, 281) + 1e-3

    branches = free_branches(free, levels)

    loops = np.bincount(branches.plane[branches.closed], minlength=len(levels))
    changed = np.flatnonzero(np.diff(loops) != 0)
    assert len(changed) > 3
    # A loop appears or vanishes only across a critical height, or where it runs into the border: there
    # the border's own z is critical (seen by dense samples).
    referee = build.Referee(surface)
    t = np.linspace(0, 1, 4001)
    edges = [np.column_stack(c) for c in ((t, 0 * t), (t, 0 * t + 1), (0 * t, t), (0 * t + 1, t))]
    border = []
    for uv in edges:
        z = referee(uv)[0][:, 2]
        border.append(z[1:-1][(z[1:-1] - z[:-2]) * (z[2:] - z[1:-1]) <= 0])
    events = np.sort(np.concatenate((found, *border)))
    for k in changed:
        assert np.any((events > levels[k] - 1e-6) & (events < levels[k + 1] + 1e-6))


def test_a_crease_is_found() -> None:
    # A roof: degree 1 across, a ridge that sags as a parabola: z = 10 (2 t - 1)^2 on it, least 0.
    poles = np.zeros((3, 3, 3))
    poles[..., 0] = np.array([-1.0, 0, 1])[:, None]
    poles[..., 1] = np.array([0.0, 1, 2])
    poles[..., 2] = np.array([-50.0, 0, -50])[:, None] + np.array([10.0, -10, 10])

    found, tolerance = heights_of(build.net(poles, (1, 2)))

    assert distance_to(found, np.array([0.0])).max() <= tolerance
