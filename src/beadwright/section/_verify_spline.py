"""How far carried curves stray from the section of a surface along a path on it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import cast

import numpy as np
import numpy.typing as npt
from numpy.polynomial import chebyshev as series

from beadwright.brep import SplineSurface, Surface, domain, project, surface_derivatives, surface_points
from beadwright.section._verify_nodes import Long, above, bernstein, chebyshev, least

Array = npt.NDArray[np.float64]

PATH = 5
"""Degree of the path (u(t), v(t)) on the surface that a part of a curve is compared with."""
SEEDS = 6
"""Seeds of the search for the nearest point, each way in each knot span."""
NEIGHBOURS = 8
"""Seeds tried for one point, at most."""
ARRIVED = 1e-6
"""A nearest point farther than this is sought from other seeds too, mm."""
TURN = 0.05
"""Part of the slope by which the normal may turn on the way from the path to the level curve."""


class Nearest:
    """Nearest points of a surface, from the nearest of a grid of seeds."""

    def __init__(self, surface: Surface, uv_box: Array) -> None:
        from scipy.spatial import cKDTree

        self.surface = surface
        grid = np.meshgrid(*(_seeds(surface, axis, uv_box[:, axis]) for axis in (0, 1)), indexing="ij")
        self.uv = np.stack(grid, axis=-1).reshape(-1, 2)
        self.tree = cKDTree(surface_points(surface, self.uv))

    def __call__(self, points: Array) -> Array:
        """Parameters (k, 2) of the points nearest to (k, 3)."""
        seeds = self.tree.query(points, k=NEIGHBOURS)[1]
        uv, distance = project(self.surface, points, self.uv[seeds[:, 0]], rounds=30)
        self._across_seams(points, uv, distance)
        # A search that ran into a fold begins at other seeds.
        for k in range(1, NEIGHBOURS):
            far = np.flatnonzero(distance > ARRIVED)
            if len(far) == 0:
                break
            other, gap = project(self.surface, points[far], self.uv[seeds[far, k]], rounds=30)
            nearer = gap < distance[far]
            uv[far[nearer]], distance[far[nearer]] = other[nearer], gap[nearer]
        return uv

    def _across_seams(self, points: Array, uv: Array, distance: Array) -> None:
        """Go on from the opposite side where a search ran against the edge of the domain.

        All seeds about a point may lie beyond the seam of a closed surface, where a whole grid line of them
        is nearer than the first on its own side.
        """
        low, high = domain(self.surface)
        for axis in (0, 1):
            at_low, at_high = uv[:, axis] == low[axis], uv[:, axis] == high[axis]
            far = np.flatnonzero((distance > ARRIVED) & (at_low | at_high))
            if len(far) == 0:
                continue
            seed = uv[far].copy()
            seed[:, axis] = np.where(at_low[far], high[axis], low[axis])
            other, gap = project(self.surface, points[far], seed, rounds=30)
            nearer = gap < distance[far]
            uv[far[nearer]], distance[far[nearer]] = other[nearer], gap[nearer]


def _seeds(surface: Surface, axis: int, ends: Array) -> Array:
    if not isinstance(surface, SplineSurface):
        return np.linspace(ends[0], ends[1], 48)
    knots = np.unique((surface.knots_u, surface.knots_v)[axis])
    return np.unique(np.concatenate([np.linspace(a, b, SEEDS) for a, b in pairwise(knots)]))


def gaps(s: dict[tuple[int, int], Array], e: Array, linear: Array) -> tuple[Array, Array, Array, Array]:
    """Gap in the plane, |height|, slope (tan) and its sine; a placed surface lies off by ``e`` (k, 3)."""
    normal = np.cross(s[1, 0] @ linear.T, s[0, 1] @ linear.T)
    rise = np.hypot(normal[..., 0], normal[..., 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = rise / np.abs(normal[..., 2])
        sine = rise / np.hypot(rise, normal[..., 2])
    return np.hypot(e[..., 0], e[..., 1]), np.abs(e[..., 2]), slope, sine


def stray_sampled(
    near: Nearest, linear: Array, back: Long, shift: Long, h: float, control: Long
) -> tuple[Array, Array]:
    """Greatest distance in the plane of parts (b,) at some places, and least sine of the angle there.

    The distance is the sideways gap plus the height's residual over the slope.
    """
    n = control.shape[1] - 1
    value = np.einsum("mk,bkc->bmc", bernstein(n, chebyshev(9)), control)
    point = np.full_like(value, h)
    point[..., :2] = value[..., :2] / value[..., 2:]
    there = ((point - shift) @ back.T).astype(float).reshape(-1, 3)
    s = surface_derivatives(near.surface, near(there), 1)
    beside, height, slope, sine = gaps(s, (there - s[0, 0]) @ linear.T, linear)
    with np.errstate(divide="ignore", invalid="ignore"):
        up = np.where(height == 0.0, 0.0, height / slope)
    rows = (len(control), -1)
    return (beside + up).reshape(rows).max(axis=1), np.fmin.reduce(sine.reshape(rows), axis=1)


class Spans:
    """The polynomial pieces of a spline surface as Chebyshev series, by interpolation of its points."""

    def __init__(self, surface: SplineSurface) -> None:
        one = np.ones_like(surface.weights)
        self.degree = surface.degree
        self.is_polynomial = bool(np.all(surface.weights == surface.weights[0, 0]))
        self.knots = tuple(np.unique(k) for k in (surface.knots_u, surface.knots_v))
        weight = np.repeat(surface.weights[..., None], 3, axis=2)
        self.above = replace(surface, poles=surface.poles * weight, weights=one)
        self.below = replace(surface, poles=weight, weights=one)
        self.known: dict[tuple[int, int], Array] = {}

    def of(self, uv: Array) -> npt.NDArray[np.int64]:
        """The span (k, 2) of parameters (k, 2)."""
        return np.stack(
            [
                np.clip(np.searchsorted(k, uv[:, axis], side="right") - 1, 0, len(k) - 2)
                for axis, k in enumerate(self.knots)
            ],
            axis=1,
        )

    def net(self, span: tuple[int, int]) -> Array:
        """Coefficients (p + 1, q + 1, 4) of (w x, w y, w z, w) on [-1, 1]^2."""
        if span not in self.known:
            p, q = self.degree
            ends = [self.knots[axis][span[axis] : span[axis] + 2] for axis in (0, 1)]
            nodes = [chebyshev(d + 1) for d in (p, q)]
            u, v = (a + (b - a) * t for (a, b), t in zip(ends, nodes, strict=True))
            uv = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
            value = np.column_stack((surface_points(self.above, uv), surface_points(self.below, uv)[:, :1]))
            inverse = [np.linalg.inv(series.chebvander(2 * t - 1, len(t) - 1)) for t in nodes]
            self.known[span] = np.einsum(
                "ia,jb,abc->ijc", inverse[0], inverse[1], value.reshape(p + 1, q + 1, 4)
            )
        return self.known[span]


def _tables(spans: Spans, x: Array) -> list[list[Array]]:
    """Chebyshev polynomials and two derivatives along u and v at places (..., 2) in [-1, 1]^2."""
    out = []
    for axis, n in enumerate(spans.degree):
        rows = [cast(Array, series.chebvander(x[..., axis], n))]
        for order in (1, 2):
            step = np.zeros((n + 1, n + 1))
            for k in range(n + 1):
                unit = np.eye(n + 1)[k]
                d = series.chebder(unit, order) if n >= order else np.zeros(1)
                step[: len(d), k] = d
            rows.append(rows[0] @ step)
        out.append(rows)
    return out


def stray_proven(
    near: Nearest, spans: Spans, linear: Array, back: Long, shift: Long, h: float, control: Long
) -> tuple[Array, Array]:
    """Proven distance in the plane (b,) of parts from the level curve of a spline surface; least sine (b,).

    Infinite where the path leaves its knot span by more than rounding or the slope cannot be held.

    Notes
    -----
    (u(t), v(t)) is a polynomial through nearest points; what the part is off from S(u(t), v(t)), times the
    weights, is a polynomial of known degree, and so is the square of the normal: both are held between
    Chebyshev points (`above`, `least`). From S(u(t), v(t)) the steepest way on the surface reaches the
    plane within the height's residual over the slope; the normal may turn on it by the surface's curvature,
    for which twice that on the path is taken.
    """
    n = control.shape[1] - 1
    p, q = spans.degree
    together = (p + q) * PATH
    off_degree = together + n
    normal_degree = (2 if spans.is_polynomial else 3) * together
    m = 4 * normal_degree
    knots = chebyshev(PATH + 1)
    places = _points(control, knots, h)
    uv = near(((places - shift) @ back.T).astype(float).reshape(-1, 3)).reshape(len(control), -1, 2)
    owner = spans.of(uv.mean(axis=1))
    to_series = np.linalg.inv(series.chebvander(2 * knots - 1, PATH))
    nodes = chebyshev(m)
    wide = series.chebvander(2 * nodes - 1, PATH)
    placed = _points(control, nodes, h)
    weight = np.einsum("mk,bk->bm", bernstein(n, nodes), control[..., 2]).astype(float)
    out, sines = np.full(len(control), np.inf), np.full(len(control), 1e-300)
    for row in range(len(control)):
        span = (int(owner[row, 0]), int(owner[row, 1]))
        low = np.array([spans.knots[a][span[a]] for a in (0, 1)])
        width = np.array([spans.knots[a][span[a] + 1] for a in (0, 1)]) - low
        x = wide @ (to_series @ (2.0 * (uv[row] - low) / width - 1.0))
        ends = series.chebvander(np.array([-1.0, 1.0]), PATH) @ (
            to_series @ (2.0 * (uv[row] - low) / width - 1.0)
        )
        over = np.maximum(np.abs(np.vstack((x, ends))).max(axis=0) - 1.0, 0.0) * 0.5 * width
        net = spans.net(span)
        tu, tv = _tables(spans, x)
        value = {
            (i, j): np.einsum("mi,mj,ijc->mc", tu[i], tv[j], net)
            for i, j in ((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2))
        }
        s = _divided(value)
        w = value[0, 0][:, 3]
        e = ((((placed[row] - shift) @ back.T).astype(float)) - s[0, 0]) @ linear.T
        scale = np.maximum(least(w, together), 0.0) * np.maximum(least(weight[row], n), 0.0)
        off = above(e.T * w * weight[row], off_degree)
        normal = np.cross(s[1, 0] @ linear.T, s[0, 1] @ linear.T)
        numerator = normal * w[:, None] ** (0 if spans.is_polynomial else 3)
        rise = _least_square(numerator[:, :2], normal_degree)
        flat = above(numerator[:, 2], normal_degree)
        slope = rise / max(float(flat), 1e-300)
        sine = slope / float(np.hypot(1.0, slope))
        turn = 2.0 * _curvature(s, linear)
        if scale <= 0.0 or sine <= 0.0:
            continue
        sines[row] = sine
        up = float(off[2]) / float(scale)
        # outside of the span the surface is not this polynomial: as far as the path leaves it, twice
        spill = 2.0 * float(over @ [np.abs(s[1, 0]).max(), np.abs(s[0, 1]).max()])
        if turn * up / sine > TURN * sine or (over > 1e-6 * width).any():
            continue
        up = (up + spill) / (slope * (1.0 - TURN))
        out[row] = float(np.hypot(off[0], off[1])) / float(scale) + up + spill
    return out, sines


def _points(control: Long, t: Array, h: float) -> Long:
    value = np.einsum("mk,bkc->bmc", bernstein(control.shape[1] - 1, t), control)
    point = np.full_like(value, h)
    point[..., :2] = value[..., :2] / value[..., 2:]
    return np.asarray(point)


def _least_square(vector: Array, degree: int) -> float:
    """Lower bound of the length of a polynomial vector (m, c) from its values."""
    square = np.sum(vector * vector, axis=1)
    return float(np.sqrt(max(float(least(square, 2 * degree)), 0.0)))


def _divided(value: dict[tuple[int, int], Array]) -> dict[tuple[int, int], Array]:
    """Point and derivatives of a rational surface from those of its homogeneous form."""
    w = value[0, 0][:, 3:]
    s = {(0, 0): value[0, 0][:, :3] / w}
    for i, j in ((1, 0), (0, 1)):
        s[i, j] = (value[i, j][:, :3] - value[i, j][:, 3:] * s[0, 0]) / w
    for i, j, a, b in ((2, 0, (1, 0), (1, 0)), (1, 1, (1, 0), (0, 1)), (0, 2, (0, 1), (0, 1))):
        part = value[i, j][:, :3] - value[i, j][:, 3:] * s[0, 0]
        s[i, j] = (part - value[a][:, 3:] * s[b] - value[b][:, 3:] * s[a]) / w
    return s


def _curvature(s: dict[tuple[int, int], Array], linear: Array) -> float:
    """Greatest normal curvature on the path, 1/mm of the surface as placed."""
    su, sv = s[1, 0], s[0, 1]
    normal = np.cross(su, sv)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    first = np.stack([np.sum(a * b, axis=1) for a, b in ((su, su), (su, sv), (sv, sv))])
    second = np.stack([np.sum(s[k] * normal, axis=1) for k in ((2, 0), (1, 1), (0, 2))])
    determinant = np.maximum(first[0] * first[2] - first[1] ** 2, 1e-300)
    mean = (second[0] * first[2] - 2 * second[1] * first[1] + second[2] * first[0]) / determinant
    gauss = (second[0] * second[2] - second[1] ** 2) / determinant
    greatest = 0.5 * np.abs(mean) + np.sqrt(np.maximum(0.25 * mean**2 - gauss, 0.0))
    return float(greatest.max()) / float(np.linalg.norm(linear, 2))
