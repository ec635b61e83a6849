"""Spans whose poles pile up in one place: straight, but with a derivative that vanishes there."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.brep import SplineSurface
from beadwright.section._free import pack_free
from beadwright.section._free_branches import free_branches
from beadwright.section._free_pieces import free_pieces
from tests.section import _build_free as build

H = 5.0


def saddle(end: str) -> SplineSurface:
    """z = (x + y) / 5 - x y / 250 over a square of 100 mm, cubic from side to side, all poles but four on one."""
    x = np.array([0.0, 0.0, 0.0, 100.0] if end == "start" else [0.0, 100.0, 100.0, 100.0])
    x, y = np.meshgrid(x, [0.0, 100.0], indexing="ij")
    return build.net(np.stack((x, y, (x + y) / 5.0 - x * y / 250.0), axis=-1), (3, 1))


@pytest.mark.parametrize("end", ["start", "end"])
def test_a_level_curve_from_where_poles_pile_up(end: str) -> None:
    free = pack_free(saddle(end), [[0.0, 0.0], [1.0, 1.0]])
    branches = free_branches(free, [H])
    n = np.diff(branches.first_piece)
    assert len(n) > 0
    pieces = free_pieces(free, branches, np.arange(len(n)), np.zeros(len(n)), n)
    control = pieces.control[:, :2].reshape(-1, 6, 2)

    assert pieces.bound.max() <= 2e-7
    assert len(control) < 100
    x, y = build.bezier(control, np.linspace(0.0, 1.0, 11)).reshape(-1, 2).T
    # The closed form of the level curve; its slope is at least 0.14, which makes heights of distances.
    off = (x + y) / 5.0 - x * y / 250.0 - H
    slope = np.hypot(0.2 - y / 250.0, 0.2 - x / 250.0)
    assert np.abs(off / slope).max() <= pieces.bound.max() + 1e-10


@pytest.mark.parametrize("end", ["start", "end"])
def test_samples_are_in_the_parameters_of_the_surface(end: str) -> None:
    free = pack_free(saddle(end), [[0.0, 0.0], [1.0, 1.0]])

    for u, v in free_branches(free, [H]).sample:
        # x goes with u^3 from the end where the poles are
        x = 100.0 * (u**3 if end == "start" else 1.0 - (1.0 - u) ** 3)
        y = 100.0 * v
        assert (x + y) / 5.0 - x * y / 250.0 == pytest.approx(H, abs=1e-9)


def test_other_nets_stay_as_they_are() -> None:
    free = pack_free(build.bumpy(3), [[0.0, 0.0], [1.0, 1.0]])

    assert (free.power_u == 1).all()
    assert (free.power_v == 1).all()
    assert free.bound == 0.0
