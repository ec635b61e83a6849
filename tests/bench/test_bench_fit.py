"""Time an arc, certificate included, and the number of arcs beside the best arc spline's."""

from __future__ import annotations

import time

import pytest

from beadwright.arcs import fit
from tests.arcs._build_loops import build, ellipse

# Integral (|kappa'| / (72 sqrt 3 eps))^(1/3) ds of the ellipse of semi-axes 250 x 100.
ASYMPTOTIC = {0.1: 16.4, 0.01: 35.4, 0.001: 76.3}


@pytest.mark.bench
def test_time_and_count_of_ellipses():
    loops = build([([ellipse(250.0, 100.0)], True)] * 50)
    fit(loops, tolerance=0.01)
    for tolerance, best in ASYMPTOTIC.items():
        start = time.process_time()
        fitted = fit(loops, tolerance=tolerance)
        spent = time.process_time() - start
        n = len(fitted.curve)
        each = spent / n * 1e6
        print(f"{tolerance:7} mm {n / 50:6.1f} arcs {n / 50 / best:5.2f} of best {each:6.1f} us an arc")
        assert n / 50 <= max(1.15 * best, best + 2)
