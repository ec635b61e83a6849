"""Beads along the middle of walls share the tangent of neighbouring moves, against closed forms of the middle."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from beadwright.beads import _along
from beadwright.beads._along import along
from beadwright.beads._axis import middles
from beadwright.beads._listed import spaced
from beadwright.curves import ArcRegion, distances, length
from tests.beads._build_medial import W, medial, turns
from tests.post._build_programs import circle, path

TOLERANCE = 0.01
# A bead may lie a quarter of the tolerance off the middle.
OFF = TOLERANCE / 4


@pytest.mark.parametrize("vary", [False, True])
def test_between_eccentric_circles_the_bead_is_a_smooth_ellipse(vary):
    # distances to the centres are 100 - r and 90.5 + r: their sum is that of an ellipse about them
    beads = medial(circle(0, 0, 100), circle(1.0, 0, 90.5, -1), vary=vary)
    at = np.concatenate([spaced(bead.path, 0.5) for bead in beads])

    assert sum(length(bead.path) for bead in beads) == pytest.approx(2 * math.pi * 95.25, rel=1e-4)
    assert np.abs(np.hypot(*at.T) + np.hypot(*(at - [1.0, 0]).T) - 190.5).max() <= 2 * OFF
    for bead in beads:
        assert turns(bead.path)[0].max(initial=0.0) < 1e-9


@pytest.mark.parametrize("vary", [False, True])
def test_round_an_inner_corner_the_bead_is_two_smooth_parabolas(vary):
    # as far from the corner at (W, W) as from the nearer outer side: they meet at 45 degrees on the diagonal
    (bead,) = medial(path([[0, 0], [200, 0], [200, W], [W, W], [W, 100], [0, 100]], [0.0] * 6), vary=vary)
    turn, joint = turns(bead.path)
    corner = turn > 0.1
    at = spaced(bead.path, 0.1)
    at = at[(at[:, 0] < 190) & (at[:, 1] < 90)]
    side = W / (1 + 1 / math.sqrt(2))

    assert corner.sum() == 1
    assert joint[corner][0] == pytest.approx([side, side], abs=1e-5)
    # each side's tangent may be off by what lies within the tolerance over the some mm of its first arc
    assert turn[corner][0] == pytest.approx(math.pi / 4, abs=0.015)
    assert turn[~corner].max() < 1e-9
    assert np.abs(np.hypot(*np.maximum(W - at, 0).T) - at.min(axis=1)).max() <= 2 * OFF
    assert len(bead.path.bulge) <= (14 if vary else 10)


@pytest.mark.parametrize("vary", [False, True])
def test_width_follows_the_wall_along_the_smooth_line(vary):
    # half the thickness where the ellipse's point lies: 100 less its distance from the outer centre
    for bead in medial(circle(0, 0, 100), circle(1.0, 0, 90.5, -1), vary=vary):
        at = bead.path.points
        wall = 2 * (100 - np.hypot(*at.T))
        own = (
            np.asarray(bead.widths)[bead.path.support]
            if bead.widths
            else np.full(len(bead.path.bulge), bead.width)
        )
        own = own if bead.path.closed else np.append(own, own[-1])
        step = 0.01 * W if vary else 0.06 * W
        assert np.abs(own - wall).max() <= step


def ellipse(a, b, count):
    angle = np.linspace(0, 2 * math.pi, count)
    return np.stack([a * np.cos(angle), b * np.sin(angle)], axis=1)


def parabola(half, count):
    x = np.linspace(-half, half, count)
    return np.stack([x, x * x / 100], axis=1)


# Least number of arcs of any chain: the integral of (|kappa'| / (72 sqrt 3 eps))^(1/3) ds (D. S. Meek and D. J. Walton,
# "Spiral arc spline approximation to a planar spiral", J. Comput. Appl. Math. 107 (1999) 21-30), here by fine sums.
CURVES = [
    (ellipse(95, 94, 800), True, 0.0025, 11.0),
    (ellipse(95, 50, 800), True, 0.0025, 38.4),
    (parabola(60, 400), False, 0.0025, 12.3),
    (parabola(60, 400), False, 0.00025, 26.5),
]


@pytest.mark.parametrize(("points", "closed", "tolerance", "least"), CURVES)
def test_a_smooth_chain_takes_few_more_arcs_than_any(points, closed, tolerance, least):
    points[-1] = points[0] if closed else points[-1]
    line, places = along(points, np.zeros(len(points), bool), closed=closed, tolerance=tolerance)

    assert len(line.bulge) <= 1.3 * least + 2
    assert turns(line)[0].max() < 1e-9
    assert distances([line], points).max() <= tolerance
    assert (np.diff(places) >= 0).all()


def test_lines_and_arcs_that_touch_come_back_with_their_lengths():
    # an arc of 80 degrees between two straight ways, closed form: points each tenth of its turn
    angle = np.linspace(0, math.radians(80), 11)
    arc = 50 * np.stack([np.sin(angle), 1 - np.cos(angle)], axis=1)
    at = np.concatenate(
        [[[-30.0, 0]], arc, [arc[-1] + 40 * np.array([math.cos(angle[-1]), math.sin(angle[-1])])]]
    )
    line, places = along(at, np.zeros(13, bool), closed=False, tolerance=1e-3)

    assert places == pytest.approx([0, *(30 + 50 * angle), 30 + 50 * angle[-1] + 40], abs=1e-3)
    assert 3 <= len(line.bulge) <= 4
    assert line.bulge[[0, -1]].tolist() == [0, 0]
    assert turns(line)[0].max() < 1e-9


def test_two_arcs_at_a_blunt_angle_are_joined_by_a_short_one():
    # the middle beside a blunt corner of a wall: 3 mrad within two tenths of a millimetre
    angle = np.linspace(0, 0.5, 41)
    arc = 100 * np.stack([np.sin(angle), 1 - np.cos(angle)], axis=1)
    lean = 0.003
    turned = np.array([[math.cos(lean), -math.sin(lean)], [math.sin(lean), math.cos(lean)]])
    mirrored = (arc[1:] * [-1, 1]) @ turned
    points = np.concatenate([mirrored[::-1], arc])
    line, _ = along(points, np.zeros(len(points), bool), closed=False, tolerance=0.0025)

    assert 3 <= len(line.bulge) <= 5
    assert turns(line)[0].max() < 1e-9
    assert distances([line], points).max() <= 0.0025


def test_corners_of_the_curve_stay():
    points = np.array([[0.0, 0], [50, 0], [100, 0], [100, 50], [100, 100]])
    line, places = along(points, np.array([False, False, True, False, False]), closed=False, tolerance=1e-3)

    assert line.points.tolist() == [[0, 0], [100, 0], [100, 100]]
    assert places == pytest.approx([0, 50, 100, 150, 200])


def test_a_crowd_of_points_beside_a_change_bends_nothing():
    # a straight line whose points were moved by the joining of ends, less than a micrometre of each other's place
    at = np.array([[0.0, 0], [50, 0], [50.0001, 1e-6], [50.0002, 0], [100, 0]])
    line, places = along(at, np.zeros(5, bool), closed=False, tolerance=1e-3)

    assert line.bulge.tolist() == [0.0]
    assert places == pytest.approx(at[:, 0], abs=1e-6)


def test_a_middle_has_corners_where_two_of_its_pieces_meet_at_an_angle():
    (line,) = middles(
        ArcRegion(
            loops=(path([[0, 0], [200, 0], [200, W], [W, W], [W, 100], [0, 100]], [0.0] * 6),),
            supports=np.zeros((0, 4)),
        ),
        least=4.0,
        most=5.46,
        step=4.0,
        tolerance=OFF,
    )
    side = W / (1 + 1 / math.sqrt(2))

    assert line.corner.sum() == 1
    assert line.at[line.corner][0] == pytest.approx([side, side], abs=1e-4)


def waves(length_mm):
    x = np.arange(0.0, length_mm, 2.0)
    return np.stack([x, 60 * np.sin(x / 150) + 7 * np.sin(x / 31)], axis=1)


@pytest.mark.parametrize("closed", [False, True])
def test_long_chains_are_the_same_as_if_their_equations_were_solved_whole(closed, monkeypatch):
    points = ellipse(3000, 400, 1500) if closed else waves(1200.0)
    corner, found = np.zeros(len(points), bool), []
    for most in (0, 10_000):
        monkeypatch.setattr(_along, "LONG", most)
        found.append(along(points, corner, closed=closed, tolerance=TOLERANCE)[0])

    assert found[0].points == pytest.approx(found[1].points, abs=1e-7)
    assert found[0].bulge == pytest.approx(found[1].bulge, abs=1e-9)


def test_time_grows_with_the_length_of_a_chain_and_not_with_its_cube():
    seconds, moves = [], []
    for size in (8_000.0, 32_000.0):
        points = waves(size)
        along(points[:2000], np.zeros(2000, bool), closed=False, tolerance=TOLERANCE)
        begin = time.process_time()
        laid, _ = along(points, np.zeros(len(points), bool), closed=False, tolerance=TOLERANCE)
        seconds.append(time.process_time() - begin)
        moves.append(len(laid.bulge))

    assert moves[1] == pytest.approx(4 * moves[0], rel=0.05)
    # four times as long: 4 where it is linear, 16 where it is quadratic; the cube took 64
    assert seconds[1] < 10 * seconds[0]
