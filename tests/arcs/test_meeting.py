"""The corner between two solids: how far it may be off, against closed forms of lines and circles."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.arcs import meeting
from beadwright.curves import ArcPath

ERROR = 0.01


def loop(points, bulge=0.0, at=(0.0, 0.0)) -> ArcPath:
    points = np.asarray(points, dtype=float) + np.asarray(at)
    none = np.full(len(points), -1, np.int32)
    return ArcPath(points=points, bulge=np.full(len(points), bulge), face=none, support=none)


def disc(x: float, radius: float) -> ArcPath:
    quarter = radius * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
    return loop(quarter, math.tan(math.pi / 8), at=(x, 0.0))


def wedge(angle: float) -> list[ArcPath]:
    """Two solids whose straight walls leave a wedge of air of this angle, with its tip at the origin."""
    square = np.array([[-500.0, -1000], [500, -1000], [500, 0], [-500, 0]])
    turned = []
    for side in (1, -1):
        t = side * (np.pi - angle) / 2
        turned.append(loop(square @ np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])))
    return turned


@pytest.mark.parametrize("degrees", [120, 90, 60, 20, 5])
def test_two_walls_that_cross(degrees: float) -> None:
    """Both walls moved by e move their corner by e / sin(angle / 2)."""
    angle = math.radians(degrees)
    found = meeting(wedge(angle), np.array([0, 1]), [np.full(4, ERROR)] * 2, target=0.0)

    assert found.bound == pytest.approx(ERROR / math.sin(min(angle, math.pi - angle) / 2), rel=1e-9)
    assert not len(found.undecided)


@pytest.mark.parametrize("degrees", [60, 20, 5])
def test_one_of_the_walls_is_the_cads_own(degrees: float) -> None:
    """Only one wall moves by e: the corner slides along the other by e / sin(angle)."""
    angle = math.radians(degrees)
    found = meeting(wedge(angle), np.array([0, 1]), [np.full(4, ERROR), np.zeros(4)], target=0.0)

    exact = ERROR / math.sin(angle)
    assert exact <= found.bound <= 1.05 * exact


@pytest.mark.parametrize("half", [50.0, 80.0, 99.0])
@pytest.mark.parametrize("grown", [ERROR, -ERROR])
def test_two_discs(half: float, grown: float) -> None:
    """Discs of radius 100 at x -half and half cross at y = sqrt(radius^2 - half^2), whatever the radius is."""
    found = meeting(
        [disc(-half, 100.0), disc(half, 100.0)], np.array([0, 1]), [np.full(4, ERROR)] * 2, target=0
    )

    moved = abs(math.sqrt((100 + grown) ** 2 - half**2) - math.sqrt(100**2 - half**2))
    assert moved <= found.bound <= 1.15 * moved + ERROR
    assert found.at is not None
    assert abs(abs(found.at[1]) - math.sqrt(100**2 - half**2)) < 3 * found.bound


def test_walls_face_to_face_are_told_and_not_bounded() -> None:
    """Two squares of 10 mm, their gap half of what either may be off: 10 mm of wall on each side."""
    square = np.array([[0.0, 0], [10, 0], [10, 10], [0, 10]])
    pair = [loop(square), loop(square, at=(10 + ERROR / 2, 0))]
    found = meeting(pair, np.array([0, 1]), [np.full(4, ERROR)] * 2, target=ERROR)

    assert found.undecided[:, 2].sum() / 2 == pytest.approx(10.0, abs=0.5)
    assert np.isinf(found.loop_bound).all()


def test_walls_that_run_the_same_way_cost_nothing() -> None:
    """One wall inside the other by less than the error: whichever shows, the union is off by the error."""
    square = np.array([[0.0, 0], [10, 0], [10, 10], [0, 10]])
    pair = [loop(square), loop(square * (0.5, 1.0), at=(2, ERROR / 4))]
    found = meeting(pair, np.array([0, 1]), [np.full(4, ERROR)] * 2, target=ERROR)

    assert not len(found.undecided)
    # The upper wall's ends are corners of 90 degrees: e / sin 45 degrees.
    assert ERROR <= found.bound <= ERROR / math.sin(math.pi / 4) * (1 + 1e-9)


def test_solids_that_do_not_meet_and_lines_of_the_cad_have_nothing_to_tell() -> None:
    square = np.array([[0.0, 0], [10, 0], [10, 10], [0, 10]])
    apart = meeting(
        [loop(square), loop(square, at=(11, 0))], np.array([0, 1]), [np.full(4, 0.01)] * 2, target=0
    )
    own = meeting(
        [loop(square), loop(square, at=(10, 0))], np.array([0, 1]), [np.full(4, 1e-9)] * 2, target=0
    )
    same = meeting(
        [loop(square), loop(square, at=(5, 5))], np.array([0, 0]), [np.full(4, 0.01)] * 2, target=0
    )

    for found in (apart, own, same):
        assert found.bound == 0.0
        assert found.at is None
        assert not len(found.undecided)
