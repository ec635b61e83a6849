"""Faces as rows of numbers: what the loops over faces and planes need, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.brep import (
    CircleProfile,
    Conic3,
    ExtrusionSurface,
    Face,
    LineProfile,
    Model,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    Spline3,
    SplineProfile,
    handedness,
)
from beadwright.section._kernels import codes
from beadwright.section._meridian import meridian_spans, quadric, span_bend
from beadwright.section._pieces import critical, restricted, spans

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

UPRIGHT = 1e-10
"""An axis whose horizontal part is shorter than this is vertical: the sections are circles."""
LEVEL_DIRECTION = 1e-12
"""A direction of extrusion whose vertical part is shorter than this is horizontal."""
FLAT = 1e-6
"""A plane face is horizontal if its outline's z varies by less than this, mm (see `_heights`)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Faces:
    """All faces of a model as rows (n faces).

    Attributes
    ----------
    kind : (n,) int64
        `codes`: PLANE, SPHERE, TURNED_LINE, TURNED_CIRCLE, TURNED_SPLINE, PUSHED_CONIC, PUSHED_SPLINE, FREE.
    par : (n, 24) float
        By kind; see `_row`.
    first_span : (n + 1,) int64
        Bézier pieces of a profile or directrix.
    span : (s, 2) float
        Their ends in the surface's parameter.
    span_degree, span_base : (s,) int64
    control : (c, 4) float
        ``(w r, w w, 0, weight)`` of a profile, ``(w x, w y, w z, weight)`` of a directrix.
    span_reach : (s, 2) float
        Least and greatest z that the surface can have on a piece of a profile.
    span_bend : (s,) float
        Bound of the curvature on a piece of a profile, 1/mm.
    reach : (n, 2) float
        Least and greatest z that the surface may have inside the face beyond its edges; empty where it
        cannot pass them.
    """

    kind: Ints
    par: Array
    first_span: Ints
    span: Array
    span_degree: Ints
    span_base: Ints
    control: Array
    span_reach: Array
    span_bend: Array
    reach: Array


def _directrix_spans(curve: Spline3, level: bool) -> list[tuple[float, float, Array]]:
    """Pieces of a directrix, cut where its height turns if the direction is horizontal."""
    out = []
    for a, b, control in spans(curve, float(curve.knots[0]), float(curve.knots[-1])):
        cuts = [0.0, *(critical(control[:, 2], control[:, 3]) if level else []), 1.0]
        for s, t in pairwise(cuts):
            part = control if len(cuts) == 2 else restricted(control, s, t)
            out.append((a + s * (b - a), a + t * (b - a), part))
    return out


def _row(face: Face) -> tuple[int, Array, list[tuple[float, float, Array]], tuple[float, float]]:
    """Kind, numbers, Bézier pieces and reach of one face."""
    out = 1.0 if face.outward else -1.0
    none = (np.inf, -np.inf)
    box = face.uv_box
    match face.surface:
        case PlaneSurface(frame=frame):
            n = out * np.cross(frame.axes[0], frame.axes[1])
            return codes.PLANE, np.concatenate((n, [float(n @ frame.origin)])), [], none
        case SphereSurface(frame=frame, radius=radius):
            sense = out * handedness(frame.axes)
            par = np.concatenate((frame.origin, [radius, sense]))
            return codes.SPHERE, par, [], (frame.origin[2] - radius, frame.origin[2] + radius)
        case RevolutionSurface(frame=frame, profile=profile):
            axis = frame.axes[2]
            sense = out * handedness(frame.axes)
            head = np.concatenate((frame.origin, axis, [sense, box[0, 1], box[1, 1]]))
            tilt = float(np.hypot(axis[0], axis[1]))
            match profile:
                case LineProfile(r0=r0, w0=w0, dr=dr, dw=dw):
                    nappe = 1.0 if r0 + 0.5 * (box[0, 1] + box[1, 1]) * dr > 0.0 else -1.0
                    return codes.TURNED_LINE, np.concatenate((head, [r0, w0, dr, dw, nappe])), [], none
                case CircleProfile(major=major, minor=minor, w0=w0):
                    middle = frame.origin[2] + w0 * axis[2]
                    size = abs(major) * tilt + abs(minor)
                    par = np.concatenate((head, [major, minor, w0]))
                    return codes.TURNED_CIRCLE, par, [], (middle - size, middle + size)
                case SplineProfile():
                    poles = profile.curve.poles
                    heights = frame.origin[2] + poles[:, 1] * axis[2]
                    swing = np.abs(poles[:, 0]) * tilt + abs(profile.offset)
                    rows = meridian_spans(profile, tilt if tilt >= UPRIGHT else 0.0, float(axis[2]))
                    par = np.concatenate((head, [profile.offset * handedness(frame.axes)]))
                    if (own := quadric(profile, rows)) is not None:
                        numbers = (own.along, own.a, own.b, own.c, own.w, own.low, own.high, own.off)
                        par = np.concatenate((par, numbers))
                    return (
                        codes.TURNED_SPLINE,
                        par,
                        rows,
                        (float((heights - swing).min()), float((heights + swing).max())),
                    )
        case ExtrusionSurface(directrix=directrix, direction=direction):
            level = abs(float(direction[2])) < LEVEL_DIRECTION
            if isinstance(directrix, Conic3):
                shape = np.concatenate((direction, directrix.centre, directrix.major, directrix.minor))
                return codes.PUSHED_CONIC, np.concatenate((shape, [out, box[0, 0], box[1, 0]])), [], none
            if isinstance(directrix, Spline3):
                ends = _directrix_spans(directrix, level)
                first, last = ends[0][2][0], ends[-1][2][-1]
                gap = float(np.linalg.norm(first[:3] / first[3] - last[:3] / last[3]))
                par = np.concatenate((direction, [out, 1.0 if gap < FLAT else 0.0]))
                return codes.PUSHED_SPLINE, par, ends, none
    return codes.FREE, np.zeros(0), [], none


def pack_faces(model: Model) -> Faces:
    """Rows of all faces of a placed model."""
    kinds, pars, first, rows, reach = [], [], [0], [], []
    for face in model.faces:
        kind, par, own, z = _row(face)
        row = np.zeros(24)
        row[: len(par)] = par
        kinds.append(kind)
        pars.append(row)
        rows += own
        first.append(len(rows))
        reach.append(z)
    sizes = np.array([len(r[2]) for r in rows], dtype=np.int64)
    base = np.concatenate(([0], np.cumsum(sizes)))[:-1].astype(np.int64) if len(sizes) else sizes
    return Faces(
        kind=np.array(kinds, dtype=np.int64),
        par=np.array(pars).reshape(-1, 24),
        first_span=np.array(first, dtype=np.int64),
        span=np.array([r[:2] for r in rows], dtype=float).reshape(-1, 2),
        span_degree=sizes - 1,
        span_base=base,
        control=np.concatenate([r[2] for r in rows]) if rows else np.zeros((0, 4)),
        span_reach=_span_reach(model, first, rows),
        span_bend=_span_bend(model, first, rows),
        reach=np.array(reach, dtype=float).reshape(-1, 2),
    )


def _span_reach(model: Model, first: list[int], rows: list[tuple[float, float, Array]]) -> Array:
    out = np.zeros((len(rows), 2))
    for face, a, b in zip(model.faces, first[:-1], first[1:], strict=True):
        surface = face.surface
        if not (isinstance(surface, RevolutionSurface) and isinstance(surface.profile, SplineProfile)):
            continue
        axis, base = surface.frame.axes[2], float(surface.frame.origin[2])
        tilt, slack = float(np.hypot(axis[0], axis[1])), abs(surface.profile.offset)
        for i in range(a, b):
            rw = rows[i][2][:, :2] / rows[i][2][:, 3:]
            swing = np.abs(rw[:, 0]).max() * tilt + slack
            heights = base + rw[:, 1] * axis[2]
            out[i] = heights.min() - swing - 1e-9, heights.max() + swing + 1e-9
    return out


def _span_bend(model: Model, first: list[int], rows: list[tuple[float, float, Array]]) -> Array:
    out = np.zeros(len(rows))
    for face, a, b in zip(model.faces, first[:-1], first[1:], strict=True):
        surface = face.surface
        if isinstance(surface, RevolutionSurface) and isinstance(surface.profile, SplineProfile):
            out[a:b] = [span_bend(rows[i][2], surface.profile.offset) for i in range(a, b)]
    return out


def flat_faces(model: Model) -> list[int]:
    """Horizontal plane faces."""
    out = []
    for row, face in enumerate(model.faces):
        if isinstance(face.surface, PlaneSurface):
            n = np.cross(face.surface.frame.axes[0], face.surface.frame.axes[1])
            size = float(np.ptp(face.uv_box, axis=0).max()) + 1.0
            if float(np.hypot(n[0], n[1])) * size < 10.0 * FLAT:
                out.append(row)
    return out
