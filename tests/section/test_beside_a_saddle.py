"""Just past a saddle of a pipe bend the level curve turns sharply: nodes are still found on the right strand."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright import brep, kernel, section
from beadwright.curves import chain_measures

cq = pytest.importorskip("cadquery")


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_past_a_saddle_of_a_bend_areas_are_the_kernels(side: float) -> None:
    # A quarter of a pipe, 254 and 127 mm about 762 mm, its axis 13.4 degrees off the upright.
    bend = (
        cq.Workplane("XZ").center(762.0, 0.0).circle(254.0).circle(127.0).revolve(90.0, (-762, 0), (-762, 1))
    )
    model = kernel.from_shape(bend)
    z = np.array([0.22237012, 0.06599746, 0.972726])
    x = np.array([0.00137814, -0.99772653, 0.06737864])
    x -= (x @ z) / (z @ z) * z
    x, z = x / np.linalg.norm(x), z / np.linalg.norm(z)
    pose = np.column_stack((x, np.cross(z, x), z, np.zeros(3)))
    cutter = section.prepare(brep.placed(model, pose))
    # The outer wall's saddles lie at 762 sin t - 254 on both sides of the middle, t the axis' lean.
    saddle = side * (254.0 - 762.0 * float(np.hypot(z[0], z[1])))

    for found in section.cut(cutter, [saddle + d for d in (-2.0, -0.05, 0.01, 0.05, 0.75, 2.75)]):
        reference = kernel.reference_section(model, found.taken, pose)
        assert reference.closed
        assert reference.uncorrected == 0
        assert float(chain_measures(found.loops)[0].sum()) == pytest.approx(reference.area, rel=1e-6)
        assert found.model < 1e-3
