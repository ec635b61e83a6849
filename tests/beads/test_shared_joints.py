"""Beads that share a wall, where stretches of the wall's boundary meet at blunt corners."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from beadwright.beads._meet import Own
from beadwright.beads._narrow import _replaced
from beadwright.curves import distances, length, lengths
from tests.beads._build_medial import W, medial, turns
from tests.post._build_programs import circle, path


def ring(count, radius, bend):
    """A hole of equal arcs, each bent by a share of the circle through its ends, so that they meet at blunt corners."""
    angle = -2 * math.pi * np.arange(count) / count
    points = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return path(points, [-bend * math.tan(math.pi / 2 / count)] * count)


@pytest.mark.parametrize("count", [5, 11])
@pytest.mark.parametrize("bend", [0.99, 1.01, 1.1])
def test_stretches_that_meet_are_one_bead_that_never_runs_back(count, bend):
    outer, inner = circle(0.3, 0.2, 100), ring(count, 82.0, bend)
    beads = medial(outer, inner)

    assert sum(bead.closed for bead in beads) == 2
    for bead in beads:
        assert turns(bead.path)[0].max() < 0.5
        assert lengths(bead.path).min() > 1e-2
        # half a share of a wall of 16.4 to 19.7 mm from the nearer side: two beads fill it
        apart = distances([outer, inner], bead.path.points)
        assert apart.min() > 7.62 / 2 - 0.01
        assert apart.max() < 10.92 / 2 + 0.01


def test_a_contour_line_between_stretches_may_be_shorter_than_a_move():
    # of a line 1.86 m long a micrometre is left between two stretches: less than a joint can be told from an end
    hole = [
        [0, -294], [-154, -251], [-265, -129], [-291, 33], [-224, 187], [-87, 277], [75, 279], [216, 192], [287, 40],
        [265, -121], [163, -243],
    ]  # fmt: skip
    bend = -math.tan(math.pi / 22)
    beads = medial(
        circle(0, 0, 307), path(hole, [round(bend, 4)] * len(hole)), spacing=W - 4.0 * (1 - math.pi / 4)
    )

    assert beads
    for bead in beads:
        assert turns(bead.path)[0].max() < math.pi / 2


@pytest.mark.parametrize("gap", [1.2e-4, 9e-3, 0.03])
def test_a_contour_line_before_the_first_stretch_may_be_shorter_than_a_move(gap):
    line = replace(path([[0, 0], [143, 0], [143, 7], [0, 7]], [0.0] * 4), bulge=np.zeros(3), closed=False)
    line = replace(line, face=line.face[:3], support=line.support[:3])
    place = np.array([gap, 70.0, 140.0])
    stretch = Own(
        begin=gap,
        end=140.0,
        at=np.stack([place, np.full(3, -0.39)], axis=1),
        width=np.full(3, 7.62),
        place=place,
    )
    (chain,), rest, (gone,) = _replaced(line, [stretch], W, 0.01)

    # a bead begins with the line where the stretch begins less than a width after it
    assert chain.path.points[0] == pytest.approx([0, 0], abs=0.4)
    assert chain.path.points[-1] == pytest.approx([140, -0.39], abs=1e-9)
    assert sum(map(length, rest)) == pytest.approx(3 + 7 + 143, abs=1e-9)
    assert length(gone) == pytest.approx(140, abs=1e-9)
