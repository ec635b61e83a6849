"""A plane's section is the same bytes whichever planes are cut with it."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from beadwright import brep, kernel, section

EXAMPLES = Path(__file__).resolve().parents[2] / "step_examples"


def in_bytes(found: section.Section) -> bytes:
    loops = found.loops
    rows = [np.ascontiguousarray(getattr(loops, field.name)).tobytes() for field in fields(loops)]
    return b"".join(rows) + np.array([found.bound, found.model, found.hidden]).tobytes()


# A free-form hull; free-form and revolved faces about inclined axes.
@pytest.mark.parametrize(
    ("name", "turn"),
    [("tender_hull.step", (0.0, 0.0, 0.0)), ("hatch_cover_mould.step", (11.0, 23.0, 5.0))],
)
def test_a_plane_does_not_depend_on_the_planes_cut_with_it(
    name: str, turn: tuple[float, float, float]
) -> None:
    model = kernel.read_step(EXAMPLES / name)
    cutter = section.prepare(brep.placed(model, brep.placement(model, rotate_deg=turn)))
    low, high = cutter.z_range
    heights = low + (np.arange(9) + 0.5137) / 9 * (high - low)

    together = [in_bytes(s) for s in section.cut(cutter, heights)]

    assert [in_bytes(section.cut(cutter, [z])[0]) for z in heights] == together
    # The last layers of a longer plan, and planes given in another order.
    assert [in_bytes(s) for s in section.cut(cutter, heights[5:])] == together[5:]
    assert [in_bytes(s) for s in section.cut(cutter, heights[::-1])] == together[::-1]
