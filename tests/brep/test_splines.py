"""Spline evaluation against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline, NdBSpline

from beadwright import brep
from beadwright.brep._bezier import extraction, halves

KNOTS = np.array([0, 0, 0, 0, 0.5, 0.5, 1.25, 2, 2, 2, 2], dtype=float)


def curve(seed: int, rational: bool) -> brep.Spline3:
    rng = np.random.default_rng(seed)
    weights = rng.uniform(0.5, 2.0, 7) if rational else np.ones(7)
    return brep.Spline3(degree=3, knots=KNOTS, poles=rng.uniform(-5, 5, (7, 3)), weights=weights)


@pytest.mark.parametrize("rational", [False, True])
def test_curve_against_scipy(rational: bool) -> None:
    c = curve(1, rational)
    t = np.linspace(0, 2, 101)
    wide = np.concatenate((c.poles * c.weights[:, None], c.weights[:, None]), axis=1)
    d = [BSpline(KNOTS, wide, 3).derivative(k)(t) if k else BSpline(KNOTS, wide, 3)(t) for k in range(3)]
    p = d[0][:, :3] / d[0][:, 3:]
    p1 = (d[1][:, :3] - d[1][:, 3:] * p) / d[0][:, 3:]
    p2 = (d[2][:, :3] - 2 * d[1][:, 3:] * p1 - d[2][:, 3:] * p) / d[0][:, 3:]
    ours = brep.curve_derivatives(c, t, 2)
    inside = ~np.isin(t, [0.5, 1.25])  # the second derivative jumps at the knots

    assert np.abs(ours[0] - p).max() < 1e-12
    assert np.abs(ours[1] - p1)[inside].max() < 1e-11
    assert np.abs(ours[2] - p2)[inside].max() < 1e-10


def test_surface_against_scipy() -> None:
    rng = np.random.default_rng(2)
    kv = np.array([0, 0, 0, 1, 3, 3, 3], dtype=float)
    poles = rng.uniform(-5, 5, (7, 4, 3))
    weights = np.ones((7, 4))
    s = brep.SplineSurface(degree=(3, 2), knots_u=KNOTS, knots_v=kv, poles=poles, weights=weights)
    uv = rng.uniform((0, 0), (2, 3), (200, 2))
    theirs = NdBSpline((KNOTS, kv), poles, (3, 2))
    ours = brep.surface_derivatives(s, uv, 2)

    for key, value in ours.items():
        assert np.abs(value - theirs(uv, nu=key)).max() < 1e-9 * (1 + np.abs(value).max())


def test_degree_twenty_five() -> None:
    # 25 occurs in real files; the Bernstein form of t is (t, ...): poles at their Greville points.
    n = 25
    knots = np.repeat([0.0, 1.0], n + 1)
    poles = np.stack((np.arange(n + 1) / n, np.zeros(n + 1), np.ones(n + 1)), axis=1)
    c = brep.Spline3(degree=n, knots=knots, poles=poles, weights=np.ones(n + 1))
    t = np.linspace(0, 1, 33)
    p, d = brep.curve_derivatives(c, t, 1)

    assert np.abs(p[:, 0] - t).max() < 1e-14
    assert np.abs(d - [1, 0, 0]).max() < 1e-12


def test_extraction_gives_the_same_curve_on_every_span() -> None:
    c = curve(3, False)
    spans, first, matrix = extraction(c.knots, 3)
    assert [tuple(s) for s in spans] == [(0.0, 0.5), (0.5, 1.25), (1.25, 2.0)]
    for (a, b), row, m in zip(spans, first, matrix, strict=True):
        piece = m @ c.poles[row : row + 4]
        t = np.linspace(0, 1, 11)[:, None]
        bernstein = np.concatenate(((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3), axis=1)
        assert np.abs(bernstein @ piece - brep.curve_points(c, a + (b - a) * t[:, 0])).max() < 1e-13
        assert m.min() >= 0.0
        assert np.abs(m.sum(axis=1) - 1.0).max() < 1e-15


def test_halves_meet_at_the_middle() -> None:
    piece = np.array([[0.0, 4.0, -2.0, 8.0]])
    left, right = halves(piece, 1)

    # Bernstein form of degree 3 at 1/2: (b0 + 3 b1 + 3 b2 + b3) / 8.
    assert left[0, -1] == right[0, 0] == (0 + 12 - 6 + 8) / 8
    assert (left[0, 0], right[0, -1]) == (0.0, 8.0)
