"""Which way a face looks: up or upright, down, or both with silhouettes between.

A silhouette is where the surface's normal is horizontal: n_z = 0. Of planes, spheres, cylinders, cones,
extrusions and upright surfaces of revolution silhouettes are lines and circles in closed form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import (
    CircleProfile,
    Conic3,
    Curve3,
    ExtrusionSurface,
    Face,
    Line3,
    LineProfile,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    Spline3,
    SplineProfile,
    Surface,
    contains,
    curve_derivatives,
    project,
    surface_normals,
    surface_points,
)
from beadwright.brep._reach import scalar_critical

Array = npt.NDArray[np.float64]

UPRIGHT = 1e-9
"""A normal whose vertical part is smaller than this is horizontal."""
GRID = 40
"""Samples across each parameter of a face."""
ASIDE = 1e-3
"""How far beside a silhouette, as a share of the face's size, both sides must belong to the face."""
TURN = 2.0 * np.pi


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Facing:
    """How a face looks.

    Attributes
    ----------
    face : Face
    sign : int
        1 where all of it looks up or is upright, -1 where all of it looks down, 0 where it does both.
    silhouettes : tuple of (Curve3, float, float)
        Curves between up and down that may cross the face, with their ends; empty unless `sign` is 0.
    sampled : bool
        Whether the sign stands on samples, and silhouettes, if any, have no closed form.
    seeds : (k, 2) float
        Parameters of samples, from which points are located on surfaces without a closed form.
    """

    face: Face
    sign: int
    silhouettes: tuple[tuple[Curve3, float, float], ...]
    sampled: bool
    seeds: Array

    def normals(self, points: Array) -> Array:
        """Outward unit normals at points (k, 3) on or very near the surface: (k, 3)."""
        normals = surface_normals(self.face.surface, parameters(self.face.surface, points, self.seeds))
        return normals if self.face.outward else -normals

    def normal_z(self, points: Array) -> Array:
        """Their vertical part: (k,)."""
        return self.normals(points)[:, 2]


def facing_of(face: Face) -> Facing:
    """How a placed face looks."""
    seeds = _samples(face)
    z = _outward_z(face, seeds)
    curves = _silhouettes(face.surface, face.uv_box)
    sampled = curves is None
    if curves is None:
        mixed = bool((z < -UPRIGHT).any() and (z > UPRIGHT).any())
        curves = ()
    else:
        mixed = any(_inside(face, seeds, curve) for curve in curves)
    sign = 0 if mixed else (-1 if z[np.argmax(np.abs(z))] < -UPRIGHT else 1)
    return Facing(
        face=face, sign=sign, silhouettes=tuple(curves) if mixed else (), sampled=sampled, seeds=seeds
    )


def _outward_z(face: Face, uv: Array) -> Array:
    z = surface_normals(face.surface, uv)[:, 2]
    return z if face.outward else -z


def _samples(face: Face) -> Array:
    """Parameters inside a face; of one too small for the grid, points of its outline."""
    low, high = face.uv_box
    share = (np.arange(GRID) + 0.5) / GRID
    u, v = np.meshgrid(low[0] + share * (high[0] - low[0]), low[1] + share * (high[1] - low[1]))
    uv = np.stack((u.ravel(), v.ravel()), axis=1)
    inside = uv[contains(face, uv)]
    if len(inside) or not face.wires:
        return inside
    return np.concatenate([coedge.uv for wire in face.wires for coedge in wire])


def parameters(surface: Surface, points: Array, seeds: Array) -> Array:
    """Parameters (k, 2) of points (k, 3): in closed form, or by descent from the nearest sample."""
    match surface:
        case PlaneSurface(frame=frame):
            return np.asarray((points - frame.origin) @ frame.axes[:2].T)
        case SphereSurface(frame=frame):
            x, y, z = ((points - frame.origin) @ frame.axes.T).T
            return np.stack((np.arctan2(y, x), np.arctan2(z, np.hypot(x, y))), axis=1)
        case RevolutionSurface(frame=frame, profile=LineProfile() | CircleProfile() as profile):
            x, y, w = ((points - frame.origin) @ frame.axes.T).T
            return _on_profile(profile, x, y, w)
        case _:
            samples = surface_points(surface, seeds)
            near = np.array(
                [int(np.argmin(((samples - p) ** 2).sum(axis=1))) for p in points], dtype=np.int64
            )
            return project(surface, points, seeds[near])[0]


def _on_profile(profile: LineProfile | CircleProfile, x: Array, y: Array, w: Array) -> Array:
    """On the sheet, of positive or negative radius, that is nearer."""
    found, missed = [], []
    for side in (1.0, -1.0):
        r = side * np.hypot(x, y)
        if isinstance(profile, LineProfile):
            v = (r - profile.r0) * profile.dr + (w - profile.w0) * profile.dw
            miss = np.hypot(r - profile.r0 - v * profile.dr, w - profile.w0 - v * profile.dw)
        else:
            v = np.arctan2(w - profile.w0, r - profile.major)
            miss = np.abs(np.hypot(r - profile.major, w - profile.w0) - profile.minor)
        found.append(np.stack((np.arctan2(side * y, side * x), v), axis=1))
        missed.append(miss)
    return np.where((missed[1] < missed[0])[:, None], found[1], found[0])


def _silhouettes(surface: Surface, box: Array) -> Sequence[tuple[Curve3, float, float]] | None:
    """All curves of horizontal normal in closed form; None where there is no such form."""
    match surface:
        case PlaneSurface():
            return ()
        case SphereSurface(frame=frame, radius=radius):
            return (_ring(frame.origin, radius),)
        case RevolutionSurface(frame=frame, profile=profile):
            x, y, axis = frame.axes
            tilt = float(np.hypot(x[2], y[2]))
            match profile:
                case LineProfile(dr=dr, dw=dw):
                    side = dw * tilt
                    if abs(side) <= max(abs(dr * axis[2]), UPRIGHT):
                        return ()
                    turn = float(np.arccos(dr * axis[2] / side))
                    middle = float(np.arctan2(y[2], x[2]))
                    return [_ruling(surface, u, box[:, 1]) for u in (middle - turn, middle + turn)]
                case CircleProfile() if tilt < UPRIGHT:
                    turns = [0.0, np.pi]
                case SplineProfile(curve=curve) if tilt < UPRIGHT:
                    ends = [float(curve.knots[0]), float(curve.knots[-1])]
                    found = scalar_critical(curve.knots, curve.degree, curve.poles[:, 0], curve.weights)
                    turns = [v for v in found if v not in ends]
                case _:
                    return None
            points = surface_points(surface, np.array([[0.0, v] for v in turns]).reshape(-1, 2))
            middles = frame.origin + ((points - frame.origin) @ axis)[:, None] * axis
            return [
                _ring(m, float(np.linalg.norm(p - m)))
                for p, m in zip(points, middles, strict=True)
                if (p != m).any()
            ]
        case ExtrusionSurface(directrix=directrix, direction=direction):
            if np.hypot(direction[0], direction[1]) < UPRIGHT:
                return ()
            return [_ruling(surface, u, box[:, 1]) for u in _tangent_turns(directrix, direction, box[:, 0])]
        case _:
            return None


def _ring(centre: Array, radius: float) -> tuple[Curve3, float, float]:
    """A horizontal circle, counter-clockwise from above."""
    major, minor = np.array([radius, 0.0, 0.0]), np.array([0.0, radius, 0.0])
    return Conic3(centre=centre, major=major, minor=minor), 0.0, TURN


def _ruling(surface: Surface, u: float, ends: Array) -> tuple[Curve3, float, float]:
    """The straight line u = const of a ruled surface whose v is a length."""
    a, b = surface_points(surface, np.array([[u, ends[0]], [u, ends[1]]]))
    size = float(np.linalg.norm(b - a))
    return Line3(origin=a, direction=(b - a) / size), 0.0, size


def _tangent_turns(directrix: Curve3, direction: Array, ends: Array) -> list[float]:
    """Where the tangent of a directrix lies in an upright plane along the direction."""
    across = np.array([direction[1], -direction[0], 0.0])
    match directrix:
        case Conic3(major=major, minor=minor):
            top = float(np.arctan2(minor @ across, major @ across))
            first = int(np.ceil((ends[0] - top) / np.pi))
            return [top + k * np.pi for k in range(first, first + int((ends[1] - ends[0]) / np.pi) + 2)]
        case Spline3(knots=knots, degree=degree, poles=poles, weights=weights):
            return [
                u for u in scalar_critical(knots, degree, poles @ across, weights) if ends[0] <= u <= ends[1]
            ]
        case _:
            return []


def _inside(face: Face, seeds: Array, candidate: tuple[Curve3, float, float]) -> bool:
    """Whether some of a candidate runs between an up and a down part of the face."""
    curve, start, end = candidate
    t = start + (np.arange(GRID) + 0.5) / GRID * (end - start)
    return bool((divides(face, seeds, curve, t) != 0).any())


def divides(face: Face, seeds: Array, curve: Curve3, t: Array) -> npt.NDArray[np.int64]:
    """At each parameter of a curve of horizontal normal: 1 where down lies right of it, seen from outside.

    -1 where down lies left of it, 0 where the face is not on both sides, or looks one way on both.
    """
    point, tangent = curve_derivatives(curve, t, 1)
    normal = surface_normals(face.surface, parameters(face.surface, point, seeds))
    normal = normal if face.outward else -normal
    left = np.cross(normal, tangent)
    size = np.linalg.norm(left, axis=1, keepdims=True)
    extent = float(np.linalg.norm(np.ptp(surface_points(face.surface, seeds), axis=0))) if len(seeds) else 0.0
    step = ASIDE * max(extent, 1e-3) * left / np.where(size > 0, size, 1.0)
    z = []
    inside = np.ones(len(t), dtype=bool)
    for sign in (1.0, -1.0):
        uv = parameters(face.surface, point + sign * step, seeds)
        inside &= contains(face, uv)
        z.append(_outward_z(face, uv))
    down_right = (z[0] > UPRIGHT) & (z[1] < -UPRIGHT)
    down_left = (z[0] < -UPRIGHT) & (z[1] > UPRIGHT)
    return np.where(inside, down_right.astype(np.int64) - down_left.astype(np.int64), 0)
