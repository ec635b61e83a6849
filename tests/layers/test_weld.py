"""Solids placed to touch miss each other by rounding; the region of a layer has no hair between them."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.arcs import unite
from beadwright.curves import ArcPath, ArcRegion, signed_area
from beadwright.layers._weld import HAIR, weld


def board(x0: float, y0: float, x1: float, y1: float, face: int) -> ArcPath:
    return ArcPath(
        points=np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]),
        bulge=np.zeros(4),
        face=np.full(4, face, np.int32),
        support=np.full(4, -1, np.int32),
    )


def region(*loops: ArcPath) -> ArcRegion:
    return unite(ArcRegion(loops=loops, supports=np.zeros((0, 4)))).region


@pytest.mark.parametrize("gap", [1e-7, 1e-4, 0.9 * HAIR])
def test_boards_a_hair_apart_become_one(gap: float) -> None:
    apart = region(board(0, 0, 100, 50, 0), board(100 + gap, 0, 200, 50, 1))

    welded = weld(apart, np.array([0, 1]))

    assert welded.hairs == 1
    assert len(welded.region.loops) == 1
    # 200 x 50; at both ends of the gap the closing stops short by less than its radius; the rest is what the
    # operations' bound allows along 500 mm of outline.
    assert abs(signed_area(welded.region.loops[0]) - 200 * 50) <= 2 * gap * HAIR + 500 * welded.bound


def test_a_gap_of_the_design_stays() -> None:
    apart = region(board(0, 0, 100, 50, 0), board(100 + 3 * HAIR, 0, 200, 50, 1))

    welded = weld(apart, np.array([0, 1]))

    assert welded.hairs == 0
    assert len(welded.region.loops) == 2


def test_a_slit_inside_one_solid_stays() -> None:
    apart = region(board(0, 0, 100, 50, 0), board(100 + 1e-4, 0, 200, 50, 1))

    welded = weld(apart, np.array([0, 0]))

    assert welded.region is apart


def test_boards_that_meet_in_a_corner_become_one() -> None:
    """A neck of no width is none; two solids that share a corner point are meant to hang together."""
    corner = region(board(0, 0, 100, 50, 0), board(100, 50, 200, 100, 1))

    welded = weld(corner, np.array([0, 1]))

    assert len(welded.region.loops) == 1
    # Two notches of 90 degrees are filled, each (1 - pi / 4) of a square on the closing's radius; the rest is
    # what the operations' bound allows along 600 mm of outline.
    filled = 2 * (1 - np.pi / 4) * (HAIR / 2) ** 2
    assert abs(signed_area(welded.region.loops[0]) - 2 * 100 * 50 - filled) <= 600 * welded.bound
