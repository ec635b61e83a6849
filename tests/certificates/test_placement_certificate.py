"""Placement: what it rounds is in each curve's bound, and so in `section`; a matrix off by 1.5 times that is reported.

The bound is `Section.loops.bound`, as `section.cut` returns it; the check that must report is `section.verify_loops`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from beadwright import brep, kernel, section
from beadwright.curves import CurveKind

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
    """What placing may be off is a part of each curve's own bound, some 5e-12 mm beside coordinates of 2.5 m.

    `section.verify_loops` takes curves back to the file in extended precision, so it tells so little apart: its own
    noise is a tenth of that.
    """
    model, matrix, each = placed_section((0.0, 0.0, 0.0), (2500.0, -1200.0))
    before = section.verify_loops(model, each, matrix=matrix)
    tried = 0
    for bound in np.unique(each.loops.bound[each.loops.kind == CurveKind.LINE]):
        moved = matrix.copy()
        moved[row, 3] += share * bound
        by = abs(moved[row, 3] - matrix[row, 3])
        # As near as a double of this size can be: a unit of the last place is 4.5e-13 of 2.5 m.
        assert by == pytest.approx(share * bound, abs=np.spacing(2500.0))

        found = section.verify_loops(model, each, matrix=moved)

        # Lines on faces square to the shift are off by all of it.
        own = (each.loops.kind == CurveKind.LINE) & (each.loops.bound == bound)
        square = own & (np.abs(found.deviation - by) <= before.deviation + before.noise)
        tried += int(square.sum())
        reported = found.deviation > each.loops.bound + found.noise
        assert (reported[square] == (share > 1.0)).all()
        if share < 1.0:
            assert not reported[own].any()
        elif square.any():
            assert found.excess > 0.0
    # Both sides of the body at least.
    assert tried >= 2
