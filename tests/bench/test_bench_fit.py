"""Time an arc, certificate included, and the number of arcs beside the best arc spline's."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from beadwright.arcs import fit
from beadwright.brep import placed, placement
from beadwright.curves import CurveKind
from beadwright.kernel import read_step
from beadwright.pipeline._traced import TRACED
from beadwright.section import cut, prepare, take_plane
from tests.arcs._build_loops import build, ellipse

HULL = Path(__file__).parents[2] / "step_examples" / "tender_hull.step"

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
        assert each <= 20.0


@pytest.mark.bench
@pytest.mark.parametrize("tolerance", [0.1, 0.01, 0.001])
def test_time_of_free_form_level_curves_with_tracing(tolerance: float):
    """Sections of the example hull, cut and fitted; time over the arcs that free-form curves became: at most 50 us."""
    model = read_step(HULL)
    model = placed(model, placement(model))
    cutter = prepare(model)
    low, high = cutter.z_range
    heights = [take_plane(cutter, z, "below").taken for z in np.linspace(low, high, 42)[1:-1]]
    [fit(section.loops, tolerance=tolerance) for section in cut(cutter, heights[:2])]
    traced = spent = np.inf
    for _ in range(3):
        start = time.process_time()
        # as closely as a plan has level curves traced
        sections = cut(cutter, heights, traced=TRACED * tolerance)
        traced = min(traced, time.process_time() - start)
        start = time.process_time()
        fits = [fit(section.loops, tolerance=tolerance) for section in sections]
        spent = min(spent, time.process_time() - start)
    free = sum(
        int(f.moves.sum() - f.moves[[CurveKind.LINE, CurveKind.CIRCLE, CurveKind.CONNECTOR]].sum())
        for f in fits
    )
    each = (traced + spent) / free * 1e6
    print(f"{tolerance:7} mm {free:6} arcs {each:6.1f} us an arc, {spent / free * 1e6:6.1f} of them the fit")
    assert each <= 50.0
