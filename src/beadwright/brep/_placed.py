"""Placing a model on the platform: one similarity, applied once to all arrays."""

from __future__ import annotations

from dataclasses import replace
from typing import assert_never

import numpy as np
import numpy.typing as npt

from beadwright.brep._curves import Conic3, Curve3, Line3, Spline3
from beadwright.brep._extents import extents
from beadwright.brep._model import Edge, Face, Model
from beadwright.brep._surfaces import (
    CircleProfile,
    ExtrusionSurface,
    Frame,
    LineProfile,
    OffsetSurface,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    SplineProfile,
    SplineSurface,
    Surface,
)
from beadwright.errors import GeometryError

Array = npt.NDArray[np.float64]

SIMILAR = 1e-12


def placement(
    model: Model,
    scale: float = 1.0,
    rotate_deg: tuple[float, float, float] = (0.0, 0.0, 0.0),
    at: tuple[float, float] = (0.0, 0.0),
    z: float = 0.0,
) -> Array:
    """The matrix that sets a model on the platform.

    Turned about X, then Y, then Z (fixed axes), scaled, its lowest point at height ``z``, the centre of
    its box in x and y at ``at``.

    Parameters
    ----------
    model : Model
    scale : float
        Positive.
    rotate_deg : (float, float, float)
        Degrees about X, Y, Z.
    at : (float, float)
        mm.
    z : float
        mm.

    Returns
    -------
    (3, 4) float
        Points become ``matrix[:, :3] @ p + matrix[:, 3]``.

    Raises
    ------
    GeometryError
        The scale is not positive and finite.
    """
    if not (np.isfinite(scale) and scale > 0.0):
        raise GeometryError(f"placement: expected a positive scale, got {scale}")
    rotation = np.eye(3)
    for axis, angle in enumerate(rotate_deg):
        rotation = _about(axis, angle) @ rotation
    box = model.box if np.array_equal(rotation, np.eye(3)) else extents(model, rotation)
    matrix = np.empty((3, 4))
    matrix[:, :3] = scale * rotation
    middle = 0.5 * (box[0] + box[1])
    matrix[:2, 3] = np.asarray(at) - scale * middle[:2]
    matrix[2, 3] = z - scale * box[0, 2]
    return matrix


def _about(axis: int, degrees: float) -> Array:
    """Rotation about a coordinate axis; multiples of a right angle are exact."""
    quarters, rest = divmod(degrees, 90.0)
    c, s = (1.0, 0.0) if rest == 0.0 else (float(np.cos(np.radians(rest))), float(np.sin(np.radians(rest))))
    for _ in range(int(quarters) % 4):
        c, s = -s, c
    i, j = (axis + 1) % 3, (axis + 2) % 3
    out = np.eye(3)
    out[i, i] = out[j, j] = c
    out[i, j], out[j, i] = -s, s
    return out + 0.0


def placed(model: Model, matrix: npt.ArrayLike) -> Model:
    """A model moved by one similarity.

    Frames are turned and made orthonormal again; radii and poles are scaled.

    Parameters
    ----------
    model : Model
    matrix : (3, 4) float
        Scaled rotation and shift, as `placement` gives it.

    Returns
    -------
    Model
        Parameters of curves and surfaces stay, but where they are lengths (lines, planes, cylinders,
        cones, extrusions), which are scaled. ``kernel_bytes`` stay those of the unplaced shape.

    Raises
    ------
    GeometryError
        The matrix is not a similarity, or it mirrors.
    """
    m = np.asarray(matrix, dtype=float)
    if m.shape != (3, 4) or not np.all(np.isfinite(m)):
        raise GeometryError(f"placement: expected a finite (3, 4) matrix, got shape {m.shape}")
    gram = m[:, :3].T @ m[:, :3]
    square = float(np.trace(gram)) / 3.0
    if square <= 0.0 or float(np.max(np.abs(gram - square * np.eye(3)))) > SIMILAR * square:
        raise GeometryError("placement: the matrix is no similarity (it shears or scales unevenly)")
    if float(np.linalg.det(m[:, :3])) < 0.0:
        raise GeometryError("placement: the matrix mirrors the part; mirror it in the CAD instead")
    move = _Move(m, float(np.sqrt(square)))
    result = replace(
        model,
        vertices=move.points(model.vertices),
        edges=tuple(move.edge(e) for e in model.edges),
        faces=tuple(move.face(f) for f in model.faces),
        solids=tuple(replace(s, volume=s.volume * move.scale**3) for s in model.solids),
        area=model.area * move.scale**2,
        volume=model.volume * move.scale**3,
        gap=model.gap * move.scale,
        findings=tuple(
            replace(f, at_mm=None if f.at_mm is None else _triple(move.points(np.array(f.at_mm))))
            for f in model.findings
        ),
    )
    upright = np.array_equal(move.turn, np.eye(3))
    box = model.box if upright else extents(model, move.turn)
    return replace(result, box=box * move.scale + move.shift)


def _triple(p: Array) -> tuple[float, float, float]:
    return float(p[0]), float(p[1]), float(p[2])


class _Move:
    """A similarity and what it does to each kind of array."""

    def __init__(self, matrix: Array, scale: float) -> None:
        self.linear = np.ascontiguousarray(matrix[:, :3])
        self.shift = matrix[:, 3].copy()
        self.scale = scale
        self.turn = self.linear / scale

    def points(self, p: Array) -> Array:
        return p @ self.linear.T + self.shift

    def vector(self, v: Array) -> Array:
        """A vector with its length."""
        return v @ self.linear.T

    def unit(self, v: Array) -> Array:
        w = v @ self.turn.T
        return np.asarray(w / np.linalg.norm(w))

    def frame(self, frame: Frame) -> Frame:
        x, z = self.unit(frame.axes[0]), self.unit(frame.axes[2])
        x = x - (x @ z) * z
        x /= np.linalg.norm(x)
        y = np.cross(z, x)
        if float(y @ self.unit(frame.axes[1])) < 0.0:
            y = -y
        return Frame(origin=self.points(frame.origin), axes=np.array([x, y, z]))

    def curve(self, curve: Curve3) -> Curve3:
        match curve:
            case Line3():
                return Line3(origin=self.points(curve.origin), direction=self.unit(curve.direction))
            case Conic3():
                return Conic3(
                    centre=self.points(curve.centre),
                    major=self.vector(curve.major),
                    minor=self.vector(curve.minor),
                )
            case Spline3():
                return replace(curve, poles=self.points(curve.poles))
            case _:
                assert_never(curve)

    def edge(self, edge: Edge) -> Edge:
        if edge.curve is None:
            return edge
        stretch = self.scale if isinstance(edge.curve, Line3) else 1.0
        return replace(edge, curve=self.curve(edge.curve), start=edge.start * stretch, end=edge.end * stretch)

    def profile(
        self, profile: LineProfile | CircleProfile | SplineProfile
    ) -> LineProfile | CircleProfile | SplineProfile:
        k = self.scale
        match profile:
            case LineProfile():
                return replace(profile, r0=profile.r0 * k, w0=profile.w0 * k)
            case CircleProfile():
                return CircleProfile(major=profile.major * k, minor=profile.minor * k, w0=profile.w0 * k)
            case SplineProfile():
                curve = replace(profile.curve, poles=profile.curve.poles * k)
                return SplineProfile(curve=curve, offset=profile.offset * k)
            case _:
                assert_never(profile)

    def surface(self, surface: Surface) -> Surface:
        match surface:
            case PlaneSurface():
                return PlaneSurface(frame=self.frame(surface.frame))
            case SphereSurface():
                return SphereSurface(frame=self.frame(surface.frame), radius=surface.radius * self.scale)
            case RevolutionSurface():
                return RevolutionSurface(
                    frame=self.frame(surface.frame), profile=self.profile(surface.profile)
                )
            case ExtrusionSurface() | SplineSurface():
                return self.base(surface)
            case OffsetSurface():
                return OffsetSurface(base=self.base(surface.base), distance=surface.distance * self.scale)
            case _:
                assert_never(surface)

    def base(self, surface: SplineSurface | ExtrusionSurface) -> SplineSurface | ExtrusionSurface:
        if isinstance(surface, SplineSurface):
            return replace(surface, poles=self.points(surface.poles))
        return ExtrusionSurface(
            directrix=self.curve(surface.directrix), direction=self.unit(surface.direction)
        )

    def stretch(self, surface: Surface) -> Array:
        """By how much the parameters u, v grow, (2,)."""
        k = self.scale
        match surface:
            case PlaneSurface():
                return np.array([k, k])
            case RevolutionSurface(profile=LineProfile()):
                return np.array([1.0, k])
            case ExtrusionSurface(directrix=directrix):
                return np.array([k if isinstance(directrix, Line3) else 1.0, k])
            case OffsetSurface(base=base):
                return self.stretch(base)
            case _:
                return np.ones(2)

    def face(self, face: Face) -> Face:
        stretch = self.stretch(face.surface)
        wires = face.wires
        if self.scale != 1.0:
            wires = tuple(tuple(replace(c, uv=c.uv * stretch) for c in wire) for wire in wires)
        return replace(
            face,
            surface=self.surface(face.surface),
            wires=wires,
            uv_box=face.uv_box * stretch,
            area=face.area * self.scale**2,
            centroid=self.points(face.centroid),
            radius=face.radius * self.scale,
        )
