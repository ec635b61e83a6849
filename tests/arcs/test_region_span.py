"""The span primitives against 60-digit arithmetic, from radii of 1e-7 to 1e13."""

import mpmath
import numba
import numpy as np
import pytest

from beadwright.arcs._kernels import span

mpmath.mp.dps = 60


@numba.njit(error_model="numpy")  # not kept: what it calls may change
def apart(a, b):
    # Helpers have no entry from Python once they call each other.
    return span.apart(a, 0, b, 0)


def make(x, y, angle, k, length):
    """A span from a place, direction, curvature and length; its end by exact arithmetic."""
    t, h = mpmath.mpf(angle), mpmath.mpf(k) * mpmath.mpf(length) / 2
    chord = mpmath.mpf(length) * (mpmath.sin(h) / h if h else 1)
    end = (x + chord * mpmath.cos(t + h), y + chord * mpmath.sin(t + h))
    rows = np.empty((1, span.COLUMNS))
    rows[0] = [
        x, y, float(end[0]), float(end[1]), float(mpmath.cos(t)), float(mpmath.sin(t)), k, k * length,
        float(mpmath.cos(t + 2 * h)), float(mpmath.sin(t + 2 * h)),
    ]  # fmt: skip
    return rows


def exact_gap(row, x, y):
    """Signed distance from the circle through centre and radius, in 60 digits."""
    x0, y0, tx, ty, k = (mpmath.mpf(float(row[c])) for c in (0, 1, 4, 5, 6))
    size = mpmath.hypot(tx, ty)
    tx, ty = tx / size, ty / size
    if k == 0:
        return (y - y0) * tx - (x - x0) * ty
    cx, cy = x0 - ty / k, y0 + tx / k
    return (1 - abs(k) * mpmath.hypot(x - cx, y - cy)) / k


CURVATURES = [0.0, 1e-13, -1e-11, 1e-6, -0.01, 0.5, -1e3, 1e7]


@pytest.mark.parametrize("k", CURVATURES)
def test_gap_and_place(k):
    rng = np.random.default_rng(1)
    for _ in range(40):
        size = min(50.0, 1.4 / abs(k)) if k else 50.0
        rows = make(rng.uniform(-1, 1), rng.uniform(-1, 1), rng.uniform(0, 6), k, size * rng.uniform(0.1, 1))
        t = rng.uniform(0, 1)
        px, py = span.place.py_func(rows, 0, t)
        # A place of a span lies on its circle, at its parameter.
        assert abs(exact_gap(rows[0], px, py)) < 1e-15 * (2 + size)
        assert span.locate.py_func(rows, 0, px, py) == pytest.approx(t, abs=1e-8)
        d = size * rng.uniform(-0.6, 0.6)
        x, y = px + d * rng.normal(), py + d * rng.normal()
        assert span.gap.py_func(rows, 0, x, y) == pytest.approx(
            float(exact_gap(rows[0], x, y)), abs=1e-13 * size
        )


def test_the_gap_at_the_centre_is_the_radius():
    rows = make(3.0, 4.0, 0.0, 0.1, 5.0)
    assert span.gap.py_func(rows, 0, 3.0, 14.0) == pytest.approx(10.0, abs=1e-14)


@pytest.mark.parametrize("first", CURVATURES)
@pytest.mark.parametrize("second", CURVATURES)
def test_roots_lie_on_both_circles(first, second):
    rng = np.random.default_rng(2)
    out = np.empty(4)
    met = 0
    for _ in range(30):
        size = min(10.0, *(1.4 / abs(k) for k in (first, second) if k), 10.0)
        a = make(0.0, 0.0, rng.uniform(0, 6), first, size)
        through = span.place.py_func(a, 0, 0.5)
        b = make(*through, rng.uniform(0, 6), second, size)
        s = np.vstack([a, b])
        sine = np.sqrt(max(0.0, 1 - span.cosine.py_func(s, 0, 1) ** 2))
        many = span.roots.py_func(s, 0, 1, 0.0, out)
        if sine < 1e-3:
            continue
        met += 1
        near = [p for p in out[: 2 * many].reshape(-1, 2) if np.hypot(*(p - through)) < size]
        assert near, "the place through which both were laid"
        for x, y in near:
            for row in s:
                assert abs(exact_gap(row, x, y)) < 1e-13 * size / sine
    assert met > 10


def test_concentric_circles_have_no_roots():
    a, b = make(0.0, 0.0, 0.0, 0.1, 5.0), make(0.0, -5.0, 0.0, 1 / 15, 5.0)
    assert span.roots.py_func(np.vstack([a, b]), 0, 1, 0.0, np.empty(4)) == 0


@pytest.mark.parametrize("scale", [1e-6, 1.0, 1e4])
def test_least_distance_against_dense_samples(scale):
    rng = np.random.default_rng(3)
    t = np.linspace(0, 1, 401)
    for _ in range(60):
        rows = []
        for _ in range(2):
            k = rng.choice([0.0, rng.uniform(-1.5, 1.5)]) / scale
            rows.append(
                make(*(scale * rng.uniform(-2, 2, 2)), rng.uniform(0, 6), k, scale * rng.uniform(0.2, 1))
            )
        a, b = rows
        p, q = ([span.place.py_func(r, 0, u) for u in t] for r in rows)
        sampled = np.hypot(*(np.array(p)[:, None] - np.array(q)).transpose(2, 0, 1)).min()
        if sampled < 0.02 * scale:
            continue
        least = apart(a, b)
        # Samples scale / 400 apart can only be too far, by less than half a step a span.
        assert sampled - 0.0026 * scale <= least <= sampled + 1e-12 * scale
