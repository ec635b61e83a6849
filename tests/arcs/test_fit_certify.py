"""The certificate of the fit, against exact arithmetic, sampled curves and planted errors."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.arcs import certify, fit
from beadwright.curves import ArcPath
from tests.arcs import _fit_oracles as oracles
from tests.arcs._build_loops import bezier_from_bspline, build, ellipse, homogeneous, spline


def random_loops(seed: int, degree: int, count: int, size: float, is_rational: bool):
    rng = np.random.default_rng(seed)
    spans = count - degree
    t = np.concatenate([np.zeros(degree), np.arange(spans + 1), np.full(degree, spans)]).astype(float)
    way = np.cumsum(rng.normal(size=(count, 2)) * size + (size, 0), axis=0)
    pieces = bezier_from_bspline(t, way, degree)
    if is_rational:
        pieces = [
            p * np.exp(np.append(np.insert(rng.normal(size=len(p) - 2), 0, 0), 0))[:, None] for p in pieces
        ]
    return build([([spline(pieces)], False)])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10**6),
    degree=st.integers(2, 6),
    more=st.integers(1, 6),
    size=st.floats(0.1, 300),
    is_rational=st.booleans(),
    tolerance=st.sampled_from([1.0, 0.05, 0.01, 0.0005]),
)
def test_no_sample_lies_beyond_the_bound(seed, degree, more, size, is_rational, tolerance):
    loops = random_loops(seed, degree, degree + more, size, is_rational)
    fitted = fit(loops, tolerance=tolerance)

    assert fitted.bound.mm <= tolerance
    assert oracles.sampled_deviation(loops, fitted) <= fitted.bound.mm + 1e-9


def test_sampled_frechet_distance_is_below_the_bound():
    loops = random_loops(3, 3, 7, 40.0, False)
    fitted = fit(loops, tolerance=0.5)

    for span, (p0, p1, bulge) in zip(fitted.span, oracles.moves_of(fitted), strict=True):
        curve = oracles.curve_of_move(loops, span, 160)
        arc = oracles.arc_points(p0, p1, bulge, np.linspace(0, 1, 160))
        step = max(np.hypot(*np.diff(curve, axis=0).T).max(), np.hypot(*np.diff(arc, axis=0).T).max())
        # The discrete distance exceeds the true one by at most a step.
        assert oracles.frechet(curve, arc) <= fitted.bound.mm + step


def test_bound_holds_in_exact_arithmetic():
    """(R - e)^2 <= |X - c|^2 <= (R + e)^2 with fractions; R^2 is rational, so compare after squaring."""
    loops = random_loops(11, 3, 5, 30.0, True)
    fitted = fit(loops, tolerance=0.01)
    e = Fraction(fitted.bound.mm)

    for span, (p0, p1, bulge) in zip(fitted.span, oracles.moves_of(fitted), strict=True):
        if bulge == 0.0 or span[0] != span[2]:
            continue
        q = int(span[0])
        rows = loops.control[loops.first_control[q] : loops.first_control[q + 1]]
        for k in range(5):
            t = Fraction(span[1]) + (Fraction(span[3]) - Fraction(span[1])) * k / 4
            square, radius2, _ = oracles.exact_radial_gap(rows, t, p0, p1, bulge)
            # |d - R| <= e, with d^2 and R^2 known: (d^2 + R^2 - e^2)^2 <= 4 d^2 R^2.
            middle = square + radius2 - e * e
            assert middle <= 0 or middle * middle <= 4 * square * radius2


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_a_planted_error_is_seen_when_it_is_above_the_bound(share):
    """A straight curve and a path moved sideways from it: the distance is known exactly."""
    bound = 0.01
    loops = build([([spline([np.array([[0, 0, 1], [50, 0, 1], [100, 0, 1.0]])])], False)])
    fitted = fit(loops, tolerance=bound)
    (path,) = fitted.paths
    moved = ArcPath(
        points=path.points + np.array([0.0, share * bound]),
        bulge=path.bulge,
        face=path.face,
        support=path.support,
        closed=False,
    )

    measured = certify(loops, replace(fitted, paths=(moved,))).mm

    assert measured == pytest.approx(share * bound, rel=1e-6)
    assert (measured > bound) == (share > 1)


def test_a_moved_node_of_an_ellipse_is_reported():
    loops = build([([ellipse(250.0, 100.0)], True)])
    fitted = fit(loops, tolerance=0.01)
    (path,) = fitted.paths
    points = path.points.copy()
    # The node itself is off by at least 1.5 bounds less what it may have been off before.
    points[5] += 2.5 * fitted.bound.mm

    moved = replace(fitted, paths=(replace(path, points=points),))

    assert certify(loops, fitted).mm <= fitted.bound.mm * 1.02
    assert certify(loops, moved).mm >= 1.5 * fitted.bound.mm


def test_an_arc_of_more_than_half_a_turn_has_no_bound():
    """Its ends may be the curve's and its circle near it, while it goes round where the curve stays."""
    loops = build([([spline([homogeneous(np.array([[0.0, 0.0], [1e-3, 0.0]]))])], False)])
    fitted = fit(loops, tolerance=0.01)
    (path,) = fitted.paths
    round_it = replace(fitted, paths=(replace(path, bulge=np.array([-4545.0])),))

    assert certify(loops, fitted).mm < 1e-9
    # radius c (1 + b^2) / (4 |b|): the arc's far side is 2.27 mm away, its ends where they were
    assert certify(loops, round_it).mm == np.inf


def test_a_part_left_out_is_no_bound():
    loops = build([([ellipse(40.0, 30.0)], True)])
    fitted = fit(loops, tolerance=0.01)
    span = fitted.span.copy()
    span[-1, 3] = 0.9

    assert certify(loops, replace(fitted, span=span)).mm == np.inf
