"""Cutting a closed path at a start point keeps the curve; sites lie on it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.beads._start import cut_bound, sites, started_at
from beadwright.curves import ArcPath, length, points_at, reversed_path, signed_area

MIXED = ArcPath(
    points=np.array([[0.0, 0], [100, 0], [100, 60], [40, 60]]),
    bulge=np.array([0.0, 0.5, -0.25, 0.1]),
    face=np.array([3, 4, 5, 6], np.int32),
    support=np.array([10, 11, 12, 13], np.int32),
)


def circle_of(p0, p1, bulge):
    """Centre and radius of an arc from its chord and bulge: r = L (1 + b^2) / (4 b)."""
    p0, p1 = complex(*p0), complex(*p1)
    centre = (p0 + p1) / 2 + 1j * (p1 - p0) * (1 - bulge**2) / (4 * bulge)
    return centre, abs(p0 - centre)


@settings(deadline=None)
@given(st.integers(0, 3), st.floats(0.0, 0.99))
def test_a_cut_path_keeps_its_lines_and_circles(move, share):
    cut = started_at(MIXED, move, share)
    n = len(cut.bulge)

    assert n == 4 + (share > 0)
    assert length(cut) == pytest.approx(length(MIXED), rel=1e-13)
    assert signed_area(cut) == pytest.approx(signed_area(MIXED), rel=1e-12)
    for i in range(n):
        own = int(cut.support[i]) - 10
        assert cut.face[i] == MIXED.face[own]
        b = MIXED.bulge[own]
        if b == 0:
            assert cut.bulge[i] == 0
            continue
        if np.hypot(*(cut.points[(i + 1) % n] - cut.points[i])) < 1e-3:
            continue  # the circle of so short an arc is made of rounding
        centre, radius = circle_of(MIXED.points[own], MIXED.points[(own + 1) % 4], b)
        for p in (cut.points[i], cut.points[(i + 1) % n]):
            assert abs(abs(complex(*p) - centre) - radius) <= 4 * cut_bound(MIXED)


def test_a_cut_at_a_joint_only_turns_the_tables():
    assert started_at(MIXED, 0, 0.0) is MIXED
    turned = started_at(MIXED, 2, 0.0)

    assert turned.points.tolist() == [[100, 60], [40, 60], [0, 0], [100, 0]]
    assert turned.support.tolist() == [12, 13, 10, 11]


def test_points_of_a_quarter_circle():
    quarter = ArcPath(
        points=np.array([[10.0, 0], [0, 10]]),
        bulge=np.array([math.tan(math.pi / 8)]),
        face=np.zeros(1, np.int32),
        support=np.zeros(1, np.int32),
        closed=False,
    )
    t = np.linspace(0, 1, 7)
    got = points_at(quarter, np.zeros(7, np.int64), t)

    assert got == pytest.approx(10 * np.c_[np.cos(t * np.pi / 2), np.sin(t * np.pi / 2)], abs=1e-14)


def test_reversing_twice_is_nothing_and_once_turns_the_area():
    back = reversed_path(MIXED)

    assert signed_area(back) == pytest.approx(-signed_area(MIXED), rel=1e-14)
    again = reversed_path(back)
    assert (again.points == MIXED.points).all()
    assert (again.bulge == MIXED.bulge).all()
    assert (again.support == MIXED.support).all()


def test_an_inside_corner_is_known():
    # the contour bead 5 mm inside an L of 200 and 100: its reflex corner (100, 100) is rounded with r 5
    corner = ArcPath(
        points=np.array([[5.0, 5], [195, 5], [195, 95], [100, 95], [95, 100], [95, 195], [5, 195]]),
        bulge=np.array([0, 0, 0, -math.tan(math.pi / 8), 0, 0, 0.0]),
        face=np.zeros(7, np.int32),
        support=np.zeros(7, np.int32),
    )
    found = sites(corner, offset=5.0, spacing=10.0)
    spots = found.at[found.inside]

    middle = 100 - 5 * math.sqrt(0.5)
    assert spots == pytest.approx(np.array([[middle, middle]]), abs=1e-12)


def test_sites_are_never_farther_apart_than_asked():
    found = sites(MIXED, offset=4.2, spacing=12.0)
    gaps = np.hypot(*(np.roll(found.at, -1, axis=0) - found.at).T)

    assert gaps.max() <= 12.0


@pytest.mark.parametrize("bulge", [1.0, -1.0, 1.0 - 2.0**-50])
def test_o12_a_circle_is_two_half_turns_from_wherever_it_starts(bulge):
    ring = ArcPath(
        points=np.array([[1300.0, -40], [-700.0, -40]]),
        bulge=np.array([bulge, bulge]),
        face=np.array([7, 7], np.int32),
        support=np.array([2, 2], np.int32),
    )
    for move, share in ((0, 0.31), (1, 0.5), (0, 1e-9)):
        cut = started_at(ring, move, share)

        assert cut.points[0] == pytest.approx(points_at(ring, np.array([move]), np.array([share]))[0], abs=0)
        assert cut.bulge.tolist() == [np.sign(bulge)] * 2
        assert (cut.face.tolist(), cut.support.tolist()) == ([7, 7], [2, 2])
        # The circle about the cut and the place opposite is the one about (300, -40).
        assert np.hypot(*(cut.points - (300, -40)).T) == pytest.approx([1000] * 2, abs=cut_bound(ring))
        assert cut.points.mean(axis=0) == pytest.approx((300, -40), abs=cut_bound(ring))


@pytest.mark.parametrize("column", ["face", "support"])
def test_halves_of_two_faces_stay_apart(column):
    ring = ArcPath(
        points=np.array([[50.0, 0], [-50.0, 0]]),
        bulge=np.ones(2),
        face=np.array([7, 8 if column == "face" else 7], np.int32),
        support=np.array([2, 3 if column == "support" else 2], np.int32),
    )
    cut = started_at(ring, 1, 0.25)

    assert cut.face.tolist() == ring.face[[1, 0, 1]].tolist()
    assert cut.support.tolist() == ring.support[[1, 0, 1]].tolist()
