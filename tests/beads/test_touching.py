"""Greatest inscribed discs: the search by boxes and first guesses gives the very bits of one without either."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from beadwright.beads import _axis
from beadwright.beads._kernels import touching
from beadwright.curves import ArcRegion
from tests.beads._build_rings import ring


def discs(boundary, element, share, boxes, most):
    return touching(
        element, share, boundary.spans, boundary.normal, boundary.turn, boundary.span, boundary.own,
        boundary.fan_of, boundary.next, boxes, most, _axis.WALL_COSINE,
    )  # fmt: skip


@pytest.mark.parametrize("arcs", [False, True])
@pytest.mark.parametrize("sides", [3, 4, 5, 37, 300])
@pytest.mark.parametrize("most", [7.0, 40.0, 2000.0])
def test_neither_boxes_nor_guesses_change_a_bit(sides, arcs, most):
    boundary = _axis._boundary(ring(sides, arcs=arcs))
    element, share = _axis._places(boundary, 15.0)
    everywhere = np.tile([-np.inf, -np.inf, np.inf, np.inf], (len(boundary.boxes), 1))
    # Of one place alone no place before it gives a guess; of boxes without bounds none is passed over.
    plain = [
        discs(boundary, element[i : i + 1], share[i : i + 1], everywhere, most) for i in range(len(element))
    ]

    assert discs(boundary, element, share, boundary.boxes, most).tobytes() == np.concatenate(plain).tobytes()


def test_discs_touch_and_do_not_cut_the_boundary():
    # distances by an independent library; at a corner itself rounding decides whether its other side counts
    region = ring(300, arcs=False)
    places = _axis.sounded(region, most=40.0, step=15.0)
    found = _axis._Discs(places.disc.rows[(places.share > 0) & (places.share < 1)])
    lines = shapely.MultiLineString([np.concatenate([loop.points, loop.points[:1]]) for loop in region.loops])
    clear = shapely.distance(shapely.points(found.centre), lines)

    assert (found.radius < 39).any()
    assert np.abs(clear - found.radius).max() < 1e-9


def test_boxes_hold_all_spans():
    boundary = _axis._boundary(ring(37, arcs=True))
    boxes, spans = boundary.boxes, boundary.spans
    # ends, and middles of the arcs: half chord times bulge to the side
    chord = spans[:, 2:4] - spans[:, :2]
    size = np.hypot(*chord.T)
    rise = (2 * spans[:, 9] / size - 1) * np.sign(spans[:, 6])
    middle = spans[:, :2] + chord / 2 + (rise / 2)[:, None] * np.stack([chord[:, 1], -chord[:, 0]], axis=1)
    points = np.concatenate([spans[:, :2], spans[:, 2:4], middle])
    row = np.tile(len(boxes) // 2 + np.arange(len(spans)) // 4, 3)
    while row[0] > 0:
        assert (points >= boxes[row, :2] - 1e-9).all()
        assert (points <= boxes[row, 2:] + 1e-9).all()
        row //= 2


def test_an_empty_region_has_no_discs():
    assert _axis.sounded(ArcRegion(loops=(), supports=np.zeros((0, 4))), most=7.0, step=4.0) is None
