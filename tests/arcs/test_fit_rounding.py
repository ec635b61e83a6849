"""What the certificate says of rounding alone, in exact fractions, and of circles whose ends are off them."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from beadwright.arcs import fit
from beadwright.curves import CurveKind
from tests.arcs import _fit_oracles as oracles
from tests.arcs._build_loops import build, quarter_ellipse, spline


@pytest.mark.parametrize("seed", range(8))
def test_the_bound_of_a_circle_given_as_a_spline_is_rounding_and_holds(seed: int) -> None:
    """Nothing but rounding lies between curve and arcs, so no slack hides a constant that is too small.

    With d the distance of a place from the centre and R the radius of a move, |d - R| <= e is
    (d^2 + R^2 - e^2)^2 <= 4 d^2 R^2, in fractions of the doubles themselves.
    """
    rng = np.random.default_rng(seed)
    radius, place = 10.0 ** rng.uniform(0, 3), rng.normal(size=2) * 10.0 ** rng.uniform(0, 4)
    loops = build([([spline([quarter_ellipse(radius, radius, q, place) for q in range(4)])], True)])
    fitted = fit(loops, tolerance=1e-6)
    e = Fraction(fitted.bound.mm)

    assert fitted.bound.mm <= 1e-12 * (radius + np.abs(place).max()) + 1e-12
    for span, (p0, p1, bulge) in zip(fitted.span, oracles.moves_of(fitted), strict=True):
        for q in range(int(span[0]), int(span[2]) + 1):
            rows = loops.control[loops.first_control[q] : loops.first_control[q + 1]]
            low = Fraction(span[1]) if q == span[0] else Fraction(0)
            high = Fraction(span[3]) if q == span[2] else Fraction(1)
            for i in range(9):
                at = low + (high - low) * i / 8
                square, radius2, _ = oracles.exact_radial_gap(rows, at, p0, p1, bulge)
                middle = square + radius2 - e * e
                assert middle * middle <= 4 * square * radius2


@pytest.mark.parametrize("off", [1e-3, 1e-6])
def test_a_circle_whose_ends_are_off_it_is_followed_within_its_bound(off: float) -> None:
    """Places at equal shares of the sweep of the CAD's arc and of the moves: a correspondence, so no less."""
    rng = np.random.default_rng(7)
    share = np.linspace(0.0, 1.0, 101)
    worst = 0.0
    for _ in range(200):
        radius, sweep = 10.0 ** rng.uniform(-1, 3), rng.uniform(0.05, 1.57) * rng.choice([-1, 1])
        start = rng.uniform(-3, 3)
        arc = radius * np.exp(1j * (start + sweep * share))
        turned = off * np.exp(2j * np.pi * rng.uniform(size=2))
        ends = (arc[0] + turned[0], arc[-1] + turned[1])
        circle = {
            "kind": CurveKind.CIRCLE,
            "circle": (0.0, 0.0, radius, sweep),
            "ends": (ends[0].real, ends[0].imag, ends[1].real, ends[1].imag),
        }
        fitted = fit(build([([circle], False)]), tolerance=1.0)
        p0, p1, bulge = oracles.moves_of(fitted)[0]
        points = oracles.arc_points(p0, p1, bulge, share) @ np.array([1, 1j])
        # The curve begins at the angle of its first end.
        told = radius * np.exp(1j * (np.angle(ends[0]) + sweep * share))
        away = float(np.abs(points - told).max())

        assert len(fitted.curve) == 1
        assert away <= fitted.bound.mm + 1e-12 * radius
        worst = max(worst, away / off)

    # Not proven for nothing: more than the ends' own error is met.
    assert worst >= 1.0
