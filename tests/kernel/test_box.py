"""The kernel's own height of a part, against support functions in closed form."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from beadwright import kernel


def test_a_tilted_torus_is_as_high_as_its_support_function():
    # support of a torus along a unit vector d: R sqrt(dx2 + dy2) + r
    model = kernel.from_shape(cq.Solid.makeTorus(40, 10))
    d = np.array([0.48, 0.6, 0.64])
    matrix = np.vstack([np.zeros((2, 4)), [*(2 * d), 7.0]])
    low, high = kernel.height_range(model, matrix)
    half = 2 * (40 * math.hypot(*d[:2]) + 10)
    assert (low, high) == pytest.approx((7 - half, 7 + half), abs=2e-6)


def test_a_cylinder_leaning_in_a_stretched_placement():
    # along d the disc of radius r reaches r sqrt(dx2 + dy2) and the axis h dz; a factor in z scales both
    model = kernel.from_shape(cq.Workplane().circle(5).extrude(30))
    c, s = math.cos(0.3), math.sin(0.3)
    matrix = np.array([[c, 0, s, 1.0], [0, 1, 0, 2.0], [-1.02 * s, 0, 1.02 * c, 3.0]])
    low, high = kernel.height_range(model, matrix)
    assert low == pytest.approx(3 - 1.02 * 5 * s, abs=1e-6)
    assert high == pytest.approx(3 + 1.02 * (5 * s + 30 * c), abs=1e-6)
