"""Surfaces and edges moved along the outward normal of a face: exact where the form allows it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from beadwright.brep._curves import Conic3, Curve3, Line3, Spline3
from beadwright.brep._evaluate import (
    curve_points,
    handedness,
    project,
    surface_normals,
)
from beadwright.brep._model import Coedge, Edge, Face
from beadwright.brep._surfaces import (
    CircleProfile,
    ExtrusionSurface,
    LineProfile,
    OffsetSurface,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    SplineProfile,
    SplineSurface,
    Surface,
)

Array = npt.NDArray[np.float64]

SAME_WAY = 1e-9
"""Unit vectors that differ by less are one direction."""
INWARD = 1e-7
"""Share of its parameters by which a place moves off a pole, where the normal cannot be had."""
DEGREE = 5
FIRST_SPANS = 16
MOST_SPANS = 512
CLOSE = 1e-7
"""How far an edge that is no line or circle may stray from the true one, mm."""


def parallel_surface(face: Face, distance: float) -> Surface:
    """The surface of a face moved outwards by a distance, mm (inwards if below 0), with the same parameters."""
    t = distance if face.outward else -distance
    surface = face.surface
    match surface:
        case PlaneSurface(frame=frame):
            n = np.cross(frame.axes[0], frame.axes[1])
            return PlaneSurface(frame=replace(frame, origin=frame.origin + t * n))
        case SphereSurface(frame=frame, radius=radius):
            return SphereSurface(frame=frame, radius=radius + t * handedness(frame.axes))
        case RevolutionSurface(frame=frame, profile=profile):
            hand = handedness(frame.axes)
            match profile:
                case LineProfile():
                    side = hand * _nappe(face, profile)
                    moved: LineProfile | CircleProfile | SplineProfile = replace(
                        profile, r0=profile.r0 + t * side * profile.dw, w0=profile.w0 - t * side * profile.dr
                    )
                case CircleProfile():
                    middle = 0.5 * float(face.uv_box[0, 1] + face.uv_box[1, 1])
                    side = hand * np.sign(profile.major + profile.minor * np.cos(middle))
                    moved = replace(profile, minor=profile.minor + t * float(side * np.sign(profile.minor)))
                case SplineProfile():
                    moved = replace(profile, offset=profile.offset + t)
            return RevolutionSurface(frame=frame, profile=moved)
        case OffsetSurface(base=base, distance=before):
            return OffsetSurface(base=base, distance=before + t)
        case SplineSurface() | ExtrusionSurface():
            return OffsetSurface(base=surface, distance=t)


def _nappe(face: Face, profile: LineProfile) -> float:
    middle = 0.5 * float(face.uv_box[0, 1] + face.uv_box[1, 1])
    return 1.0 if profile.r0 + middle * profile.dr > 0.0 else -1.0


def room(face: Face, outwards: bool) -> float:
    """How far a face can be moved before it meets its own centre or axis, mm; infinite where it never does.

    Of splines it is not known and told as infinite.
    """
    sign = 1.0 if outwards else -1.0
    surface, step = face.surface, 1e-3
    match surface:
        case SphereSurface(radius=radius):
            moved = parallel_surface(face, sign * step)
            assert isinstance(moved, SphereSurface)
            return abs(radius) if abs(moved.radius) < abs(radius) else np.inf
        case RevolutionSurface(profile=LineProfile() as profile):
            moved = parallel_surface(face, sign * step)
            assert isinstance(moved, RevolutionSurface)
            assert isinstance(moved.profile, LineProfile)
            v = face.uv_box[:, 1]
            least = float(np.abs(profile.r0 + v * profile.dr).min())
            shrinks = (abs(profile.r0 + v * profile.dr) - abs(moved.profile.r0 + v * moved.profile.dr)) / step
            return least / float(shrinks.max()) if shrinks.max() > SAME_WAY else np.inf
        case RevolutionSurface(profile=CircleProfile() as ring):
            moved = parallel_surface(face, sign * step)
            assert isinstance(moved, RevolutionSurface)
            assert isinstance(moved.profile, CircleProfile)
            return abs(ring.minor) if abs(moved.profile.minor) < abs(ring.minor) else np.inf
        case _:
            return np.inf


def edge_normals(face: Face, coedge: Coedge, edge: Edge, t: Array) -> Array:
    """Outward unit normals of a face at parameters of one of its edges, (k, 3)."""
    if isinstance(face.surface, PlaneSurface):
        n = np.cross(face.surface.frame.axes[0], face.surface.frame.axes[1])
        return np.tile(n if face.outward else -n, (len(t), 1))
    share = (t - edge.start) / (edge.end - edge.start)
    seeds = _along(coedge.uv, share if coedge.forward else 1.0 - share)
    if edge.curve is not None:
        seeds = project(face.surface, curve_points(edge.curve, t), seeds)[0]
    return normals_at(face, seeds)


def normals_at(face: Face, uv: Array) -> Array:
    """Outward unit normals; at a pole that of a place beside it."""
    normals = surface_normals(face.surface, uv)
    lost = ~np.any(normals != 0.0, axis=1)
    if lost.any():
        middle = face.uv_box.mean(axis=0)
        normals[lost] = surface_normals(face.surface, uv[lost] + INWARD * (middle - uv[lost]))
    return normals if face.outward else -normals


def _along(polyline: Array, share: Array) -> Array:
    """Places on a polyline by their share of its length in parameters."""
    step = np.linalg.norm(np.diff(polyline, axis=0), axis=1)
    at = np.concatenate(([0.0], np.cumsum(step)))
    if at[-1] == 0.0:
        return np.tile(polyline[0], (len(share), 1))
    return np.stack([np.interp(share * at[-1], at, polyline[:, k]) for k in range(2)], axis=1)


def parallel_edges(
    face: Face, coedge: Coedge, edge: Edge, distances: tuple[float, ...]
) -> tuple[tuple[Curve3, ...], Array | None, float]:
    """An edge moved along the normal of its face by some distances, with the edge's own parameter.

    Returns
    -------
    curves : tuple of Curve3
        All splines on the same knots, or all of the form of the edge.
    direction : (3,) float or None
        The one direction along which the edge moved; None if it differs from place to place.
    off : float
        How far a curve that had to be fitted strays from the true one, mm, at places between its knots.
    """
    curve = edge.curve
    assert curve is not None
    t = np.linspace(edge.start, edge.end, 9)
    normals = edge_normals(face, coedge, edge, t)
    if np.abs(normals - normals[0]).max() < SAME_WAY:
        return tuple(_shifted(curve, d * normals[0]) for d in distances), normals[0], 0.0
    if isinstance(curve, Conic3):
        ring = _rings(curve, t, normals, distances)
        if ring is not None:
            return ring, None, 0.0
    return _fitted(face, coedge, edge, distances)


def _shifted(curve: Curve3, by: Array) -> Curve3:
    match curve:
        case Line3():
            return replace(curve, origin=curve.origin + by)
        case Conic3():
            return replace(curve, centre=curve.centre + by)
        case Spline3():
            return replace(curve, poles=curve.poles + by)


def _rings(
    curve: Conic3, t: Array, normals: Array, distances: tuple[float, ...]
) -> tuple[Curve3, ...] | None:
    """A circle whose normals all make one angle with its axis moves to circles."""
    radius = float(np.linalg.norm(curve.major))
    if abs(float(np.linalg.norm(curve.minor)) - radius) > SAME_WAY * radius:
        return None
    out = (np.cos(t)[:, None] * curve.major + np.sin(t)[:, None] * curve.minor) / radius
    axis = np.cross(curve.major, curve.minor) / radius**2
    a, b = np.sum(out * normals, axis=1), normals @ axis
    if np.ptp(a) > SAME_WAY or np.ptp(b) > SAME_WAY:
        return None
    return tuple(
        Conic3(
            centre=curve.centre + d * float(b[0]) * axis,
            major=curve.major * (1.0 + d * float(a[0]) / radius),
            minor=curve.minor * (1.0 + d * float(a[0]) / radius),
        )
        for d in distances
    )


def _fitted(
    face: Face, coedge: Coedge, edge: Edge, distances: tuple[float, ...]
) -> tuple[tuple[Curve3, ...], None, float]:
    from scipy.interpolate import make_interp_spline

    curve = edge.curve
    assert curve is not None
    spans = FIRST_SPANS
    while True:
        t = np.linspace(edge.start, edge.end, spans + 1)
        between = 0.5 * (t[:-1] + t[1:])
        every = np.sort(np.concatenate((t, between)))
        points = curve_points(curve, every)
        normals = edge_normals(face, coedge, edge, every)
        off = 0.0
        curves = []
        for d in distances:
            true = points + d * normals
            spline = make_interp_spline(t, true[::2], k=DEGREE)
            off = max(off, float(np.linalg.norm(spline(between) - true[1::2], axis=1).max()))
            poles = np.ascontiguousarray(spline.c)
            curves.append(
                Spline3(
                    degree=DEGREE,
                    knots=np.ascontiguousarray(spline.t),
                    poles=poles,
                    weights=np.ones(len(poles)),
                )
            )
        if off <= CLOSE or spans >= MOST_SPANS:
            return tuple(curves), None, off
        spans *= 2
