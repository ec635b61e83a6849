"""Placement: its rounding is in `section`; a matrix off by 1.5 times the bound is reported, by 0.5 passes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from beadwright import brep, kernel, section

EXAMPLES = Path(__file__).resolve().parents[2] / "step_examples"


def placed_section(
    rotate: tuple[float, float, float], at: tuple[float, float]
) -> tuple[brep.Model, np.ndarray, section.Section]:
    model = kernel.read_step(EXAMPLES / "planing_fixture.step")
    matrix = brep.placement(model, scale=1.01, rotate_deg=rotate, at=at)
    cutter = section.prepare(brep.placed(model, matrix))
    low, high = cutter.z_range
    plane = section.take_plane(cutter, low + 0.437 * (high - low), "above")
    return model, matrix, section.cut(cutter, [plane.taken])[0]


@pytest.mark.parametrize("rotate", [(0.0, 0.0, 17.0), (3.0, 5.0, 7.0), (31.0, -44.0, 80.0), (90.0, 0.5, 0.0)])
@pytest.mark.parametrize("at", [(0.0, 0.0), (2500.0, -1200.0)])
def test_what_placing_rounds_is_inside_the_bound(
    rotate: tuple[float, float, float], at: tuple[float, float]
) -> None:
    model, matrix, each = placed_section(rotate, at)

    assert section.verify_loops(model, each, matrix=matrix).excess <= 0.0


@pytest.mark.parametrize("share", [0.5, 1.5])
@pytest.mark.parametrize("row", [0, 1])
def test_a_shifted_matrix(share: float, row: int) -> None:
    model, matrix, each = placed_section((0.0, 0.0, 0.0), (0.0, 0.0))
    # The section's budget; its own bound of some 1e-12 is nearer to what doubles can tell apart.
    each = replace(each, loops=replace(each.loops, bound=np.full_like(each.loops.bound, 1e-6)))
    matrix = matrix.copy()
    matrix[row, 3] += share * 1e-6

    found = section.verify_loops(model, each, matrix=matrix)

    # The faces square to the shift are off by all of it.
    assert found.deviation.max() == pytest.approx(share * 1e-6, rel=1e-4)
    assert (found.excess > 0.0) is (share > 1.0)
