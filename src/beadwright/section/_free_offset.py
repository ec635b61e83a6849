"""Offset surfaces as patches of high degree, with the error measured."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.brep import Conic3, ExtrusionSurface, Line3, OffsetSurface, surface_points
from beadwright.errors import GeometryError

Array = npt.NDArray[np.float64]

DEGREE = 9
ENOUGH = 2e-10
"""Measured error at which a patch is not cut further, mm."""
WHOLE_TURN = 2.0 * np.pi * (1.0 - 1e-9)
MOST = 4096
"""Patches at most."""


def interpolated(surface: OffsetSurface, uv_box: Array) -> tuple[Array, Array, Array, float]:
    """Patches through points of an offset surface at Chebyshev-Lobatto nodes, in Bernstein form.

    Patches meet at shared nodes, so neighbours have the same border. Whole rows are cut in two until the
    error, seen half-way between the nodes, is at most `ENOUGH`.

    Returns
    -------
    breaks_u, breaks_v : (nu + 1,), (nv + 1,) float
    net : (nu, nv, p + 1, q + 1, 4) float
        Weights are all 1.
    bound : float
        Twice the greatest error seen, mm: an estimate, not a proof.

    Raises
    ------
    GeometryError
        The base has no normal somewhere.
    """
    (u0, v0), (u1, v1) = uv_box[0], uv_box[1]
    base = surface.base
    margin = 0.05 * (uv_box[1] - uv_box[0])
    degree = [DEGREE, DEGREE]
    if isinstance(base, ExtrusionSurface):
        degree[1] = 1
        knots_v = np.array([v0 - margin[1], v1 + margin[1]])
        match base.directrix:
            case Line3():
                knots_u = np.array([u0 - margin[0], u1 + margin[0]])
            case Conic3():
                if u1 - u0 >= WHOLE_TURN:
                    margin[0] = 0.0  # beyond its seam it would lie on itself
                knots_u = np.linspace(u0 - margin[0], u1 + margin[0], 9)
            case spline:
                knots_u = spline.knots
    else:
        knots_u, knots_v = base.knots_u, base.knots_v
    breaks = [
        _inside(knots_u, u0 - margin[0], u1 + margin[0]),
        _inside(knots_v, v0 - margin[1], v1 + margin[1]),
    ]
    while True:
        net, error = _fit(surface, breaks, degree)
        worst = np.array([error.max(axis=(1, 2)), error.max(axis=(0, 2))], dtype=object)
        if float(error.max()) <= ENOUGH or error[..., 0].size >= MOST:
            break
        axis = int(error[..., 1].max() > error[..., 0].max())
        bad = worst[axis] > ENOUGH
        middle = 0.5 * (breaks[axis][:-1] + breaks[axis][1:])[bad]
        breaks[axis] = np.sort(np.concatenate((breaks[axis], middle)))
    return breaks[0], breaks[1], net, 2.0 * float(error.max())


def _inside(knots: Array, low: float, high: float) -> Array:
    """Distinct knots inside a range, and its ends (not beyond the knots)."""
    low, high = max(low, float(knots[0])), min(high, float(knots[-1]))
    return np.unique(np.concatenate(([low], knots[(knots > low) & (knots < high)], [high])))


def _fit(surface: OffsetSurface, breaks: list[Array], degree: list[int]) -> tuple[Array, Array]:
    """Patches, and the error of each half-way between nodes along u and along v: (nu, nv, 2)."""
    nodes, middles, to_bernstein, at_middles = [], [], [], []
    for axis in (0, 1):
        n = degree[axis]
        t = 0.5 - 0.5 * np.cos(np.pi * np.arange(n + 1) / n)
        m = 0.5 * (t[1:] + t[:-1])
        a, width = breaks[axis][:-1, None], np.diff(breaks[axis])[:, None]
        places = a + width * t
        places[:, -1] = breaks[axis][1:]
        nodes.append(places)
        middles.append(a + width * m)
        to_bernstein.append(np.linalg.inv(_bernstein(n, t)))
        at_middles.append(_bernstein(n, m))
    points = _grid(surface, nodes[0], nodes[1])
    if not np.all(np.isfinite(points)):
        raise GeometryError("an offset surface has no normal at some point of its face (a pole or a cusp)")
    origin = points[:, :, :1, :1]
    local = np.einsum("ai,bj,stijc->stabc", to_bernstein[0], to_bernstein[1], points - origin)
    net = np.concatenate((local + origin, np.ones((*local.shape[:4], 1))), axis=4)
    # The corners and sides must be the same bits on both patches that share them.
    net[1:, :, 0] = net[:-1, :, -1]
    net[:, 1:, :, 0] = net[:, :-1, :, -1]
    error = np.zeros((len(nodes[0]), len(nodes[1]), 2))
    bu, bv = (
        _bernstein(degree[0], 0.5 - 0.5 * np.cos(np.pi * np.arange(degree[0] + 1) / degree[0])),
        at_middles[1],
    )
    seen = np.einsum("ia,jb,stabc->stijc", bu, bv, net[..., :3]) - _grid(surface, nodes[0], middles[1])
    error[..., 1] = np.linalg.norm(seen, axis=-1).max(axis=(2, 3))
    bu, bv = at_middles[0], at_middles[1]
    seen = np.einsum("ia,jb,stabc->stijc", bu, bv, net[..., :3]) - _grid(surface, middles[0], middles[1])
    both = np.linalg.norm(seen, axis=-1).max(axis=(2, 3))
    error[..., 0] = np.where(both > 2.0 * error[..., 1], both, 0.0)
    error[..., 1] = np.maximum(error[..., 1], np.where(error[..., 0] > 0.0, 0.0, both))
    return net, error


def _grid(surface: OffsetSurface, u: Array, v: Array) -> Array:
    """Points at all pairs of nodes: (nu, nv, p + 1, q + 1, 3)."""
    uu, vv = np.broadcast_arrays(u[:, None, :, None], v[None, :, None, :])
    points = surface_points(surface, np.stack((uu.ravel(), vv.ravel()), axis=1))
    return points.reshape(*uu.shape, 3)


def _bernstein(n: int, t: Array) -> Array:
    """Bernstein basis at parameters: (k, n + 1)."""
    out = np.zeros((len(t), n + 1))
    out[:, 0] = 1.0
    for r in range(n):
        out[:, 1 : r + 2] = out[:, 1 : r + 2] * (1.0 - t)[:, None] + out[:, : r + 1] * t[:, None]
        out[:, 0] *= 1.0 - t
    return out
