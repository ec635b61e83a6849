"""Fit: moves off by 1.5 times the bound are reported by `certify`, by 0.5 times they pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from beadwright.arcs import certify, fit
from tests.arcs._build_loops import build, ellipse


@pytest.mark.parametrize("tolerance", [0.1, 0.01, 0.001])
@pytest.mark.parametrize("share", [0.5, 1.5])
def test_an_ellipse_fitted_much_finer_and_moved(tolerance: float, share: float) -> None:
    """Fitted a hundred times finer than told, so that all but a hundredth of the error is the planted one."""
    loops = build([([ellipse(250.0, 100.0)], True)])
    fitted = fit(loops, tolerance=tolerance / 100.0)
    (path,) = fitted.paths
    moved = replace(path, points=path.points + np.array([share * tolerance, 0.0]))

    measured = certify(loops, replace(fitted, paths=(moved,))).mm

    # Where the ellipse runs square to the shift it is off by all of it.
    assert measured >= 0.99 * share * tolerance
    assert (measured > tolerance) is (share > 1.0)


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_one_arc_of_another_bulge(share: float) -> None:
    """Raising an arc of chord c from bulge b to b' moves its middle by c (b' - b) / 2."""
    tolerance = 0.01
    loops = build([([ellipse(250.0, 100.0)], True)])
    fitted = fit(loops, tolerance=tolerance / 100.0)
    (path,) = fitted.paths
    chord = float(np.hypot(*(path.points[8] - path.points[7])))
    bulge = path.bulge.copy()
    bulge[7] += 2.0 * share * tolerance / chord

    measured = certify(loops, replace(fitted, paths=(replace(path, bulge=bulge),))).mm

    assert (measured > tolerance) is (share > 1.0)
