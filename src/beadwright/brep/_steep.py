"""How far faces are from upright at each height: greatest vertical part of the normal, bounded, not sampled."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import _bezier
from beadwright.brep._extents import faces_extents
from beadwright.brep._model import Face, Model
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
)

Array = npt.NDArray[np.float64]

LEVEL = 1e-9
"""A direction whose vertical part is smaller is horizontal; a normal that near to the vertical is that of a flat."""
NARROW = 0.02
"""Angle within which normals of a cell are known, rad, at which it is not cut further."""
ROUNDS = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steepness:
    """Upper bounds of |n_z| by height (n rows).

    Attributes
    ----------
    low, high : (n,) float
        Heights between which a row counts, mm.
    value : (n,) float
        Its bound; where `radius` is above 0 the distance of a height from `centre`, divided by it, is taken if less.
    centre, radius : (n,) float
        mm.
    flats : (k,) float
        Heights of horizontal faces, ascending.
    unknown : tuple of int
        Rows of faces for which no bound below 1 is known.
    """

    low: Array
    high: Array
    value: Array
    centre: Array
    radius: Array
    flats: Array
    unknown: tuple[int, ...]

    def greatest(self, edges: Array) -> Array:
        """Greatest |n_z| in each slab between ascending heights (m + 1,): (m,); 0 where all is upright or flat."""
        a, b = edges[:-1, None], edges[1:, None]
        meets = (self.low < b) & (self.high > a)
        lowest, highest = np.maximum(a, self.low), np.minimum(b, self.high)
        far = np.maximum(np.abs(lowest - self.centre), np.abs(highest - self.centre))
        with np.errstate(divide="ignore", invalid="ignore"):
            value = np.where(self.radius > 0.0, np.minimum(self.value, far / self.radius), self.value)
        return np.asarray(np.where(meets, value, 0.0).max(axis=1, initial=0.0), dtype=np.float64)


def steepness(model: Model) -> Steepness:
    """Bounds for all faces of a placed model."""
    rows: list[tuple[float, float, float, float, float]] = []
    flats, unknown = [], []
    for at, face in enumerate(model.faces):
        low, high = faces_extents(model, [at])[:, 2].tolist()
        if isinstance(face.surface, PlaneSurface):
            n = np.cross(face.surface.frame.axes[0], face.surface.frame.axes[1])
            if abs(n[2]) > 1 - LEVEL:
                flats.append(0.5 * (low + high))
                continue
        found = list(_bounds(face, low, high))
        rows += found
        if any(value >= 1.0 and radius == 0.0 for *_, value, _, radius in found):
            unknown.append(at)
    table = np.array(rows).reshape(-1, 5)
    return Steepness(
        low=table[:, 0],
        high=table[:, 1],
        value=np.minimum(table[:, 2], 1.0),
        centre=table[:, 3],
        radius=table[:, 4],
        flats=np.unique(np.round(flats, 9)),
        unknown=tuple(unknown),
    )


def _bounds(face: Face, low: float, high: float) -> Iterator[tuple[float, float, float, float, float]]:
    """Rows (low, high, value, centre, radius) of one face."""
    surface = face.surface
    if isinstance(surface, OffsetSurface):
        surface = surface.base  # its normals are those of its base
        if isinstance(surface, SplineSurface):
            yield low, high, max((v for *_, v, _, _ in _cells(surface)), default=1.0), 0.0, 0.0
            return
    match surface:
        case PlaneSurface(frame=frame):
            yield low, high, abs(float(np.cross(frame.axes[0], frame.axes[1])[2])), 0.0, 0.0
        case SphereSurface(frame=frame, radius=radius):
            yield low, high, 1.0, float(frame.origin[2]), abs(radius)
        case RevolutionSurface(frame=frame, profile=profile):
            up = abs(float(frame.axes[2, 2]))
            tilt = float(np.hypot(frame.axes[2, 0], frame.axes[2, 1]))
            base = float(frame.origin[2])
            match profile:
                case LineProfile(dr=dr, dw=dw) if up < LEVEL and abs(dr) < LEVEL:
                    yield low, high, 1.0, base, abs(profile.r0)
                case LineProfile(dr=dr, dw=dw):
                    yield low, high, abs(dr) * up + abs(dw) * tilt, 0.0, 0.0
                case CircleProfile(minor=minor, w0=w0) if tilt < LEVEL:
                    yield low, high, 1.0, base + w0 * float(frame.axes[2, 2]), abs(minor)
                case SplineProfile(curve=curve) if tilt < LEVEL and bool(
                    np.all(curve.weights == curve.weights[0])
                ):
                    spread = abs(profile.offset)
                    for part in _profile_cells(curve.knots, curve.degree, curve.poles):
                        heights = base + part.poles * float(frame.axes[2, 2])
                        yield (
                            float(heights.min()) - spread,
                            float(heights.max()) + spread,
                            part.value,
                            0.0,
                            0.0,
                        )
                case _:
                    yield low, high, 1.0, 0.0, 0.0
        case ExtrusionSurface(direction=direction):
            yield low, high, float(np.hypot(direction[0], direction[1])), 0.0, 0.0
        case SplineSurface():
            yield from _cells(surface)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Part:
    poles: Array
    value: float


def _profile_cells(knots: Array, degree: int, poles: Array) -> Iterator[_Part]:
    """Pieces of a meridian (r, w): heights of their poles, and a bound of |r'| / |(r', w')|."""
    _, first, matrix = _bezier.extraction(knots, degree)
    pieces = matrix @ poles[first[:, None] + np.arange(degree + 1)]
    for _ in range(ROUNDS):
        pieces = np.concatenate(_bezier.halves(pieces, 1))
    way = np.diff(pieces, axis=1)
    mean, spread = _cone(np.concatenate((way, np.zeros((*way.shape[:2], 1))), axis=2))
    # the normal is level where the meridian is upright
    angle = np.arcsin(np.clip(np.abs(mean[:, 0]), 0.0, 1.0)) + spread
    for piece, value in zip(pieces, np.sin(np.minimum(angle, np.pi / 2)), strict=True):
        yield _Part(poles=piece[:, 1], value=float(value))


def _cone(vectors: Array) -> tuple[Array, Array]:
    """Mean direction of each row of vectors (m, k, 3), and the greatest angle of any of them to it; pi if unknown."""
    size = np.linalg.norm(vectors, axis=2, keepdims=True)
    unit = np.divide(vectors, size, out=np.zeros_like(vectors), where=size > 0.0)
    mean = unit.sum(axis=1)
    length = np.linalg.norm(mean, axis=1, keepdims=True)
    mean = np.divide(mean, length, out=np.zeros_like(mean), where=length > 0.0)
    cosine = np.where(size[..., 0] > 0.0, np.einsum("mkd,md->mk", unit, mean), 1.0).min(axis=1)
    angle = np.where(length[:, 0] > 0.0, np.arccos(np.clip(cosine, -1.0, 1.0)), np.pi)
    return mean, angle


def _cells(surface: SplineSurface) -> Iterator[tuple[float, float, float, float, float]]:
    """Rows of a spline surface, a cell each.

    Both partial derivatives lie in the cones of the differences of the cell's poles. Unit vectors that differ from
    the cones' axes by chords a and b have a cross product that differs from that of the axes by at most
    a + b + a b, so the normal lies within the arc sine of that, divided by the sine between the axes.
    """
    z = surface.poles[..., 2]
    if not bool(np.all(surface.weights == surface.weights[0, 0])):
        yield float(z.min()), float(z.max()), 1.0, 0.0, 0.0
        return
    p, q = surface.degree
    _, first_u, matrix_u = _bezier.extraction(surface.knots_u, p)
    _, first_v, matrix_v = _bezier.extraction(surface.knots_v, q)
    rows = first_u[:, None, None, None] + np.arange(p + 1)[None, None, :, None]
    columns = first_v[None, :, None, None] + np.arange(q + 1)[None, None, None, :]
    local = surface.poles[rows, columns]
    cells = np.einsum("iab,ijbcd->ijacd", matrix_u, local)
    cells = np.einsum("jce,ijaed->ijacd", matrix_v, cells).reshape(-1, p + 1, q + 1, 3)
    for turn in range(ROUNDS + 1):
        value, angle = _tilt(cells)
        done = (angle <= NARROW) | (turn == ROUNDS)
        for cell, most in zip(cells[done], value[done], strict=True):
            yield float(cell[..., 2].min()), float(cell[..., 2].max()), float(most), 0.0, 0.0
        cells = cells[~done]
        if not len(cells):
            return
        for axis in (1, 2):
            cells = np.concatenate(_bezier.halves(cells, axis))


def _tilt(cells: Array) -> tuple[Array, Array]:
    """Bound of |n_z| on each cell, and the angle within which its normals are known."""
    n = len(cells)
    u, a = _cone(np.diff(cells, axis=1).reshape(n, -1, 3))
    v, b = _cone(np.diff(cells, axis=2).reshape(n, -1, 3))
    normal = np.cross(u, v)
    between = np.linalg.norm(normal, axis=1)
    chord_a, chord_b = 2 * np.sin(0.5 * np.minimum(a, np.pi)), 2 * np.sin(0.5 * np.minimum(b, np.pi))
    off = chord_a + chord_b + chord_a * chord_b
    sure = off < between
    angle = np.where(
        sure, np.arcsin(np.clip(np.divide(off, between, out=np.ones(n), where=sure), 0, 1)), np.pi
    )
    level = np.arcsin(np.clip(np.abs(normal[:, 2]) / np.where(between > 0, between, 1.0), 0.0, 1.0))
    return np.sin(np.minimum(level + angle, np.pi / 2)), angle
