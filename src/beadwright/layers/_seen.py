"""Folds inside a slab as plane curves: what they look like from above, exactly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.brep import Conic3, Line3, Spline3, curve_points
from beadwright.curves import CurveKind, CurveLoops
from beadwright.layers._folds import Fold, clipped
from beadwright.section._pieces import spans

Array = npt.NDArray[np.float64]

SAME = 1e-9
"""Ends nearer than this are one point, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """A plane curve as `CurveLoops` has it."""

    kind: CurveKind
    face: int
    ends: Array
    circle: Array
    pieces: tuple[Array, ...] = ()


def fold_parts(folds: Sequence[Fold], low: float, high: float) -> Iterator[tuple[Fold, Curve]]:
    """The parts of folds inside a slab, as plane curves from start to end, but for those seen as a point."""
    for fold in folds:
        ends = clipped(fold, low, high)
        if ends is None:
            continue
        curve = _seen_from_above(fold, *ends)
        if curve is not None:
            part = replace(fold, start=ends[0], end=ends[1])
            yield part, curve


def _seen_from_above(fold: Fold, start: float, end: float) -> Curve | None:
    p = curve_points(fold.curve, np.array([start, end]))[:, :2]
    ends, nothing = p.ravel(), np.zeros(4)
    line = Curve(kind=CurveKind.LINE, face=fold.face, ends=ends, circle=nothing)
    match fold.curve:
        case Line3():
            return line if np.hypot(*(p[1] - p[0])) > SAME else None
        case Conic3(centre=centre, major=major, minor=minor):
            a, b = major[:2], minor[:2]
            area = float(a[0] * b[1] - a[1] * b[0])
            size = max(float(a @ a), float(b @ b))
            if abs(area) <= 1e-9 * max(size, 1.0):
                # Seen edge-on: what runs out and back counts nothing, whatever its way.
                return line if np.hypot(*(p[1] - p[0])) > SAME else None
            if abs(float(a @ a - b @ b)) <= 1e-12 * size and abs(float(a @ b)) <= 1e-12 * size:
                sweep = (end - start) * float(np.sign(area))
                circle = np.array([centre[0], centre[1], np.sqrt(size), sweep])
                return Curve(kind=CurveKind.CIRCLE, face=fold.face, ends=ends, circle=circle)
            pieces = tuple(_conic_pieces(centre[:2], a, b, start, end))
            return Curve(kind=CurveKind.ELLIPSE, face=fold.face, ends=ends, circle=nothing, pieces=pieces)
        case Spline3() as spline:
            pieces = tuple(control[:, [0, 1, 3]] for _, _, control in spans(spline, start, end))
            pieces = _tied(pieces, ends)
            flat = np.concatenate([piece[:, :2] / piece[:, 2:] for piece in pieces]) - p[0]
            chord = p[1] - p[0]
            length = float(np.hypot(*chord))
            off = np.abs(flat @ np.array([-chord[1], chord[0]])) / max(length, SAME)
            if length <= SAME and np.hypot(*flat.T).max() <= SAME:
                return None
            if length > SAME and off.max() <= SAME:
                return line
            return Curve(kind=CurveKind.SPLINE, face=fold.face, ends=ends, circle=nothing, pieces=pieces)


def _conic_pieces(centre: Array, a: Array, b: Array, start: float, end: float) -> Iterator[Array]:
    """An elliptic arc as rational quadratics of at most 90 degrees."""
    n = max(1, int(np.ceil((end - start) / (np.pi / 2) - 1e-9)))
    t = np.linspace(start, end, n + 1)
    weight = float(np.cos((end - start) / n / 2))
    for t0, t1 in pairwise(t):
        p0, p1 = (centre + np.cos(t) * a + np.sin(t) * b for t in (t0, t1))
        m = 0.5 * (t0 + t1)
        middle = centre + (np.cos(m) * a + np.sin(m) * b) / weight
        yield np.array([[*p0, 1.0], [*(weight * middle), weight], [*p1, 1.0]])


def _tied(pieces: tuple[Array, ...], ends: Array) -> tuple[Array, ...]:
    """Pieces whose first and last points are the given ones, bit for bit."""
    out = [piece.copy() for piece in pieces]
    out[0][0, :2] = ends[:2] * out[0][0, 2]
    out[-1][-1, :2] = ends[2:] * out[-1][-1, 2]
    return tuple(out)


def loops_of(curves: Sequence[Curve]) -> CurveLoops:
    """Each curve as an open chain of its own."""
    pieces = [piece for curve in curves for piece in curve.pieces]
    n = len(curves)
    return CurveLoops(
        kind=np.array([c.kind for c in curves], dtype=np.int8),
        face=np.array([c.face for c in curves], dtype=np.int32),
        ends=np.array([c.ends for c in curves]).reshape(-1, 4),
        circle=np.array([c.circle for c in curves]).reshape(-1, 4),
        first_piece=np.cumsum([0, *(len(c.pieces) for c in curves)]).astype(np.int32),
        degree=np.array([len(p) - 1 for p in pieces], dtype=np.int32),
        first_control=np.cumsum([0, *(len(p) for p in pieces)]).astype(np.int32),
        control=np.concatenate(pieces) if pieces else np.zeros((0, 3)),
        bound=np.zeros(n),
        first_curve=np.arange(n + 1, dtype=np.int32),
        closed=np.zeros(n, dtype=bool),
    )
