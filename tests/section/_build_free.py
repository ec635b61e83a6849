"""Surfaces as exact rational B-splines, and an evaluator of them that shares no code with the product."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import NdBSpline
from scipy.spatial import cKDTree

from beadwright.brep import SplineSurface

HALF = np.sqrt(0.5)
ARC_KNOTS = np.array([0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4], dtype=float)
ARC_POINTS = np.array(
    [[1, 0], [1, 1], [0, 1], [-1, 1], [-1, 0], [-1, -1], [0, -1], [1, -1], [1, 0]], dtype=float
)
ARC_WEIGHTS = np.array([1, HALF, 1, HALF, 1, HALF, 1, HALF, 1])


def clamped(n: int, degree: int) -> np.ndarray:
    return np.concatenate((np.zeros(degree), np.linspace(0, 1, n - degree + 1), np.ones(degree)))


def net(poles: np.ndarray, degree: tuple[int, int] = (3, 3)) -> SplineSurface:
    nu, nv = poles.shape[:2]
    return SplineSurface(
        degree=degree,
        knots_u=clamped(nu, degree[0]),
        knots_v=clamped(nv, degree[1]),
        poles=np.ascontiguousarray(poles, dtype=float),
        weights=np.ones((nu, nv)),
    )


def bumpy(
    seed: int, shape: tuple[int, int] = (9, 8), degree: tuple[int, int] = (3, 3), rough: float = 15.0
) -> SplineSurface:
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.linspace(0, 200, shape[0]), np.linspace(0, 150, shape[1]), indexing="ij")
    jitter = rng.uniform(-4, 4, size=(2, *shape))
    return net(np.stack((x + jitter[0], y + jitter[1], rough * rng.normal(size=shape)), axis=-1), degree)


def hull_side() -> SplineSurface:
    """A smooth side of a hull, 26 x 15 poles, 1,200 mm long."""
    x, y = np.meshgrid(np.linspace(0, 1, 26), np.linspace(0, 1, 15), indexing="ij")
    beam = 180.0 * (1 - (2 * x - 1) ** 4) * y**0.6 + 10
    return net(np.stack((1200 * x, beam, 300 * y + 60 * (2 * x - 1) ** 2), axis=-1))


def turned(surface: SplineSurface, rotation: np.ndarray, shift: np.ndarray | float = 0.0) -> SplineSurface:
    return SplineSurface(
        degree=surface.degree,
        knots_u=surface.knots_u,
        knots_v=surface.knots_v,
        poles=surface.poles @ rotation.T + shift,
        weights=surface.weights,
    )


def rotation(seed: int) -> np.ndarray:
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return q * np.sign(np.linalg.det(q))


def revolved(profile: np.ndarray, weights: np.ndarray, knots: np.ndarray, degree: int) -> SplineSurface:
    """A (r, w) profile about z, u round the axis: rational biquadratic in u."""
    poles = np.empty((9, len(profile), 3))
    poles[..., :2] = ARC_POINTS[:, None, :] * profile[None, :, :1]
    poles[..., 2] = profile[None, :, 1]
    return SplineSurface(
        degree=(2, degree),
        knots_u=ARC_KNOTS,
        knots_v=knots,
        poles=poles,
        weights=ARC_WEIGHTS[:, None] * weights,
    )


def torus(major: float, minor: float) -> SplineSurface:
    return revolved(minor * ARC_POINTS + [major, 0.0], ARC_WEIGHTS, ARC_KNOTS, 2)


def sphere(radius: float) -> SplineSurface:
    half = radius * np.array([[0, -1], [1, -1], [1, 0], [1, 1], [0, 1]], dtype=float)
    return revolved(half, ARC_WEIGHTS[:5], np.array([0, 0, 0, 1, 1, 2, 2, 2], dtype=float), 2)


def pipe(radius: float, length: float) -> SplineSurface:
    """A cylinder lying along x, its crest horizontal."""
    poles = np.empty((9, 2, 3))
    poles[..., 0] = [0.0, length]
    poles[..., 1:] = radius * ARC_POINTS[:, None, :]
    return SplineSurface(
        degree=(2, 1),
        knots_u=ARC_KNOTS,
        knots_v=np.array([0.0, 0, 1, 1]),
        poles=poles,
        weights=np.repeat(ARC_WEIGHTS[:, None], 2, axis=1),
    )


class Referee:
    """Points and first derivatives by scipy's tensor B-splines."""

    def __init__(self, surface: SplineSurface) -> None:
        table = np.concatenate(
            (surface.poles * surface.weights[..., None], surface.weights[..., None]), axis=2
        )
        self.spline = NdBSpline((surface.knots_u, surface.knots_v), table, surface.degree)
        self.low = np.array([surface.knots_u[0], surface.knots_v[0]])
        self.high = np.array([surface.knots_u[-1], surface.knots_v[-1]])

    def __call__(self, uv: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        uv = np.clip(uv, self.low, self.high)
        a, au, av = (self.spline(uv, nu=nu) for nu in ((0, 0), (1, 0), (0, 1)))
        s = a[:, :3] / a[:, 3:]
        return s, (au[:, :3] - au[:, 3:] * s) / a[:, 3:], (av[:, :3] - av[:, 3:] * s) / a[:, 3:]

    def grid(self, n: int) -> np.ndarray:
        u, v = (np.linspace(a, b, n) for a, b in zip(self.low, self.high, strict=True))
        return np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)

    def distance(self, points: np.ndarray, h: np.ndarray, n: int = 120) -> np.ndarray:
        """Distance in the plane of (k, 2) points from the level curves z = h (k,), by Newton in (u, v).

        Starts from the four nearest points of an n x n grid, so that a crease does not stop it.
        """
        grid = self.grid(n)
        near = cKDTree(self(grid)[0]).query(np.column_stack((points, h)), k=4)[1]
        best = np.full(len(points), np.inf)
        for seed in range(4):
            uv = grid[near[:, seed]]
            for _ in range(20):
                s, su, sv = self(uv)
                ahead = sv[:, 2:] * su[:, :2] - su[:, 2:] * sv[:, :2]
                ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
                r0 = h - s[:, 2]
                r1 = np.sum(ahead * (points - s[:, :2]), axis=1)
                a, b = np.sum(ahead * su[:, :2], axis=1), np.sum(ahead * sv[:, :2], axis=1)
                det = su[:, 2] * b - sv[:, 2] * a
                on = np.abs(r0) < 1e-10
                best = np.where(on, np.minimum(best, np.linalg.norm(points - s[:, :2], axis=1)), best)
                step = np.stack((r0 * b - r1 * sv[:, 2], r1 * su[:, 2] - r0 * a), axis=1) / det[:, None]
                uv = np.clip(uv + np.clip(step, -0.1, 0.1), self.low, self.high)
        return best


def bezier(control: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Points of quintics: control (p, 6, 2), t (k,): (p, k, 2)."""
    n = control.shape[1] - 1
    from scipy.special import comb

    table = np.stack([comb(n, i) * t**i * (1 - t) ** (n - i) for i in range(n + 1)], axis=1)
    return np.einsum("ki,pic->pkc", table, control)
