"""Small builders of `CurveLoops` for the tests of the fit."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.curves import CurveKind, CurveLoops

Array = npt.NDArray[np.float64]


def homogeneous(points: Array, weights: Array | None = None) -> Array:
    """Control rows (w x, w y, w) from points (n, 2) and weights."""
    points = np.asarray(points, dtype=float)
    w = np.ones(len(points)) if weights is None else np.asarray(weights, dtype=float)
    return np.column_stack([points * w[:, None], w])


def build(chains: list[tuple[list[dict], bool]]) -> CurveLoops:
    """Chains of curves; a curve is ``{kind, ends | pieces, circle, face}``."""
    kind, face, ends, circle, degree, control = [], [], [], [], [], []
    first_piece, first_control, first_curve, closed = [0], [0], [0], []
    for curves, is_closed in chains:
        for curve in curves:
            kind.append(int(curve["kind"]))
            face.append(curve.get("face", 0))
            circle.append(curve.get("circle", (0.0, 0.0, 0.0, 0.0)))
            pieces = curve.get("pieces", [])
            for piece in pieces:
                degree.append(len(piece) - 1)
                control.extend(np.asarray(piece, dtype=float).tolist())
                first_control.append(len(control))
            first_piece.append(len(degree))
            if "ends" in curve:
                ends.append(curve["ends"])
            else:
                a, b = pieces[0][0], pieces[-1][-1]
                ends.append((a[0] / a[2], a[1] / a[2], b[0] / b[2], b[1] / b[2]))
        if is_closed:
            begin = first_curve[-1]
            ends[-1] = (*ends[-1][:2], *ends[begin][:2])
        for i in range(first_curve[-1] + 1, len(kind)):
            ends[i] = (*ends[i - 1][2:], *ends[i][2:])
        first_curve.append(len(kind))
        closed.append(is_closed)
    return CurveLoops(
        kind=np.array(kind, dtype=np.int8),
        face=np.array(face, dtype=np.int32),
        ends=np.array(ends, dtype=float).reshape(-1, 4),
        circle=np.array(circle, dtype=float).reshape(-1, 4),
        first_piece=np.array(first_piece, dtype=np.int32),
        degree=np.array(degree, dtype=np.int32),
        first_control=np.array(first_control, dtype=np.int32),
        control=np.array(control, dtype=float).reshape(-1, 3),
        bound=np.zeros(len(kind)),
        first_curve=np.array(first_curve, dtype=np.int32),
        closed=np.array(closed, dtype=bool),
    )


def line(x0: float, y0: float, x1: float, y1: float, face: int = 0) -> dict:
    return {"kind": CurveKind.LINE, "ends": (x0, y0, x1, y1), "face": face}


def spline(pieces: list[Array], kind: CurveKind = CurveKind.SPLINE, face: int = 0) -> dict:
    return {"kind": kind, "pieces": pieces, "face": face}


def quarter_ellipse(a: float, b: float, quadrant: int, centre=(0.0, 0.0)) -> Array:
    """One quarter of an ellipse with axes along x and y as an exact rational quadratic."""
    angle = quadrant * np.pi / 2
    c, s = round(np.cos(angle)), round(np.sin(angle))
    unit = np.array([[1, 0], [1, 1], [0, 1]]) @ np.array([[c, s], [-s, c]])
    return homogeneous(unit * (a, b) + np.asarray(centre), np.array([1, np.sqrt(0.5), 1]))


def ellipse(a: float, b: float, centre=(0.0, 0.0)) -> dict:
    return spline([quarter_ellipse(a, b, q, centre) for q in range(4)], CurveKind.ELLIPSE)


def turned_ellipse(
    a: float,
    b: float,
    *,
    turn: float = 0.0,
    centre=(0.0, 0.0),
    start: float = 0.0,
    count: int = 4,
    way: int = 1,
) -> dict:
    """A whole ellipse of rational quadratics in any pose, begun at any parameter, run through either way."""
    step = way * 2 * np.pi / count
    half, cosine, sine = np.cos(step / 2), np.cos(turn), np.sin(turn)
    pieces = []
    for i in range(count):
        t = start + step * (i + np.array([0.0, 0.5, 1.0]))
        unit = np.column_stack([np.cos(t), np.sin(t)]) / np.array([[1.0], [half], [1.0]])
        points = (unit * (a, b)) @ np.array([[cosine, sine], [-sine, cosine]]) + np.asarray(centre)
        pieces.append(homogeneous(points, np.array([1.0, half, 1.0])))
    return spline(pieces, CurveKind.ELLIPSE)


def bezier_from_bspline(t: Array, c: Array, degree: int) -> list[Array]:
    """Bézier pieces of a polynomial B-spline: the blossom of each span at its own two knots."""
    pieces = []
    for span in range(degree, len(t) - degree - 1):
        lo, hi = t[span], t[span + 1]
        if hi <= lo:
            continue
        points = []
        for j in range(degree + 1):
            at = [lo] * (degree - j) + [hi] * j
            d = [c[span - degree + i] for i in range(degree + 1)]
            for r in range(1, degree + 1):
                for i in range(degree, r - 1, -1):
                    left, right = t[span - degree + i], t[span + 1 + i - r]
                    a = (at[r - 1] - left) / (right - left)
                    d[i] = (1 - a) * d[i - 1] + a * d[i]
            points.append(d[degree])
        pieces.append(homogeneous(np.array(points)))
    return pieces


def quintics(point, first, second, nodes):
    """Quintic Hermite pieces of a curve given by complex value, first and second derivative."""
    pieces = []
    for a, b in pairwise(nodes):
        h = b - a
        p0, p5 = point(a), point(b)
        p1, p4 = p0 + first(a) * h / 5, p5 - first(b) * h / 5
        p2 = 2 * p1 - p0 + second(a) * h * h / 20
        p3 = 2 * p4 - p5 + second(b) * h * h / 20
        pieces.append(homogeneous(np.array([[z.real, z.imag] for z in (p0, p1, p2, p3, p4, p5)])))
    return pieces
