"""The greatest value of spline functions on trimmed pieces, by bounds of Bernstein coefficients."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.brep import _bezier, _splines
from beadwright.brep._evaluate import surface_derivatives, surface_points
from beadwright.brep._model import Face
from beadwright.brep._surfaces import OffsetSurface, SplineSurface
from beadwright.brep._trim import contains, outline_boxes

Array = npt.NDArray[np.float64]

NEAR = 1e-9
"""A piece of curve that reaches less than this beyond what is known is let go, mm."""
SLACK = 1e-12
"""Slopes this small against the coefficients may be of either sign: on a symmetric part the turn lies on the
line between two pieces, where rounding can give each of them the sign that says it is in the other."""

NEAR_SHEET = 2e-7
"""The same for a piece of surface: a crest line takes ``length / sqrt(this)`` cells, mm."""
ROUNDS = 48
TRIES = 48
"""Cells from which Newton's method starts in each round: those with the highest bounds."""


def curve_reach(
    knots: Array, degree: int, heights: Array, weights: Array, span: tuple[float, float], best: float
) -> float:
    """Greatest value above ``best`` of a scalar B-spline on a range of parameters.

    Parameters
    ----------
    knots, degree, heights, weights
        Of the scalar function; heights (n,) are poles, not yet weighted.
    span : (float, float)
        Range of parameters; the ends have been looked at already.
    best : float
        What is known.
    """
    spans, first, matrix = _bezier.extraction(knots, degree)
    keep = (spans[:, 1] > span[0]) & (spans[:, 0] < span[1])
    rows = first[keep][:, None] + np.arange(degree + 1)
    local = np.stack((heights * weights, weights), axis=-1)[rows]
    pieces = matrix[keep] @ local
    ranges = spans[keep]
    poles = heights[:, None]
    for _ in range(ROUNDS):
        bound = np.max(pieces[..., 0] / pieces[..., 1], axis=1)
        live = (bound > best + NEAR) & (ranges[:, 1] > span[0]) & (ranges[:, 0] < span[1])
        pieces, ranges = pieces[live], ranges[live]
        if len(pieces) == 0:
            break
        t = np.clip(np.concatenate((ranges.mean(axis=1), ranges[:, 1])), *span)
        best = max(best, float(np.max(_splines.curve_derivatives(knots, degree, poles, weights, t, 0)[0])))
        left, right = _bezier.halves(pieces, 1)
        middle = ranges.mean(axis=1)
        pieces = np.concatenate((left, right))
        ranges = np.concatenate(
            (np.stack((ranges[:, 0], middle), axis=1), np.stack((middle, ranges[:, 1]), axis=1))
        )
    return best


def scalar_critical(knots: Array, degree: int, heights: Array, weights: Array) -> list[float]:
    """Parameters where a scalar B-spline may be greatest or least: zeros of its derivative, and kinks.

    Pieces without a change of sign among the coefficients of the derivative hold none; the others are
    halved down to 1e-12 of their span, and each cluster gives one parameter.
    """
    spans, first, matrix = _bezier.extraction(knots, degree)
    rows = first[:, None] + np.arange(degree + 1)
    pieces = matrix @ np.stack((heights * weights, weights), axis=-1)[rows]
    ranges = spans
    smallest = 1e-12 * (knots[-1] - knots[0])
    done: list[float] = [float(t) for t in spans[1:, 0]]
    for _ in range(ROUNDS):
        live = _turning(pieces)
        pieces, ranges = pieces[live], ranges[live]
        if len(pieces) == 0:
            break
        small = ranges[:, 1] - ranges[:, 0] <= smallest
        # A flat piece would be halved for ever: one of its points stands for all of it.
        value = pieces[..., 0] / pieces[..., 1]
        small |= np.ptp(value, axis=1) < NEAR
        done += [float(t) for t in ranges[small].mean(axis=1)]
        pieces, ranges = pieces[~small], ranges[~small]
        left, right = _bezier.halves(pieces, 1)
        middle = ranges.mean(axis=1)
        pieces = np.concatenate((left, right))
        ranges = np.concatenate(
            (np.stack((ranges[:, 0], middle), axis=1), np.stack((middle, ranges[:, 1]), axis=1))
        )
    return done


def _turning(pieces: Array) -> npt.NDArray[np.bool_]:
    """Whether N'W - NW' can vanish on rational pieces (m, p + 1, 2): coefficients of both signs.

    With f between its least and greatest coefficient ratio, N' - f W' bounds it from both sides.
    """
    value = pieces[..., 0] / pieces[..., 1]
    d = np.diff(pieces, axis=1)
    slopes = np.stack([d[..., 0] - f[:, None] * d[..., 1] for f in (value.min(axis=1), value.max(axis=1))])
    slack = SLACK * np.max(np.abs(pieces), axis=(1, 2))
    return np.asarray((slopes.min(axis=(0, 2)) <= slack) & (slopes.max(axis=(0, 2)) >= -slack))


def sheet_reach(face: Face, base: SplineSurface, distance: float, direction: Array, best: float) -> float:
    """Greatest value above ``best`` of a spline face (or its offset) along a direction, off its outline.

    Parameters
    ----------
    face : Face
        Whose surface is ``base`` or the offset of it by ``distance``.
    base : SplineSurface
    distance : float
    direction : (3,) float
    best : float
    """
    heights = base.poles @ direction
    if float(heights.max()) + abs(distance) <= best + NEAR_SHEET:
        return best
    best = _creases(face, base, direction, best)
    cells, boxes = _cells(base, heights, best - abs(distance))
    chords = outline_boxes(face)
    for _ in range(ROUNDS):
        if len(cells) == 0:
            break
        bound = np.max(cells[..., 0] / cells[..., 1], axis=(1, 2))
        live = bound + abs(distance) > best + NEAR_SHEET
        cells, boxes, bound = cells[live], boxes[live], bound[live]
        margin = _margin(base, boxes, distance, direction)
        live = (bound + margin > best + NEAR_SHEET) & _may_turn(cells, best - margin, bound)
        live[live] &= _touches(face, boxes[live], chords)
        cells, boxes = cells[live], boxes[live]
        if len(cells) == 0:
            break
        top = np.argsort(-bound[live], kind="stable")[:TRIES]
        best = _try(face, base, boxes[top], direction, best)
        cells, boxes = _split(cells, boxes)
    return best


def _cells(base: SplineSurface, heights: Array, floor: float) -> tuple[Array, Array]:
    """Bernstein pieces (m, p + 1, q + 1, 2) of height and weight, of spans that may rise above a floor."""
    p, q = base.degree
    spans_u, first_u, matrix_u = _bezier.extraction(base.knots_u, p)
    spans_v, first_v, matrix_v = _bezier.extraction(base.knots_v, q)
    window = np.lib.stride_tricks.sliding_window_view(heights, (p + 1, q + 1)).max(axis=(2, 3))
    iu, iv = np.nonzero(window[np.ix_(first_u, first_v)] > floor)
    table = np.stack((heights * base.weights, base.weights), axis=-1)
    local = table[
        first_u[iu][:, None, None] + np.arange(p + 1)[None, :, None],
        first_v[iv][:, None, None] + np.arange(q + 1)[None, None, :],
    ]
    cells = np.einsum("mab,mbcd->macd", matrix_u[iu], local)
    cells = np.einsum("mce,maed->macd", matrix_v[iv], cells)
    boxes = np.stack((spans_u[iu, 0], spans_v[iv, 0], spans_u[iu, 1], spans_v[iv, 1]), axis=1)
    return cells, boxes


def _margin(base: SplineSurface, boxes: Array, distance: float, direction: Array) -> Array:
    """How much an offset can add to the height of a critical point in each cell."""
    if distance == 0.0:
        return np.zeros(len(boxes))
    middle = 0.5 * (boxes[:, :2] + boxes[:, 2:])
    s = surface_derivatives(base, middle, 1)
    cross = np.cross(s[1, 0], s[0, 1])
    cosine = cross @ direction / np.maximum(np.linalg.norm(cross, axis=1), 1e-300)
    # Small cells with a clear side know the sign; the others take the worst.
    return np.where(np.abs(cosine) > 0.9, distance * np.sign(cosine), abs(distance))


def _may_turn(cells: Array, low: Array, high: Array) -> npt.NDArray[np.bool_]:
    """Whether both partial derivatives of N/W can vanish where the value is between low and high."""
    ok = np.ones(len(cells), dtype=bool)
    slack = SLACK * np.max(np.abs(cells), axis=(1, 2, 3))
    for axis in (1, 2):
        d = np.diff(cells, axis=axis)
        slopes = np.stack([d[..., 0] - f[:, None, None] * d[..., 1] for f in (np.minimum(low, high), high)])
        ok &= (slopes.min(axis=(0, 2, 3)) <= slack) & (slopes.max(axis=(0, 2, 3)) >= -slack)
    return ok


def _touches(face: Face, boxes: Array, chords: Array) -> npt.NDArray[np.bool_]:
    """Whether cells lie inside the outline or meet it."""
    out = contains(face, 0.5 * (boxes[:, :2] + boxes[:, 2:]))
    for chunk in range(0, len(boxes), 1024):
        b = boxes[chunk : chunk + 1024, None]
        overlap = (chords[:, :2] <= b[..., 2:]) & (chords[:, 2:] >= b[..., :2])
        out[chunk : chunk + 1024] |= np.any(np.all(overlap, axis=2), axis=1)
    return out


def _split(cells: Array, boxes: Array) -> tuple[Array, Array]:
    """Quarters of all cells."""
    for axis in (0, 1):
        left, right = _bezier.halves(cells, axis + 1)
        middle = 0.5 * (boxes[:, axis] + boxes[:, axis + 2])
        low, high = boxes.copy(), boxes.copy()
        low[:, axis + 2], high[:, axis] = middle, middle
        cells, boxes = np.concatenate((left, right)), np.concatenate((low, high))
    return cells, boxes


def _try(face: Face, base: SplineSurface, boxes: Array, direction: Array, best: float) -> float:
    """Newton from the middle of each cell to where the gradient vanishes; the best one inside counts."""
    uv = 0.5 * (boxes[:, :2] + boxes[:, 2:])
    low = np.array([base.knots_u[0], base.knots_v[0]])
    high = np.array([base.knots_u[-1], base.knots_v[-1]])
    tries = [uv]
    for _ in range(4):
        s = surface_derivatives(base, uv, 2)
        g = np.stack((s[1, 0] @ direction, s[0, 1] @ direction), axis=1)
        a, b, c = s[2, 0] @ direction, s[1, 1] @ direction, s[0, 2] @ direction
        det = a * c - b * b
        ok = np.abs(det) > 1e-14 * (np.abs(a * c) + b * b + 1e-300)
        safe = np.where(ok, det, 1.0)
        step = np.stack((c * g[:, 0] - b * g[:, 1], a * g[:, 1] - b * g[:, 0]), axis=1) / safe[:, None]
        width = boxes[:, 2:] - boxes[:, :2]
        step = np.clip(np.where(ok[:, None], step, 0.0), -width, width)
        uv = np.clip(uv - step, low, high)
    tries.append(uv)
    every = np.concatenate(tries)
    every = every[contains(face, every)]
    if len(every) == 0:
        return best
    return max(best, float(np.max(surface_points(face.surface, every) @ direction)))


def _creases(face: Face, base: SplineSurface, direction: Array, best: float) -> float:
    """Look along knot lines at which the surface may have a crease (multiplicity >= degree)."""
    for axis in (0, 1):
        knots = (base.knots_u, base.knots_v)[axis]
        degree = base.degree[axis]
        inner, counts = np.unique(knots[degree + 1 : -degree - 1], return_counts=True)
        creases = inner[counts >= degree]
        if len(creases):
            best = _along(face, base, axis, creases, direction, best)
    return best


def _along(
    face: Face, base: SplineSurface, axis: int, creases: Array, direction: Array, best: float
) -> float:
    """The search of `sheet_reach` on lines of one parameter, all together."""
    other = 1 - axis
    degree = base.degree[other]
    first, values = _splines.basis((base.knots_u, base.knots_v)[axis], base.degree[axis], creases, 0)
    rows = first[:, None] + np.arange(base.degree[axis] + 1)
    table = np.stack((base.poles @ direction * base.weights, base.weights), axis=-1)
    lines = np.einsum("cj,cjnd->cnd", values[0], np.moveaxis(table, axis, 0)[rows])
    spans, start, matrix = _bezier.extraction((base.knots_u, base.knots_v)[other], degree)
    pieces = np.einsum("sab,csbd->csad", matrix, lines[:, start[:, None] + np.arange(degree + 1)])
    pieces = pieces.reshape(-1, degree + 1, 2)
    boxes = np.empty((len(pieces), 4))
    boxes[:, axis] = boxes[:, axis + 2] = np.repeat(creases, len(spans))
    boxes[:, other], boxes[:, other + 2] = (
        np.tile(spans[:, 0], len(creases)),
        np.tile(spans[:, 1], len(creases)),
    )
    margin = abs(face.surface.distance) if isinstance(face.surface, OffsetSurface) else 0.0
    chords = outline_boxes(face)
    for _ in range(ROUNDS):
        live = np.max(pieces[..., 0] / pieces[..., 1], axis=1) + margin > best + NEAR
        live &= _turning(pieces)
        pieces, boxes = pieces[live], boxes[live]
        touching = _touches(face, boxes, chords)
        pieces, boxes = pieces[touching], boxes[touching]
        if len(pieces) == 0:
            break
        middle = 0.5 * (boxes[:, :2] + boxes[:, 2:])
        inside = middle[contains(face, middle)]
        if len(inside):
            best = max(best, float(np.max(surface_points(face.surface, inside) @ direction)))
        pieces = np.concatenate(_bezier.halves(pieces, 1))
        low, high = boxes.copy(), boxes.copy()
        low[:, other + 2] = high[:, other] = middle[:, other]
        boxes = np.concatenate((low, high))
    return best
