"""Free-form faces, packed for the compiled loops: Bernstein coefficients of each knot span."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import OffsetSurface, SplineSurface
from beadwright.section._free_offset import interpolated
from beadwright.section._free_spans import bezier_rows, halved_rows

Array = npt.NDArray[np.float64]

CLOSED_WITHIN = 1e-9
"""Sides of a surface nearer than this are one seam, mm."""
PILED_WITHIN = 1e-14
"""Rows of a net nearer than this part of its greatest coordinate are one: the rounding of blossoming."""
ROUND = 3
"""Spans round a closed surface, at least, so that no cell holds a whole turn."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FreeFace:
    """A rational surface as Bezier patches, one a knot span.

    Attributes
    ----------
    coef : (s, p + 1, q + 1, 4) float
        Homogeneous coefficients (w x, w y, w z, w), spans row-major in (u, v), mm.
    breaks_u, breaks_v : (nu + 1,), (nv + 1,) float
        Parameters between the spans.
    shape : (4,) int64
        nu, nv; 1 if closed in u, in v.
    z_range : (s, 2) float
        Least and greatest z of each span's hull, mm.
    metric : (s, 2) float
        Mean length of the net's rows along u and along v, mm.
    power_u, power_v : (nu,), (nv,) int64
        How the surface's own parameter t runs along a span, both from 0 to 1 there: as it is at 1; as the root of
        order n, t^n, at n > 1; as that from the other end, (1 - t)^n, at -n.
    steep : (s, 2) float
        Bounds of |dS/du|, |dS/dv| in each span, by the differences of its net, mm.
    size : float
        Greatest coordinate in size, mm: the scale of rounding.
    bound : float
        Distance of this form from the true surface, mm: 0 but for seams and offsets.
    """

    coef: Array
    breaks_u: Array
    breaks_v: Array
    shape: npt.NDArray[np.int64]
    z_range: Array
    metric: Array
    power_u: npt.NDArray[np.int64]
    power_v: npt.NDArray[np.int64]
    steep: Array
    size: float
    bound: float


def pack_free(surface: SplineSurface | OffsetSurface, uv_box: npt.ArrayLike) -> FreeFace:
    """Bezier patches of the part of a surface that a face uses.

    Parameters
    ----------
    surface : SplineSurface or OffsetSurface
        An offset is interpolated by patches of high degree, see `interpolated`; the error is in `bound`.
    uv_box : (2, 2) float
        Least and greatest u, v of the face. A twentieth of it and one span on each side are kept besides.

    Returns
    -------
    FreeFace

    Notes
    -----
    Coefficients by blossoming (convex combinations only), never by the power basis. Spans of a closed
    surface are all kept, and halved until there are at least three round. A span whose net has all rows but
    one in one place, P, ..., P, Q, is the straight ruling P + t^n (Q - P): its derivative vanishes at P, and no
    step along a level curve there is small enough. The same points come from P + t (Q - P), which is taken.
    """
    bound = 0.0
    box = np.asarray(uv_box, dtype=float)
    if isinstance(surface, OffsetSurface):
        spans_u, spans_v, net, bound = interpolated(surface, box)
    else:
        net = np.concatenate((surface.poles * surface.weights[..., None], surface.weights[..., None]), axis=2)
        spans_u, net = bezier_rows(surface.knots_u, surface.degree[0], net)
        spans_v, net = bezier_rows(surface.knots_v, surface.degree[1], np.moveaxis(net, 2, 0))
        # Now (nv, q + 1, nu, p + 1, 4).
        net = np.transpose(net, (2, 0, 3, 1, 4))
    closed = [False, False]
    for axis in (0, 1):
        gap = _gap(net, axis)
        if gap <= CLOSED_WITHIN:
            closed[axis] = True
            bound += gap
            # One seam, bit for bit.
            if axis == 0:
                net[-1, :, -1] = net[0, :, 0]
            else:
                net[:, -1, :, -1] = net[:, 0, :, 0]
    if not closed[0]:
        keep = _kept(spans_u, box[0, 0], box[1, 0])
        spans_u, net = spans_u[np.append(keep, False) | np.append(False, keep)], net[keep]
    if not closed[1]:
        keep = _kept(spans_v, box[0, 1], box[1, 1])
        spans_v, net = spans_v[np.append(keep, False) | np.append(False, keep)], net[:, keep]
    while closed[0] and len(spans_u) - 1 < ROUND:
        spans_u, net = halved_rows(spans_u, net)
    while closed[1] and len(spans_v) - 1 < ROUND:
        spans_v, net = halved_rows(spans_v, np.transpose(net, (1, 0, 3, 2, 4)))
        net = np.transpose(net, (1, 0, 3, 2, 4))
    power_u, off_u = _evened(net)
    power_v, off_v = _evened(np.transpose(net, (1, 0, 3, 2, 4)))
    bound += off_u + off_v
    coef = np.ascontiguousarray(net.reshape(-1, *net.shape[2:]))
    points = coef[..., :3] / coef[..., 3:]
    z = points[..., 2].reshape(len(coef), -1)
    metric = np.stack(
        [np.linalg.norm(np.diff(points, axis=axis), axis=-1).sum(axis=axis).mean(axis=1) for axis in (1, 2)],
        axis=1,
    )
    return FreeFace(
        coef=coef,
        breaks_u=np.ascontiguousarray(spans_u),
        breaks_v=np.ascontiguousarray(spans_v),
        shape=np.array([len(spans_u) - 1, len(spans_v) - 1, *closed], dtype=np.int64),
        z_range=np.stack((z.min(axis=1), z.max(axis=1)), axis=1),
        metric=np.maximum(metric, 1e-9),
        power_u=power_u,
        power_v=power_v,
        steep=_steep(coef, points),
        size=float(np.abs(points).max()),
        bound=bound,
    )


def _steep(coef: Array, points: Array) -> Array:
    """Bounds of the derivatives (N' - (S - m) D') / D of each span, m its middle, N taken about m."""
    middle = points.reshape(len(coef), -1, 3).mean(axis=1)[:, None, None]
    away = np.linalg.norm(points - middle, axis=3).reshape(len(coef), -1).max(axis=1)
    about = coef[..., :3] - coef[..., 3:] * middle
    out = np.empty((len(coef), 2))
    for axis in (1, 2):
        top = np.linalg.norm(np.diff(about, axis=axis), axis=3).reshape(len(coef), -1).max(axis=1)
        weight = np.abs(np.diff(coef[..., 3], axis=axis)).reshape(len(coef), -1).max(axis=1)
        out[:, axis - 1] = (coef.shape[axis] - 1) * (top + away * weight)
    return np.asarray(out / coef[..., 3].reshape(len(coef), -1).min(axis=1)[:, None])


def _evened(net: Array) -> tuple[npt.NDArray[np.int64], float]:
    """Spans (along the first axis) whose rows pile up at one end, made even in place; powers, and what moved, mm."""
    degree = net.shape[2] - 1
    power, moved = np.ones(len(net), dtype=np.int64), 0.0
    if degree < 2:
        return power, moved
    scale = float(np.abs(net).max())
    t = np.linspace(0.0, 1.0, degree + 1)[:, None, None]
    for i, span in enumerate(net):
        for end, rows in ((0, span[:, :-1]), (-1, span[:, 1:])):
            off = float(np.ptp(rows, axis=1).max())
            if off <= PILED_WITHIN * scale and np.ptp(span, axis=1).max() > 0.0:
                span[:] = (1.0 - t) * span[:, :1] + t * span[:, -1:]
                power[i] = degree if end == 0 else -degree
                moved = max(moved, 2.0 * off / float(net[..., 3].min()))
                break
    return power, moved


def _gap(net: Array, axis: int) -> float:
    """Distance of the two sides across an axis, mm; infinite if their weights differ."""
    if axis == 0:
        first, last = net[0, :, 0], net[-1, :, -1]
    else:
        first, last = net[:, 0, :, 0], net[:, -1, :, -1]
    if float(np.abs(first[..., 3] / last[..., 3] - 1.0).max()) > 1e-12:
        return float("inf")
    difference = first[..., :3] / first[..., 3:] - last[..., :3] / last[..., 3:]
    gap = float(np.linalg.norm(difference, axis=-1).max())
    # A side of no length (a pole) at both ends does not close the surface.
    return gap if float(np.ptp(first[..., :3] / first[..., 3:], axis=(0, 1)).max()) > 0.0 else float("inf")


def _kept(breaks: Array, low: float, high: float) -> npt.NDArray[np.bool_]:
    """Spans that touch a range with a twentieth of it beside, and one more on each side."""
    margin = 0.05 * (high - low)
    touch = (breaks[1:] >= low - margin) & (breaks[:-1] <= high + margin)
    wide = touch.copy()
    wide[1:] |= touch[:-1]
    wide[:-1] |= touch[1:]
    return wide
