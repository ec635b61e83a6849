"""Critical heights of a free-form face: where its level curves appear, vanish, meet or part."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.section._free import FreeFace
from beadwright.section._pieces import slope_form

Array = npt.NDArray[np.float64]

NEAR = 1e-6
"""Heights are found within this, mm, and those nearer to each other are one."""
MOST = 20_000
"""Cells looked at together beyond which the tolerance is made ten times as wide."""
ROUNDS = 200
BENT = 1e-6
"""Jump of the unit normal from which a knot line is a crease."""


def free_critical(free: FreeFace) -> tuple[Array, float]:
    """Heights of the extrema and saddles of z inside a face, and along its creases.

    Parameters
    ----------
    free : FreeFace
        The packed part of the surface, which may reach beyond the face: the heights may be more than the
        face itself has, never fewer.

    Returns
    -------
    heights : (n,) float
        Rising, mm. A line or sheet of critical points (a crest, a flat) gives one height.
    tolerance : float
        Each critical height lies within this of one that is returned, mm; `NEAR` unless a face has so
        many critical points that it had to be widened.

    Notes
    -----
    Cells whose gradients lie in a cone hold none. The others are halved where the gradient changes most,
    until their range of z is within the tolerance, or lies beside a height already found by Newton's
    method from their middles.
    """
    tolerance = NEAR
    while True:
        found = _inside(free, tolerance)
        if found is not None:
            break
        tolerance *= 10.0
    found = np.sort(np.concatenate((found, _creases(free))))
    if len(found):
        found = found[np.append(True, np.diff(found) > tolerance)]
    return found, 2.0 * tolerance


def _inside(free: FreeFace, tolerance: float) -> Array | None:
    """Critical heights inside the spans; None if too many cells were met."""
    cells = free.coef[..., 2:]
    metric = free.metric
    noise = 64 * 2.0**-53 * free.size * float(cells[..., 1].max()) * sum(cells.shape[1:3])
    found = np.empty(0)
    for _ in range(ROUNDS):
        z = cells[..., 0] / cells[..., 1]
        low, high = z.min(axis=(1, 2)), z.max(axis=(1, 2))
        live = ~_known(found, low, high, tolerance)
        cells, metric, low, high = cells[live], metric[live], low[live], high[live]
        live, way_u = _judge(cells, metric, low, high, noise)
        cells, metric, low, high, way_u = cells[live], metric[live], low[live], high[live], way_u[live]
        small = high - low <= tolerance
        found = np.unique(np.concatenate((found, 0.5 * (low + high)[small], _newton(cells[~small]))))
        cells, metric, way_u = cells[~small], metric[~small], way_u[~small]
        if len(cells) == 0:
            return found
        if len(cells) > MOST:
            return None
        u, v = np.flatnonzero(way_u), np.flatnonzero(~way_u)
        cells = np.concatenate((*_halves(cells[u], 1), *_halves(cells[v], 2)))
        metric = np.concatenate(
            (np.tile(metric[u] * [0.5, 1.0], (2, 1)), np.tile(metric[v] * [1.0, 0.5], (2, 1)))
        )
    return None


def _known(found: Array, low: Array, high: Array, tolerance: float) -> npt.NDArray[np.bool_]:
    """Whether a height already found is within the tolerance of the whole range."""
    if len(found) == 0:
        return np.zeros(len(low), dtype=bool)
    middle = 0.5 * (low + high)
    k = np.clip(np.searchsorted(found, middle), 1, max(len(found) - 1, 1))
    near = np.minimum(np.abs(found[k - 1] - middle), np.abs(found[np.minimum(k, len(found) - 1)] - middle))
    return near + 0.5 * (high - low) <= tolerance


def _judge(
    cells: Array, metric: Array, low: Array, high: Array, noise: float
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Which cells may hold a critical point, and which of them are better cut across u."""
    p1, q1 = cells.shape[1:3]
    p, q = p1 - 1, q1 - 1
    # f - c = G / W, so W f_u = G_u - (f - c) W_u, and |f - c| is at most half the range.
    g = cells[..., 0] - (0.5 * (low + high))[:, None, None] * cells[..., 1]
    half = 0.5 * (high - low)
    i, j = np.arange(p1)[None, :, None], np.arange(q1)[None, None, :]

    def slopes(f: Array) -> tuple[Array, Array]:
        du, dv = np.diff(f, axis=1), np.diff(f, axis=2)
        up, down = np.pad(du, ((0, 0), (0, 1), (0, 0))), np.pad(du, ((0, 0), (1, 0), (0, 0)))
        right, left = np.pad(dv, ((0, 0), (0, 0), (0, 1))), np.pad(dv, ((0, 0), (0, 0), (1, 0)))
        return i * down + (p - i) * up, j * left + (q - j) * right

    gu, gv = (s / metric[:, a, None, None] for a, s in enumerate(slopes(g)))
    wu, wv = (np.abs(s).max(axis=(1, 2)) / metric[:, a] for a, s in enumerate(slopes(cells[..., 1])))
    a, b = gu.mean(axis=(1, 2)), gv.mean(axis=(1, 2))
    size = np.hypot(a, b)
    size = np.where(size > 0.0, size, 1.0)
    a, b = a / size, b / size
    least = (a[:, None, None] * gu + b[:, None, None] * gv).min(axis=(1, 2))
    shake = noise * (np.abs(a) / metric[:, 0] + np.abs(b) / metric[:, 1])
    live = least <= half * (np.abs(a) * wu + np.abs(b) * wv) + shake
    uu = np.abs(np.diff(g, 2, axis=1)).sum(axis=(1, 2)) * p * p / q1
    vv = np.abs(np.diff(g, 2, axis=2)).sum(axis=(1, 2)) * q * q / p1
    uv = np.abs(np.diff(np.diff(g, axis=1), axis=2)).sum(axis=(1, 2))
    across_u = uu / metric[:, 0] + uv / metric[:, 1]
    across_v = vv / metric[:, 1] + uv / metric[:, 0]
    return live, np.where(across_u == across_v, metric[:, 0] >= metric[:, 1], across_u > across_v)


def _newton(cells: Array) -> Array:
    """Heights of critical points to which Newton's method runs from the middles of cells."""
    if len(cells) == 0:
        return np.empty(0)
    p, q = cells.shape[1] - 1, cells.shape[2] - 1
    uv = np.full((len(cells), 2), 0.5)
    last = np.full(len(cells), np.inf)
    height = np.zeros(len(cells))
    for _ in range(8):
        bu, bv = _basis(p, uv[:, 0]), _basis(q, uv[:, 1])
        d = {(i, j): np.einsum("ni,nijc,nj->nc", bu[i], cells, bv[j]) for i in range(3) for j in range(3 - i)}
        w = d[0, 0][:, 1]
        f = d[0, 0][:, 0] / w
        fu = (d[1, 0][:, 0] - f * d[1, 0][:, 1]) / w
        fv = (d[0, 1][:, 0] - f * d[0, 1][:, 1]) / w
        a = (d[2, 0][:, 0] - f * d[2, 0][:, 1] - 2.0 * fu * d[1, 0][:, 1]) / w
        b = (d[1, 1][:, 0] - f * d[1, 1][:, 1] - fu * d[0, 1][:, 1] - fv * d[1, 0][:, 1]) / w
        c = (d[0, 2][:, 0] - f * d[0, 2][:, 1] - 2.0 * fv * d[0, 1][:, 1]) / w
        det = a * c - b * b
        sound = np.abs(det) > 1e-12 * (np.abs(a * c) + b * b)
        det = np.where(sound, det, 1.0)
        step = np.stack((b * fv - c * fu, b * fu - a * fv), axis=1) / det[:, None]
        step = np.where(sound[:, None], step, np.inf)
        last = np.abs(step).max(axis=1)
        height = f
        uv = np.clip(uv + np.clip(step, -0.5, 0.5), 0.0, 1.0)
    inside = np.all((uv > 0.0) & (uv < 1.0), axis=1)
    out: Array = height[inside & (last < 1e-9)]
    return out


def _basis(n: int, t: Array) -> Array:
    """Bernstein basis and two derivatives: (3, k, n + 1)."""
    out = np.zeros((3, len(t), n + 1))
    level = np.ones((len(t), 1))
    for r in range(n + 1):
        b = np.pad(level, ((0, 0), (2, n + 1 - r)))[:, : n + 3]
        if r == n - 2:
            out[2] = n * (n - 1) * (b[:, 2 : n + 3] - 2.0 * b[:, 1 : n + 2] + b[:, : n + 1])
        elif r == n - 1:
            out[1] = n * (b[:, 1 : n + 2] - b[:, 2 : n + 3])
        elif r == n:
            out[0] = level
        wide = np.zeros((len(t), r + 2))
        wide[:, :-1] += level * (1.0 - t)[:, None]
        wide[:, 1:] += level * t[:, None]
        level = wide
    return out


def _halves(cells: Array, axis: int) -> tuple[Array, Array]:
    """Both halves of cells along u (axis 1) or v (axis 2), by de Casteljau's scheme."""
    work = np.moveaxis(cells, axis, 0).copy()
    n = len(work)
    low, high = np.empty_like(work), np.empty_like(work)
    for k in range(n):
        low[k], high[n - 1 - k] = work[0], work[n - 1 - k]
        work[: n - 1 - k] = 0.5 * (work[: n - 1 - k] + work[1 : n - k])
    return np.moveaxis(low, 0, axis), np.moveaxis(high, 0, axis)


def _creases(free: FreeFace) -> Array:
    """Critical heights along knot lines at which the surface has a crease, and of its ends there."""
    nu, nv, closed_u, closed_v = (int(k) for k in free.shape)
    net = free.coef.reshape(nu, nv, *free.coef.shape[1:])
    heights: list[float] = []
    for axis, closed in ((0, closed_u), (1, closed_v)):
        rows = net if axis == 0 else np.transpose(net, (1, 0, 3, 2, 4))
        sizes = np.diff(free.breaks_u if axis == 0 else free.breaks_v)
        count = len(rows)
        for k in range(count if closed else count - 1):
            following = rows[(k + 1) % count]
            before = (rows[k, :, -1] - rows[k, :, -2]) / sizes[k]
            after = (following[:, 1] - following[:, 0]) / sizes[(k + 1) % count]
            for part in np.flatnonzero(_bent(rows[k, :, -1], before, after)):
                line = following[part, 0]
                places = [0.0, 1.0, *_turns(line)]
                values = np.einsum("kj,jc->kc", _basis(len(line) - 1, np.array(places))[0], line[:, 2:])
                heights += (values[:, 0] / values[:, 1]).tolist()
    return np.array(heights)


def _bent(line: Array, before: Array, after: Array) -> npt.NDArray[np.bool_]:
    """Whether the normal jumps at a line: its net and the differences across it on both sides, (s, n, 4)."""
    n = line.shape[1] - 1
    basis = _basis(n, np.linspace(0.05, 0.95, 7))
    p, along = (np.einsum("tj,sjc->stc", b, line) for b in basis[:2])
    point = p[..., :3] / p[..., 3:]
    tangent = along[..., :3] - along[..., 3:] * point
    normals = []
    for difference in (before, after):
        d = np.einsum("tj,sjc->stc", basis[0], difference)
        normal = np.cross(tangent, d[..., :3] - d[..., 3:] * point)
        size = np.linalg.norm(normal, axis=-1, keepdims=True)
        normals.append(normal / np.where(size > 0.0, size, 1.0))
    jump = np.linalg.norm(normals[0] - normals[1], axis=-1).max(axis=1)
    bent: npt.NDArray[np.bool_] = jump > BENT
    return bent


def _turns(line: Array) -> list[float]:
    """Where z turns along a Bernstein row of (w x, w y, w z, w)."""
    from beadwright.section._kernels.bernstein import roots

    if len(line) < 2:
        return []
    form = np.ascontiguousarray(
        slope_form(np.ascontiguousarray(line[:, 2]), np.ascontiguousarray(line[:, 3]))
    )
    found = np.empty(64)
    count = roots(
        form, len(form) - 1, bool(form[0] >= 0.0), bool(form[-1] >= 0.0), np.empty((64, len(form))), found
    )
    return [float(t) for t in found[:count]]
