"""Edges cut once into pieces along which z only rises or only falls."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.brep import Conic3, Line3, Model, Spline3, curve_points
from beadwright.brep._bezier import extraction

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LINE, CONIC, SPLINE = 0, 1, 2
SAME = 1e-12
"""A critical point this near a piece's end (as a share) is that end: cutting there would leave nothing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """Monotone pieces of all edges (n pieces, in the order of the edges).

    Attributes
    ----------
    first : (edges + 1,) int64
        Pieces of each edge, from its start to its end.
    kind, degree, base : (n,) int64
        Line, conic or spline; a spline's degree and first row of `control`.
    par : (n, 14) float
        Line: both ends. Conic: centre, major, minor, least and greatest parameter, size of the wave
        of z, number of the half turn, phase.
    control : (c, 4) float
        ``(w x, w y, w z, w)``.
    sign_z : (n, 2) float
        Height that decides the side of each end: the vertex's, or the curve's where it was cut.
    end_z : (n, 2) float
        Height of the curve itself there.
    """

    first: Ints
    kind: Ints
    degree: Ints
    base: Ints
    par: Array
    control: Array
    sign_z: Array
    end_z: Array


def restricted(control: Array, a: float, b: float) -> Array:
    """The part [a, b] of a Bézier piece in Bernstein form: blossoms, convex steps only."""
    n = len(control) - 1
    out = np.empty_like(control)
    for k in range(n + 1):
        level = control
        for r in range(n):
            t = b if r < k else a
            level = (1.0 - t) * level[:-1] + t * level[1:]
        out[k] = level[0]
    return out


def product(f: Array, g: Array) -> Array:
    """Bernstein coefficients of the product of two polynomials in Bernstein form."""
    m, n = len(f) - 1, len(g) - 1
    scaled: Array = np.asarray(np.convolve(f * binomials(m), g * binomials(n)), dtype=np.float64)
    out: Array = scaled / binomials(m + n)
    return out


def binomials(n: int) -> Array:
    """Row n of Pascal's triangle."""
    row = np.ones(n + 1)
    for k in range(1, n + 1):
        row[k] = row[k - 1] * (n - k + 1) / k
    return row


def slope_form(value: Array, weight: Array) -> Array:
    """Bernstein coefficients of the numerator of (value / weight)'."""
    n = len(value) - 1
    if np.all(weight == weight[0]):
        plain: Array = n * np.diff(value) * weight[0]
        return plain
    return product(n * np.diff(value), weight) - product(value, n * np.diff(weight))


def critical(value: Array, weight: Array) -> list[float]:
    """Where value / weight turns inside (0, 1)."""
    if len(value) < 2:
        return []
    form = slope_form(value, weight)
    if np.all(form >= 0.0) or np.all(form <= 0.0):
        return []
    from beadwright.section._kernels.nodes import bernstein_roots

    found, count = bernstein_roots(np.ascontiguousarray(form))
    roots = np.sort(found[:count])
    out: list[float] = []
    for t in roots:
        if 1e-9 < t < 1.0 - 1e-9 and (not out or t - out[-1] > 1e-9):
            out.append(float(t))
    return out


def spans(curve: Spline3, start: float, end: float) -> list[tuple[float, float, Array]]:
    """Knot spans of a spline within [start, end]: their ends and ``(w p, w)`` in Bernstein form."""
    homogeneous = np.concatenate((curve.poles * curve.weights[:, None], curve.weights[:, None]), axis=1)
    ends, first, matrix = extraction(curve.knots, curve.degree)
    slack = 1e-12 * (curve.knots[-1] - curve.knots[0])
    out = []
    for (a, b), row, m in zip(ends, first, matrix, strict=True):
        low, high = max(a, start), min(b, end)
        if high - low <= slack:
            continue
        control = m @ homogeneous[row : row + curve.degree + 1]
        if low > a or high < b:
            control = restricted(control, (low - a) / (b - a), (high - a) / (b - a))
        out.append((float(low), float(high), control))
    return out


class _Builder:
    def __init__(self) -> None:
        self.kind: list[int] = []
        self.degree: list[int] = []
        self.base: list[int] = []
        self.par: list[Array] = []
        self.control: list[Array] = []
        self.rows = 0
        self.end_z: list[tuple[float, float]] = []

    def add(self, kind: int, par: Array, z0: float, z1: float, control: Array | None = None) -> None:
        row = np.zeros(14)
        row[: len(par)] = par
        self.kind.append(kind)
        self.par.append(row)
        self.base.append(self.rows)
        self.degree.append(0 if control is None else len(control) - 1)
        if control is not None:
            self.control.append(control)
            self.rows += len(control)
        self.end_z.append((z0, z1))

    def line(self, curve: Line3, start: float, end: float) -> None:
        p = curve_points(curve, np.array([start, end]))
        self.add(LINE, p.ravel(), p[0, 2], p[1, 2])

    def conic(self, curve: Conic3, start: float, end: float) -> None:
        size = float(np.hypot(curve.major[2], curve.minor[2]))
        phase = float(np.arctan2(curve.minor[2], curve.major[2])) if size > 0.0 else start
        k0 = int(np.floor((start - phase) / np.pi))
        k1 = int(np.ceil((end - phase) / np.pi))
        cuts = [phase + k * np.pi for k in range(k0, k1 + 1)]
        slack = SAME * (end - start) + 1e-14
        inner = [t for t in cuts if start + slack < t < end - slack] if size > 0.0 else []
        t = np.array([start, *inner, end])
        z = curve_points(curve, t)[:, 2]
        for a, b, za, zb in zip(t[:-1], t[1:], z[:-1], z[1:], strict=True):
            half = np.floor((0.5 * (a + b) - phase) / np.pi)
            par = np.concatenate(
                (curve.centre, curve.major, curve.minor, [a, b, max(size, 1e-300), half, phase])
            )
            self.add(CONIC, par, float(za), float(zb))

    def spline(self, curve: Spline3, start: float, end: float) -> None:
        for _, _, control in spans(curve, start, end):
            cuts = [0.0, *critical(control[:, 2], control[:, 3]), 1.0]
            for a, b in pairwise(cuts):
                part = control if len(cuts) == 2 else restricted(control, a, b)
                z = part[[0, -1], 2] / part[[0, -1], 3]
                self.add(SPLINE, np.zeros(0), float(z[0]), float(z[1]), part)


def cut_edges(model: Model) -> Pieces:
    """All edges of a placed model as monotone pieces."""
    build = _Builder()
    first = [0]
    for edge in model.edges:
        match edge.curve:
            case Line3() as line:
                build.line(line, edge.start, edge.end)
            case Conic3() as conic:
                build.conic(conic, edge.start, edge.end)
            case Spline3() as spline:
                build.spline(spline, edge.start, edge.end)
        first.append(len(build.kind))
    end_z = np.array(build.end_z).reshape(-1, 2)
    sign_z = end_z.copy()
    starts, stops = np.array(first[:-1]), np.array(first[1:])
    # one height for both pieces where the curve was cut
    sign_z[1:, 0] = sign_z[:-1, 1]
    for i, edge in enumerate(model.edges):
        if stops[i] > starts[i]:
            sign_z[starts[i], 0] = model.vertices[edge.vertices[0], 2]
            sign_z[stops[i] - 1, 1] = model.vertices[edge.vertices[1], 2]
    return Pieces(
        first=np.array(first, dtype=np.int64),
        kind=np.array(build.kind, dtype=np.int64),
        degree=np.array(build.degree, dtype=np.int64),
        base=np.array(build.base, dtype=np.int64),
        par=np.array(build.par).reshape(-1, 14),
        control=np.concatenate(build.control) if build.control else np.zeros((0, 4)),
        sign_z=sign_z,
        end_z=end_z,
    )
