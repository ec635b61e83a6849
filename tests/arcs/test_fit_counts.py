"""Hundreds of random curves, none with more arcs than the best arc spline's and what a few leave uneven."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest
from scipy.special import fresnel

from beadwright.arcs import certify, fit
from tests.arcs import _fit_oracles as oracles
from tests.arcs._build_loops import build, quarter_ellipse, quintics, spline, turned_ellipse

TOLERANCES = [0.1, 0.01, 0.001]
# N of the best arc spline is this, over the cube root of the tolerance, times the integral of |kappa'|^(1/3) ds:
# D. S. Meek and D. J. Walton, Journal of Computational and Applied Mathematics 59 (1995) 221-231.
PER_ROOT = (72 * sqrt(3)) ** (-1 / 3)


def over(counts: np.ndarray, best: np.ndarray, floor: float = 0.0) -> list[tuple[int, int, float]]:
    """Which curves take more than max(1.15 n, n + 2) arcs, how many, and n."""
    most = np.maximum(np.maximum(1.15 * best, best + 2), floor)
    return [(int(i), int(counts[i]), float(best[i])) for i in np.flatnonzero(counts > most)]


@pytest.mark.parametrize("tolerance", TOLERANCES)
def test_three_hundred_closed_ellipses(tolerance):
    """In any pose, begun anywhere, either way, hardly out of round to ten times as long as wide.

    A closed chain of tangent arcs that is no circle has at least four, by the four-vertex theorem (S. B. Jackson,
    Bulletin of the American Mathematical Society 50 (1944) 564-578).
    """
    rng = np.random.default_rng(2026)
    shapes, chains = [], []
    for _ in range(300):
        b, ratio = 10 ** rng.uniform(1, 3), 1 + 10 ** rng.uniform(-2.5, 1)
        pose = {
            "turn": rng.uniform(0, 2 * pi),
            "start": rng.uniform(0, 2 * pi),
            "centre": rng.uniform(-500, 500, 2),
        }
        way = {"count": int(rng.integers(3, 6)), "way": int(rng.choice([-1, 1]))}
        shapes.append((ratio * b, b))
        chains.append(([turned_ellipse(ratio * b, b, **pose, **way)], True))
    loops = build(chains)
    fitted = fit(loops, tolerance=tolerance)
    best = [4 * oracles.best_count_of_pieces([quarter_ellipse(a, b, 0)], tolerance) for a, b in shapes]

    assert over(np.bincount(fitted.curve), np.array(best), 4.0) == []
    assert fitted.kinks == 0
    assert oracles.sampled_deviation(loops, fitted, 17) <= fitted.bound.mm <= tolerance
    # What begins elsewhere is still all of the curve.
    assert certify(loops, fitted).mm <= 1.02 * fitted.bound.mm


@pytest.mark.parametrize("tolerance", TOLERANCES)
def test_a_hundred_clothoids(tolerance):
    """kappa = s / scale^2, by Fresnel's integrals; kappa' is constant, so its integral is a product."""
    rng = np.random.default_rng(3)
    chains, best = [], []
    for _ in range(100):
        scale = 10 ** rng.uniform(1.5, 2.5)
        low, high = np.sort(rng.uniform(-3, 3, 2)) * scale
        unit = scale * sqrt(pi)

        def point(s, unit=unit):
            sine, cosine = fresnel(s / unit)
            return unit * complex(cosine, sine)

        def first(s, scale=scale):
            return np.exp(0.5j * (s / scale) ** 2)

        def second(s, scale=scale):
            return 1j * s / scale**2 * np.exp(0.5j * (s / scale) ** 2)

        chains.append(([spline(quintics(point, first, second, np.linspace(low, high, 41)))], False))
        best.append(PER_ROOT * (high - low) * (scale**-2 / tolerance) ** (1 / 3))
    fitted = fit(build(chains), tolerance=tolerance)

    assert over(np.bincount(fitted.curve), np.array(best)) == []
    assert fitted.kinks == 0


def spirals(rng: np.random.Generator, tolerance: float) -> tuple[list[list[np.ndarray]], np.ndarray]:
    """Pieces of a hundred curves r = a exp(b u), and n of each.

    kappa = 1 / (r sqrt(1 + b^2)), |kappa'| = b / ((1 + b^2) r^2), dr = b / sqrt(1 + b^2) ds.
    """
    curves, best = [], []
    for _ in range(100):
        a, b, turn = 10 ** rng.uniform(1, 2), 10 ** rng.uniform(-1, -0.3), rng.uniform(pi / 2, 4 * pi)
        c = b + 1j

        def point(u, a=a, c=c):
            return a * np.exp(c * u)

        def first(u, a=a, c=c):
            return a * c * np.exp(c * u)

        def second(u, a=a, c=c):
            return a * c * c * np.exp(c * u)

        curves.append(quintics(point, first, second, np.linspace(0, turn, 41)))
        length = 3 * a ** (1 / 3) * (np.exp(b * turn / 3) - 1) * sqrt(1 + b * b) / b
        best.append(PER_ROOT * (b / (1 + b * b) / tolerance) ** (1 / 3) * length)
    return curves, np.array(best)


@pytest.mark.parametrize("tolerance", TOLERANCES)
def test_a_hundred_logarithmic_spirals(tolerance):
    curves, best = spirals(np.random.default_rng(4), tolerance)
    fitted = fit(build([([spline(pieces)], False) for pieces in curves]), tolerance=tolerance)

    assert over(np.bincount(fitted.curve), best) == []
    assert fitted.kinks == 0


@pytest.mark.parametrize("tolerance", TOLERANCES)
def test_a_hundred_logarithmic_spirals_cut_in_two(tolerance):
    """As where two faces join: the place is held there, which may cost an arc, and one tangent, which must not."""
    rng = np.random.default_rng(7)
    curves, best = spirals(rng, tolerance)
    cuts = rng.integers(4, 38, len(curves))
    chains = [
        ([spline(pieces[:cut]), spline(pieces[cut:])], False)
        for pieces, cut in zip(curves, cuts, strict=True)
    ]
    loops = build(chains)
    fitted = fit(loops, tolerance=tolerance)
    counts = np.diff(fitted.first_move)

    assert len(over(counts, best)) <= 2
    assert over(counts - 1, best) == []
    assert fitted.kinks == 0
    assert oracles.sampled_deviation(loops, fitted, 17) <= fitted.bound.mm <= tolerance
    assert max(np.abs(turns).max(initial=0.0) for turns in oracles.kinks(fitted)) <= 1e-9
