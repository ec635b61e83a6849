"""How far a model reaches in given directions: true extents, not those of control points."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from beadwright.brep._curves import Conic3, Curve3, Spline3
from beadwright.brep._evaluate import curve_points, surface_points
from beadwright.brep._model import Edge, Face, Model
from beadwright.brep._reach import curve_reach, scalar_critical, sheet_reach
from beadwright.brep._surfaces import (
    CircleProfile,
    ExtrusionSurface,
    LineProfile,
    OffsetSurface,
    RevolutionSurface,
    SphereSurface,
    SplineProfile,
    SplineSurface,
)
from beadwright.brep._trim import contains

Array = npt.NDArray[np.float64]

LEVEL = 1e-9
"""A ruling turned by less against the platform counts as level, rad."""


def extents(model: Model, directions: npt.ArrayLike | None = None) -> Array:
    """Least and greatest coordinate of a model along directions.

    A face reaches farthest at its outline or where its normal is along the direction; so the answer is
    the greatest over vertices, critical points of edges and critical points of surfaces that lie inside
    their outlines. Splines are searched by bounds of their Bernstein pieces, so no maximum is missed.

    Parameters
    ----------
    model : Model
    directions : (k, 3) float, optional
        Unit vectors; x, y, z if not given.

    Returns
    -------
    (2, k) float
        Least and greatest, mm, within 2e-7 on spline faces, else rounding (but for the sag of outlines: a
        critical point nearer to an outline than its sag may be missed, which costs the square of that).
    """
    axes = np.eye(3) if directions is None else np.asarray(directions, dtype=float)
    known = _known_points(model)
    out = np.empty((2, len(axes)))
    for k, axis in enumerate(axes):
        out[1, k] = _reach(model, axis, known)
        out[0, k] = -_reach(model, -axis, known)
    return out


def faces_extents(model: Model, rows: Sequence[int]) -> Array:
    """Least and greatest x, y, z of some faces of a model, (2, 3), mm; see `extents`."""
    faces = tuple(model.faces[row] for row in rows)
    edges = sorted({coedge.edge for face in faces for wire in face.wires for coedge in wire})
    ends = sorted({vertex for row in edges for vertex in model.edges[row].vertices})
    part = replace(
        model, faces=faces, edges=tuple(model.edges[row] for row in edges), vertices=model.vertices[ends]
    )
    return extents(part)


def _known_points(model: Model) -> Array:
    """Corners, ends of edges, and faces along their outlines: what every direction starts from.

    Faces and edges of a real file miss each other by its gap, so the outline is looked at on both.
    """
    found = [model.vertices]
    for edge in model.edges:
        if edge.curve is not None:
            found.append(curve_points(edge.curve, np.array([edge.start, edge.end])))
    for face in model.faces:
        lines = [coedge.uv for wire in face.wires for coedge in wire]
        if lines:
            found.append(surface_points(face.surface, np.concatenate(lines)))
    return np.concatenate(found)


def _reach(model: Model, direction: Array, known: Array) -> float:
    """Greatest coordinate of a model along one unit vector, mm."""
    best = float(np.max(known @ direction))
    for edge in model.edges:
        best = max(best, _edge_reach(edge, direction, best))
    for face in model.faces:
        best = max(best, _face_reach(face, direction, best))
    return best


def _edge_reach(edge: Edge, direction: Array, best: float) -> float:
    match edge.curve:
        case Conic3(centre=centre, major=major, minor=minor):
            middle = float(centre @ direction)
            a, b = float(major @ direction), float(minor @ direction)
            if middle + np.hypot(a, b) <= best:
                return best
            top = np.arctan2(b, a)
            top += 2.0 * np.pi * np.ceil((edge.start - top) / (2.0 * np.pi))
            if top <= edge.end:
                return middle + float(np.hypot(a, b))
            return best
        case Spline3() as spline:
            heights = spline.poles @ direction
            if float(np.max(heights)) <= best:
                return best
            span = (edge.start, edge.end)
            return curve_reach(spline.knots, spline.degree, heights, spline.weights, span, best)
        case _:
            return best  # a line ends at its highest point


def _face_reach(face: Face, direction: Array, best: float) -> float:
    surface = face.surface
    match surface:
        case SphereSurface(frame=frame, radius=radius):
            if float(frame.origin @ direction) + radius <= best:
                return best
            x, y, z = frame.axes @ direction
            uv = np.array([[np.arctan2(y, x), np.arctan2(z, np.hypot(x, y))]])
            return _highest(face, uv, direction, best)
        case RevolutionSurface(profile=LineProfile() as profile):
            x, y, z = (float(c) for c in surface.frame.axes @ direction)
            rho = math.hypot(x, y)
            height = float(surface.frame.origin @ direction) - best
            v = face.uv_box[:, 1]
            ring = abs(profile.r0 + v * profile.dr) * rho
            if float(np.max(height + (profile.w0 + v * profile.dw) * z + ring)) <= 0.0:
                return best
            u = math.atan2(y, x)
            return _highest_line(face, [u, u + math.pi], direction, best)
        case RevolutionSurface():
            return _highest(face, _revolution_critical(surface, direction), direction, best)
        case SplineSurface():
            return sheet_reach(face, surface, 0.0, direction, best)
        case OffsetSurface(base=SplineSurface() as base, distance=distance):
            return sheet_reach(face, base, distance, direction, best)
        case ExtrusionSurface(directrix=directrix, direction=along):
            if abs(float(along @ direction)) > LEVEL:
                return best
            return _highest_line(face, _directrix_critical(directrix, direction), direction, best)
        case _:
            return best  # a plane is highest on its outline


def _highest(face: Face, uv: Array, direction: Array, best: float) -> float:
    if len(uv) == 0:
        return best
    heights = surface_points(face.surface, uv) @ direction
    above = heights > best
    if not above.any():
        return best
    inside = contains(face, uv[above])
    return float(max(best, *heights[above][inside])) if inside.any() else best


def _highest_line(face: Face, us: list[float], direction: Array, best: float) -> float:
    """Lines u = const of a ruled face, from outline to outline.

    Their ends lie on edges, but an edge may miss the face by the file's gap.
    """
    found = []
    turn = 2.0 * np.pi if isinstance(face.surface, RevolutionSurface) else 0.0
    for wire in face.wires:
        a = np.concatenate([coedge.uv for coedge in wire])
        b = np.roll(a, -1, axis=0)
        for u in us:
            low = float(face.uv_box[0, 0])
            at = low + np.mod(u - low, turn) if turn else u
            hit = (a[:, 0] > at) != (b[:, 0] > at)
            share = (at - a[hit, 0]) / (b[hit, 0] - a[hit, 0])
            v = a[hit, 1] + share * (b[hit, 1] - a[hit, 1])
            found.append(np.stack((np.full(len(v), at), v), axis=1))
    if not found:
        return best
    uv = np.concatenate(found)
    return max(best, float(np.max(surface_points(face.surface, uv) @ direction, initial=-np.inf)))


def _directrix_critical(directrix: Curve3, direction: Array) -> list[float]:
    match directrix:
        case Conic3(major=major, minor=minor):
            top = float(np.arctan2(minor @ direction, major @ direction))
            return [top + k * np.pi for k in range(-4, 5)]
        case Spline3() as spline:
            heights = spline.poles @ direction
            return scalar_critical(spline.knots, spline.degree, heights, spline.weights)
        case _:
            return []


def _revolution_critical(surface: RevolutionSurface, direction: Array) -> Array:
    """Where the normal of a surface of revolution is along a direction; kinks of the profile too."""
    x, y, z = surface.frame.axes @ direction
    rho = float(np.hypot(x, y))
    u = float(np.arctan2(y, x))
    found: list[tuple[float, float]] = []
    for turn, sign in ((u, 1.0), (u + np.pi, -1.0)):
        match surface.profile:
            case CircleProfile():
                v = float(np.arctan2(z, sign * rho))
                found += [(turn, v), (turn, v + np.pi)]
            case SplineProfile(curve=curve):
                poles = np.stack((curve.poles[:, 0], curve.poles[:, 1]), axis=1)
                heights = poles @ np.array([sign * rho, z])
                found += [
                    (turn, v) for v in scalar_critical(curve.knots, curve.degree, heights, curve.weights)
                ]
    return np.array(found).reshape(-1, 2)
