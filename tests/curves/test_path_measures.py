"""Length and area against closed forms and 50 digits."""

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest

from beadwright.curves import (
    ArcPath,
    CurveKind,
    CurveLoops,
    chain_measures,
    length,
    lengths,
    signed_area,
    winding,
)


def path(points, bulge, closed=True):
    n = len(bulge)
    return ArcPath(
        points=np.array(points, float),
        bulge=np.array(bulge, float),
        face=np.full(n, -1, np.int32),
        support=np.full(n, -1, np.int32),
        closed=closed,
    )


def test_ring_bead_has_the_length_of_its_circle():
    # trade check O13: R 500, length 2 pi R = 3141.592654
    ring = path([[500, 0], [-500, 0]], [1, 1])

    assert length(ring) == pytest.approx(2 * math.pi * 500, rel=1e-15)
    assert signed_area(ring) == pytest.approx(math.pi * 500**2, rel=1e-15)


def test_a_clockwise_loop_has_negative_area_of_the_same_size():
    ring = path([[500, 0], [-500, 0]], [-1, -1])

    assert signed_area(ring) == pytest.approx(-math.pi * 500**2, rel=1e-15)


def test_sagitta_of_a_chord():
    # trade check O11: chord 50 on R 1000 has the sagitta 0.3125488434, and sagitta = bulge * chord / 2
    bulge = math.tan(math.asin(25 / 1000) / 2)

    assert bulge * 50 / 2 == pytest.approx(0.3125488434, abs=1e-10)
    assert lengths(path([[0, 0], [50, 0]], [bulge], closed=False))[0] == pytest.approx(
        2000 * math.asin(0.025), rel=1e-14
    )


@pytest.mark.parametrize("bulge", [1e-9, 1e-4, 0.0199, 0.0201, 0.3, 0.999, 1.0])
def test_segment_area_and_arc_length_against_fifty_digits(bulge):
    with mpmath.workdps(50):
        b, chord = mpmath.mpf(bulge), mpmath.mpf(10)
        sweep = 4 * mpmath.atan(b)
        radius = chord / (2 * mpmath.sin(sweep / 2))
        area = float(radius**2 * (sweep - mpmath.sin(sweep)) / 2)
        run = float(radius * sweep)
    # the arc and its chord back
    leaf = path([[0, 0], [10, 0]], [bulge, 0])

    assert signed_area(leaf) == pytest.approx(area, rel=4e-14)
    assert length(leaf) == pytest.approx(run + 10, rel=1e-15)


def test_area_does_not_suffer_far_from_the_origin():
    square = path(np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) + 2.0**20, [0, 0, 0, 0])

    assert signed_area(square) == 1.0


def loops(kind, ends, circle, control=None, degree=None):
    n = len(kind)
    pieces = np.zeros(n + 1, np.int32)
    if control is not None:
        pieces[1:] = np.arange(1, n + 1)
    degree = np.array(degree if degree is not None else [], np.int32)
    return CurveLoops(
        kind=np.array(kind, np.int8),
        face=np.zeros(n, np.int32),
        ends=np.array(ends, float),
        circle=np.array(circle, float),
        first_piece=pieces,
        degree=degree,
        first_control=np.r_[0, np.cumsum(degree + 1)].astype(np.int32),
        control=np.array(control if control is not None else np.zeros((0, 3)), float),
        bound=np.zeros(n),
        first_curve=np.array([0, n], np.int32),
        closed=np.array([True]),
    )


def test_exact_measures_of_lines_and_circles():
    # half disc of radius 10, far away
    at = 5000.0
    half = loops(
        [CurveKind.LINE, CurveKind.CIRCLE],
        [[at - 10, at, at + 10, at], [at + 10, at, at - 10, at]],
        [[0, 0, 0, 0], [at, at, 10, math.pi]],
    )
    area, run = chain_measures(half)

    assert area[0] == pytest.approx(50 * math.pi, rel=1e-13)
    assert run[0] == pytest.approx(20 + 10 * math.pi, rel=1e-14)


def test_exact_measures_of_an_ellipse_in_rational_pieces():
    # semi-axes 300 and 200: area pi a b; perimeter 4 a E(1 - b^2/a^2) by the complete elliptic integral
    s = math.sqrt(0.5)
    quarter = np.array([[1, 0, 1], [s, s, s], [0, 1, 1]])
    turn = np.array([[0, 1, 0], [-1, 0, 0], [0, 0, 1]])
    rows = [quarter @ np.linalg.matrix_power(turn, k) for k in range(4)]
    control = np.concatenate(rows) * [300, 200, 1]
    ends = [[*r[0, :2] * [300, 200], *r[2, :2] * [300, 200]] for r in rows]
    area, run = chain_measures(
        loops([CurveKind.ELLIPSE] * 4, ends, np.zeros((4, 4)), control=control, degree=[2] * 4)
    )

    assert area[0] == pytest.approx(math.pi * 300 * 200, rel=1e-13)
    assert run[0] == pytest.approx(float(4 * 300 * mpmath.ellipe(1 - (200 / 300) ** 2)), rel=1e-12)


def test_a_point_level_with_a_joint_that_rounding_moved_is_outside():
    # -46.8 + 41.8 is not -5.000000000000004: seen from the left, both moves at the joint must see one height
    slot = path(
        [
            [301.8, -5.000000000000004],
            [260.0, -46.8],
            [218.2, -5.000000000000004],
            [218.2, 125.0],
            [260.0, 166.8],
            [301.8, 125.0],
        ],
        [-math.tan(math.pi / 8), -math.tan(math.pi / 8), 0.0] * 2,
    )

    assert winding(slot, np.array([[-218.2, -5.000000000000004]])).tolist() == [0]
