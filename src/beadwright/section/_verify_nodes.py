"""Polynomials held between Chebyshev points, and pieces of carried curves as homogeneous polynomials."""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np
import numpy.typing as npt

from beadwright.curves import CurveKind, CurveLoops

Array = npt.NDArray[np.float64]
Long = npt.NDArray[np.longdouble]
Ints = npt.NDArray[np.int64]

QUARTER = 0.5 * np.pi


def chebyshev(m: int) -> Array:
    """The m Chebyshev points of [0, 1]."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * (np.arange(m) + 0.5) / m))


def above(values: Array, degree: int) -> Array:
    """Bound of |P| on [0, 1] for a polynomial of a degree below m from its values (..., m) at `chebyshev`.

    H. Ehlich, K. Zeller, Schwankung von Polynomen zwischen Gitterpunkten, Math. Z. 86 (1964) 41-44:
    the greatest value at the points over cos(pi degree / (2 m)).
    """
    m = values.shape[-1]
    return np.asarray(np.abs(values).max(axis=-1) / np.cos(0.5 * np.pi * degree / m))


def least(values: Array, degree: int) -> Array:
    """Lower bound of a polynomial on [0, 1] from its values (..., m) at `chebyshev`.

    In the angle the polynomial is a cosine sum; at its least place the derivative is 0, a point is at most
    pi / 2m away, and the second derivative is at most degree^2 times the greatest value (S. Bernstein).
    """
    m = values.shape[-1]
    middle = 0.5 * (values.min(axis=-1) + values.max(axis=-1))
    spread = above(values - middle[..., None], degree)
    return np.asarray(values.min(axis=-1) - 0.5 * (0.5 * np.pi * degree / m) ** 2 * spread)


def bernstein(degree: int, t: Array) -> Array:
    """Bernstein polynomials (k, degree + 1) at t (k,)."""
    i = np.arange(degree + 1)
    choose = np.array([comb(degree, int(j)) for j in i], dtype=float)
    return np.asarray(choose * t[:, None] ** i * (1.0 - t[:, None]) ** (degree - i))


def halved(control: Long) -> Long:
    """Both halves of Bézier pieces (b, n, c), one behind the other: (2 b, n, c)."""
    left, right = np.empty_like(control), np.empty_like(control)
    row = control.copy()
    n = control.shape[1]
    for k in range(n):
        left[:, k], right[:, n - 1 - k] = row[:, 0], row[:, n - 1 - k]
        row[:, : n - 1 - k] = 0.5 * (row[:, : n - 1 - k] + row[:, 1 : n - k])
    return np.concatenate((left, right))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """Polynomial parts of one degree of a section's curves on one face (b parts).

    Attributes
    ----------
    face, degree : int
    curve : (b,) int64
        Row of the curve in `CurveLoops`.
    control : (b, degree + 1, 3) longdouble
        ``(w x, w y, w)``, mm. A degree of 0 is an end of a circle, which may lie beside it.
    """

    face: int
    degree: int
    curve: Ints
    control: Long


def parts_of(loops: CurveLoops) -> list[Parts]:
    """All curves but connectors as polynomial parts, by face and degree; circles as rational quadratics."""
    found: dict[tuple[int, int], tuple[list[int], list[Long]]] = {}

    def add(curve: int, control: Long) -> None:
        rows, tables = found.setdefault((int(loops.face[curve]), len(control) - 1), ([], []))
        rows.append(curve)
        tables.append(control)

    for curve, kind in enumerate(loops.kind.tolist()):
        if kind == CurveKind.CONNECTOR:
            continue
        ends = np.ones((2, 3), dtype=np.longdouble)
        ends[:, :2] = loops.ends[curve].reshape(2, 2)
        if kind == CurveKind.LINE:
            add(curve, ends)
        elif kind == CurveKind.CIRCLE:
            for control in (*_arcs(loops.circle[curve], ends[0]), ends[:1], ends[1:]):
                add(curve, control)
        else:
            for piece in range(int(loops.first_piece[curve]), int(loops.first_piece[curve + 1])):
                a, b = loops.first_control[piece : piece + 2]
                add(curve, loops.control[a:b].astype(np.longdouble))
    return [
        Parts(face=face, degree=degree, curve=np.array(rows, dtype=np.int64), control=np.stack(tables))
        for (face, degree), (rows, tables) in sorted(found.items())
    ]


def _arcs(circle: Array, start: Long) -> list[Long]:
    """A circle's arc from the direction of a point on, as rational quadratics of at most a quarter turn."""
    x, y, radius, sweep = circle.astype(np.longdouble)
    count = max(1, int(np.ceil(abs(float(sweep)) / QUARTER - 1e-9)))
    angle = np.arctan2(start[1] - y, start[0] - x) + sweep * np.arange(2 * count + 1) / (2 * count)
    w = np.where(np.arange(2 * count + 1) % 2, np.cos(sweep / (2 * count)), np.longdouble(1.0))
    table = np.stack((w * x + radius * np.cos(angle), w * y + radius * np.sin(angle), w), axis=1)
    return [table[2 * i : 2 * i + 3] for i in range(count)]
