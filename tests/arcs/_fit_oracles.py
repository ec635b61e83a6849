"""Slow, independent measures beside the fit: plain numpy on points, nothing of the code under test."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np

from beadwright.arcs import Fitted
from beadwright.curves import CurveLoops


def bezier_points(control: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Points of a rational Bézier piece by de Casteljau."""
    p = np.repeat(control[None], len(t), axis=0)
    t = t[:, None, None]
    for _ in range(len(control) - 1):
        p = (1 - t) * p[:, :-1] + t * p[:, 1:]
    return p[:, 0, :2] / p[:, 0, 2:]


def arc_points(p0: np.ndarray, p1: np.ndarray, bulge: float, u: np.ndarray) -> np.ndarray:
    """Points of an arc at equal shares of its sweep: the circle's rational form, no centre needed."""
    sweep = 4 * np.arctan(bulge)
    # sin(a s)/sin(s) forms a point of the arc from its chord and normal, also as s goes to 0.
    half = sweep / 2
    chord = p1 - p0
    normal = np.array([-chord[1], chord[0]])
    if abs(half) < 1e-7:
        along, aside = u, -half * u * (1 - u)
    else:
        a = half * (2 * u - 1)
        along = 0.5 + np.sin(a) / (2 * np.sin(half))
        aside = (np.cos(half) - np.cos(a)) / (2 * np.sin(half))
    return p0 + along[:, None] * chord + aside[:, None] * normal


def curve_of_move(loops: CurveLoops, span: np.ndarray, count: int) -> np.ndarray:
    """Points of the part of a spline that a move follows; it may run on from the curve's end to its start."""
    q0, t0, q1, t1 = span
    pieces = list(range(int(q0), int(q1) + 1))
    if (q1, t1) < (q0, t0):
        c = np.searchsorted(loops.first_piece, q0, side="right") - 1
        pieces = [*range(int(q0), loops.first_piece[c + 1]), *range(loops.first_piece[c], int(q1) + 1)]
    parts = []
    for k, q in enumerate(pieces):
        lo, hi = (t0 if k == 0 else 0.0), (t1 if k == len(pieces) - 1 else 1.0)
        if hi > lo:
            rows = slice(loops.first_control[q], loops.first_control[q + 1])
            parts.append(bezier_points(loops.control[rows], np.linspace(lo, hi, count)))
    return np.concatenate(parts)


def moves_of(fitted: Fitted) -> list[tuple[np.ndarray, np.ndarray, float]]:
    """Start, end and bulge of each move of all paths."""
    moves = []
    for path in fitted.paths:
        for m, bulge in enumerate(path.bulge.tolist()):
            moves.append((path.points[m], path.points[(m + 1) % len(path.points)], bulge))
    return moves


def sampled_deviation(loops: CurveLoops, fitted: Fitted, count: int = 65) -> float:
    """Greatest distance of the curve's samples from their own arc: a lower bound of the Fréchet distance."""
    worst = 0.0
    for span, (p0, p1, bulge) in zip(fitted.span, moves_of(fitted), strict=True):
        if span[0] < 0:
            continue
        points = curve_of_move(loops, span, count)
        worst = max(worst, float(distance_from_arc(points, p0, p1, bulge).max()))
        worst = max(worst, float(np.hypot(*(points[0] - p0))), float(np.hypot(*(points[-1] - p1))))
    return worst


def distance_from_arc(points: np.ndarray, p0: np.ndarray, p1: np.ndarray, bulge: float) -> np.ndarray:
    """Distance of points from an arc: by its centre inside its sector, else from its ends."""
    chord = p1 - p0
    length = np.hypot(*chord)
    ends = np.minimum(np.hypot(*(points - p0).T), np.hypot(*(points - p1).T))
    if length == 0.0:
        return ends
    unit = chord / length
    along = (points - p0) @ unit
    if abs(bulge) * length < 1e-7:
        aside = np.abs((points - p0) @ np.array([-unit[1], unit[0]]))
        return np.where((along >= 0) & (along <= length), aside, ends) - abs(bulge) * length / 2
    radius = length * (1 + bulge**2) / (4 * bulge)
    centre = p0 + chord / 2 + np.array([-unit[1], unit[0]]) * length * (1 - bulge**2) / (4 * bulge)
    sweep = 4 * np.arctan(bulge)
    start = np.arctan2(*(p0 - centre)[::-1])
    angle = np.arctan2(points[:, 1] - centre[1], points[:, 0] - centre[0]) - start
    angle = (np.sign(bulge) * angle) % (2 * np.pi)
    radial = np.abs(np.hypot(*(points - centre).T) - abs(radius))
    return np.where(angle <= abs(sweep), radial, ends)


def frechet(a: np.ndarray, b: np.ndarray) -> float:
    """Discrete Fréchet distance (Eiter and Mannila 1994) of two chains of points."""
    d = np.hypot(a[:, None, 0] - b[None, :, 0], a[:, None, 1] - b[None, :, 1])
    reach = np.empty_like(d)
    reach[0] = np.maximum.accumulate(d[0])
    for i in range(1, len(a)):
        reach[i, 0] = max(reach[i - 1, 0], d[i, 0])
        best = np.minimum(reach[i - 1, 1:], reach[i - 1, :-1])
        for j in range(1, len(b)):
            reach[i, j] = max(min(best[j - 1], reach[i, j - 1]), d[i, j])
    return float(reach[-1, -1])


def kinks(fitted: Fitted) -> list[np.ndarray]:
    """Turn between the end tangent of each move and the start tangent of the next, rad, path by path."""
    result = []
    for path in fitted.paths:
        ends = np.roll(path.points, -1, axis=0) if path.closed else path.points[1:]
        chord = ends - path.points[: len(ends)]
        angle, half = np.arctan2(chord[:, 1], chord[:, 0]), 2 * np.arctan(path.bulge)
        turn = np.roll(angle - half, -1) - (angle + half)
        turn = (turn + np.pi) % (2 * np.pi) - np.pi
        result.append(turn if path.closed else turn[:-1])
    return result


def exact_radial_gap(control: np.ndarray, t: Fraction, p0, p1, bulge) -> tuple[Fraction, Fraction, Fraction]:
    """Squared distance of a point from the centre of an arc, its squared radius, and its radius's sign.

    Exact: centre and radius follow from the ends and the bulge by rational operations alone.
    """
    rows = [[Fraction(float(v)) for v in row] for row in control]
    while len(rows) > 1:
        rows = [[(1 - t) * a + t * b for a, b in zip(r, s, strict=True)] for r, s in pairwise(rows)]
    x, y = rows[0][0] / rows[0][2], rows[0][1] / rows[0][2]
    (x0, y0), (x1, y1), b = (
        map(Fraction, map(float, p0)),
        map(Fraction, map(float, p1)),
        Fraction(float(bulge)),
    )
    cx, cy = x1 - x0, y1 - y0
    h = (1 - b * b) / (4 * b)
    mx, my = (x0 + x1) / 2 - cy * h, (y0 + y1) / 2 + cx * h
    return (x - mx) ** 2 + (y - my) ** 2, (x0 - mx) ** 2 + (y0 - my) ** 2, b


def best_count(kappa_slope, length: float, tolerance: float, count: int = 200_001) -> float:
    """Integral of (|kappa'| / (72 sqrt 3 tolerance))^(1/3) ds by the trapezoid rule."""
    s = np.linspace(0, length, count)
    return float(np.trapezoid((np.abs(kappa_slope(s)) / (72 * 3**0.5 * tolerance)) ** (1 / 3), s))


def curvature(control: np.ndarray, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Curvature and speed of a rational Bézier piece, by de Casteljau and the quotient rule."""
    p, d = np.repeat(np.asarray(control, dtype=float)[None], len(t), axis=0), len(control) - 1
    levels = [p]
    for _ in range(d):
        p = (1 - t[:, None, None]) * p[:, :-1] + t[:, None, None] * p[:, 1:]
        levels.append(p)
    point, w = levels[d][:, 0, :2] / levels[d][:, 0, 2:], levels[d][:, 0, 2:]
    one = d * (levels[d - 1][:, 1] - levels[d - 1][:, 0])
    two = levels[d - 2]
    two = d * (d - 1) * (two[:, 2] - 2 * two[:, 1] + two[:, 0])
    first = (one[:, :2] - point * one[:, 2:]) / w
    second = (two[:, :2] - 2 * first * one[:, 2:] - point * two[:, 2:]) / w
    speed = np.hypot(*first.T)
    return (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / speed**3, speed


def least_radius(pieces: list[np.ndarray]) -> float:
    """Least radius of curvature over samples."""
    t = np.linspace(0, 1, 401)
    return float(1 / max(np.abs(curvature(c, t)[0]).max() for c in pieces))


def best_count_of_pieces(pieces: list[np.ndarray], tolerance: float) -> float:
    """The same integral over Bézier pieces: (|d kappa| ds^2 / (72 sqrt 3 tolerance))^(1/3), summed."""
    t = np.linspace(0, 1, 401)
    total = 0.0
    for c in pieces:
        kappa, speed = curvature(c, t)
        ds = np.diff(t) * (speed[1:] + speed[:-1]) / 2
        total += float(np.sum((np.abs(np.diff(kappa)) * ds**2 / (72 * 3**0.5 * tolerance)) ** (1 / 3)))
    return total
