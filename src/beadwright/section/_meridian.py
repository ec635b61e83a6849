"""Spline meridians of surfaces of revolution, made ready for planes at any height."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.brep import SplineProfile
from beadwright.section._pieces import critical, product, restricted, slope_form, spans

Array = npt.NDArray[np.float64]
Span = tuple[float, float, Array]

OFF_QUADRIC = 1e-10
"""A meridian this near to that of a quadric is that quadric, and carries the distance, mm."""
SAME = 1e-9
"""Turning points nearer to each other than this part of a piece are one: between them nothing moves by rounding."""
PARTS = 8
"""Parts of a piece over which its curvature is bounded one by one."""


def meridian_spans(profile: SplineProfile, tilt: float, rise: float) -> list[Span]:
    """Bézier pieces ``(w r, w w, 0, weight)``, cut where rise x w + tilt x r or rise x w - tilt x r turns.

    A circle of latitude about an axis (tilt, rise) has its extreme heights there; what their turning points
    are does not depend on any plane. The offset of a curve runs parallel to it, so it turns at the same
    places. Neighbours share the bits of their common end.
    """
    out: list[Span] = []
    curve = profile.curve
    for a, b, row in spans(curve, float(curve.knots[0]), float(curve.knots[-1])):
        control = np.stack((row[:, 0], row[:, 1], np.zeros(len(row)), row[:, 2]), axis=1)
        cuts = [0.0]
        for t in sorted(
            t
            for way in ((tilt, -tilt) if tilt else (0.0,))
            for t in critical(rise * row[:, 1] + way * row[:, 0], row[:, 2])
        ):
            if t - cuts[-1] > SAME:
                cuts.append(t)
        cuts.append(1.0)
        for s, t in pairwise(cuts):
            part = control.copy() if len(cuts) == 2 else restricted(control, s, t)
            if out and np.allclose(out[-1][2][-1], part[0], rtol=0.0, atol=1e-12 * np.abs(control).max()):
                part[0] = out[-1][2][-1]
            out.append((a + s * (b - a), a + t * (b - a), part))
    return out


def span_bend(control: Array, offset: float) -> float:
    """Bound of a meridian piece's curvature, 1/mm, in magnitude; infinite where it may have a cusp.

    With N = X' W - X W' of the homogeneous curve (X, W) the curvature is |N x N'| W^2 / |N|^3: the greatest
    Bernstein coefficients above, below the least length along the mean direction. An offset d makes it
    k / (1 - |d| k).
    """
    out = 0.0
    for a, b in pairwise(np.linspace(0.0, 1.0, PARTS + 1)):
        part = restricted(control, float(a), float(b))
        n = np.stack([slope_form(part[:, c], part[:, 3]) for c in (0, 1)])
        mean = n.mean(axis=1)
        size = float(np.hypot(*mean))
        least = float((mean @ n).min()) / size if size > 0.0 else 0.0
        if least <= 0.0:
            return float("inf")
        degree = n.shape[1] - 1
        if degree == 0:
            continue
        d = degree * np.diff(n, axis=1)
        cross = product(n[0], d[1]) - product(n[1], d[0])
        out = max(out, float(np.abs(cross).max()) * float(part[:, 3].max()) ** 2 / least**3)
    return out / (1.0 - abs(offset) * out) if abs(offset) * out < 1.0 else float("inf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Quadric:
    """r^2 = a + b t + c t^2, t the way along the axis from w; the meridian runs from low to high along it.

    Attributes
    ----------
    along : float
        1 if the meridian's parameter grows with w, else -1.
    a, b, c, w, low, high : float
        mm2, mm, 1; mm.
    off : float
        Greatest distance of the meridian from it, mm.
    """

    along: float
    a: float
    b: float
    c: float
    w: float
    low: float
    high: float
    off: float


def quadric(profile: SplineProfile, rows: list[Span]) -> Quadric | None:
    """The quadric of revolution that all pieces of a meridian lie on, if there is one.

    R^2 - a W^2 - b Z W - c Z^2 is compared in Bernstein form: it is zero everywhere if its coefficients are.
    """
    if profile.offset != 0.0:
        return None
    every = np.concatenate([control for _, _, control in rows])
    heights = every[:, 1] / every[:, 3]
    w, size = 0.5 * float(heights.min() + heights.max()), float(np.ptp(heights))
    reach = float(np.abs(every[:, 0] / every[:, 3]).max())
    one_sided = np.all(every[:, 0] >= -1e-12 * reach) or np.all(every[:, 0] <= 1e-12 * reach)
    if size <= 0.0 or not one_sided:
        return None
    slopes = np.concatenate([slope_form(control[:, 1], control[:, 3]) for _, _, control in rows])
    if not (np.all(slopes > 0.0) or np.all(slopes < 0.0)):
        return None
    terms, squares = [], []
    for _, _, control in rows:
        r, weight = control[:, 0], control[:, 3]
        t = (control[:, 1] - w * weight) / size
        terms.append(np.stack((product(weight, weight), product(t, weight), product(t, t)), axis=1))
        squares.append(product(r, r))
    table, square = np.concatenate(terms), np.concatenate(squares)
    (a, b, c), *_ = np.linalg.lstsq(table, square, rcond=None)
    a, b, c = float(a), float(b) / size, float(c) / size**2
    # |F| over |grad F| is the distance from F = 0
    light = float(every[:, 3].min()) ** 2
    miss = float(np.abs(table @ np.array([a, b * size, c * size**2]) - square).max()) / light
    along = size * np.linspace(-0.5, 0.5, 33)
    radius = np.sqrt(np.maximum(a + along * (b + along * c), 0.0))
    steep = float(np.hypot(2.0 * radius, b + 2.0 * c * along).min())
    if steep <= 0.0 or 2.0 * miss > OFF_QUADRIC * steep:
        return None
    return Quadric(
        along=1.0 if slopes[0] > 0.0 else -1.0,
        a=a,
        b=b,
        c=c,
        w=w,
        low=float(heights.min()),
        high=float(heights.max()),
        off=2.0 * miss / steep,
    )
