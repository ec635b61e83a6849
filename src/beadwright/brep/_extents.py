"""How far a model reaches in given directions: true extents, not those of control points."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.brep._curves import Conic3, Spline3
from beadwright.brep._evaluate import curve_points, surface_points
from beadwright.brep._model import Edge, Face, Model
from beadwright.brep._reach import curve_reach, scalar_critical, sheet_reach
from beadwright.brep._surfaces import (
    CircleProfile,
    LineProfile,
    OffsetSurface,
    RevolutionSurface,
    SphereSurface,
    SplineProfile,
    SplineSurface,
)
from beadwright.brep._trim import contains

Array = npt.NDArray[np.float64]


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
    out = np.empty((2, len(axes)))
    for k, axis in enumerate(axes):
        out[1, k] = reach(model, axis)
        out[0, k] = -reach(model, -axis)
    return out


def reach(model: Model, direction: Array) -> float:
    """Greatest coordinate of a model along one unit vector, mm."""
    best = float(np.max(model.vertices @ direction)) if len(model.vertices) else -np.inf
    ends = [e for e in model.edges if e.curve is not None]
    for edge in ends:
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
            ends = np.array([edge.start, edge.end])
            return float(np.max(curve_points(edge.curve, ends) @ direction))
        case Spline3() as spline:
            if float(np.max(spline.poles @ direction)) <= best:
                return best
            ends = np.array([edge.start, edge.end])
            best = max(best, float(np.max(curve_points(spline, ends) @ direction)))
            heights = spline.poles @ direction
            return curve_reach(
                spline.knots, spline.degree, heights, spline.weights, (edge.start, edge.end), best
            )
        case None:
            return best
        case line:
            return float(np.max(curve_points(line, np.array([edge.start, edge.end])) @ direction))


def _face_reach(face: Face, direction: Array, best: float) -> float:
    surface = face.surface
    match surface:
        case SphereSurface(frame=frame, radius=radius):
            if float(frame.origin @ direction) + radius <= best:
                return best
            x, y, z = frame.axes @ direction
            uv = np.array([[np.arctan2(y, x), np.arctan2(z, np.hypot(x, y))]])
            return _highest(face, uv, direction, best)
        case RevolutionSurface():
            return _highest(face, _revolution_critical(surface, direction), direction, best)
        case SplineSurface():
            return sheet_reach(face, surface, 0.0, direction, best)
        case OffsetSurface(base=SplineSurface() as base, distance=distance):
            return sheet_reach(face, base, distance, direction, best)
        case _:
            # The highest line of a plane or an extrusion runs on to the outline.
            return best


def _highest(face: Face, uv: Array, direction: Array, best: float) -> float:
    if len(uv) == 0:
        return best
    heights = surface_points(face.surface, uv) @ direction
    above = heights > best
    if not above.any():
        return best
    inside = contains(face, uv[above])
    return float(max(best, *heights[above][inside])) if inside.any() else best


def _revolution_critical(surface: RevolutionSurface, direction: Array) -> Array:
    """Where the normal of a surface of revolution is along a direction; kinks of the profile too."""
    x, y, z = surface.frame.axes @ direction
    rho = float(np.hypot(x, y))
    u = float(np.arctan2(y, x))
    found: list[tuple[float, float]] = []
    for turn, sign in ((u, 1.0), (u + np.pi, -1.0)):
        match surface.profile:
            case LineProfile():
                continue  # its highest line runs on to the outline or the apex
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
