"""Area under a hyperbola close to its asymptotes: its pieces have weights of very different size."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from beadwright.curves import CurveKind, CurveLoops, chain_measures


def under_hyperbola(a: float, b: float) -> CurveLoops:
    """x y = 1 from x = a to x = b as one exact rational quadratic, closed by the axes' parallels."""
    # End tangents of x y = 1 meet in (2 a b, 2) / (a + b); the middle weight of end weights 1 / b, 1 / a is
    # their mean, from x w being linear along the curve.
    corner = (2 * a * b / (a + b), 2 / (a + b))
    weights = np.array([1 / b, (a + b) / (2 * a * b), 1 / a])
    places = np.array([(a, 1 / a), corner, (b, 1 / b)])
    control = np.column_stack((places * weights[:, None], weights))
    corners = [(b, 1 / b), (b, 0.0), (a, 0.0), (a, 1 / a)]
    lines = [(*p, *q) for p, q in itertools.pairwise(corners)]
    return CurveLoops(
        kind=np.array([CurveKind.HYPERBOLA, *[CurveKind.LINE] * 3], np.int8),
        face=np.zeros(4, np.int32),
        ends=np.array([(a, 1 / a, b, 1 / b), *lines]),
        circle=np.zeros((4, 4)),
        first_piece=np.array([0, 1, 1, 1, 1], np.int32),
        degree=np.array([2], np.int32),
        first_control=np.array([0, 3], np.int32),
        control=control,
        bound=np.zeros(4),
        first_curve=np.array([0, 4], np.int32),
        closed=np.array([True]),
    )


@pytest.mark.parametrize(("a", "b"), [(0.5, 2.0), (1e-2, 1.0), (1e-4, 1.0), (1e-3, 1e3)])
def test_area_is_the_logarithm(a: float, b: float) -> None:
    """The integral of 1 / x from a to b is ln(b / a) (any table of integrals)."""
    loops = under_hyperbola(a, b)

    t = np.linspace(0, 1, 9)[:, None]
    curve = (1 - t) ** 2 * loops.control[0] + 2 * t * (1 - t) * loops.control[1] + t**2 * loops.control[2]
    xy = curve[:, :2] / curve[:, 2:]
    assert np.abs(xy[:, 0] * xy[:, 1] - 1).max() <= 1e-12  # the piece is the hyperbola

    area, _ = chain_measures(loops)

    # It runs clockwise around; the box about it, b / a, is what rounding scales with.
    assert abs(-float(area[0]) - math.log(b / a)) <= 1e-12 * (math.log(b / a) + b / a)
