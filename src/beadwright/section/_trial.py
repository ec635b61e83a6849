"""Branches that no node decides: a point of each is tested against the face's outline."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.brep import (
    CircleProfile,
    Face,
    LineProfile,
    RevolutionSurface,
    SphereSurface,
    contains,
)
from beadwright.section._batch import Batch, spans_of
from beadwright.section._cutter import Cutter
from beadwright.section._kernels import codes

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def settle(cutter: Cutter, batch: Batch) -> None:
    """Keep or drop closed branches without nodes; settle lone pairs of near nodes."""
    segments = batch.segments
    whole = segments[:, 2] < 0
    doubtful = segments[:, 4] == 1
    asked = np.flatnonzero(whole | doubtful)
    if len(asked) == 0:
        return
    inside = _inside(cutter, batch, asked)
    keep = np.ones(len(segments), dtype=bool)
    keep[asked] = inside | ~whole[asked]
    for row, full in zip(asked, inside, strict=True):
        if not doubtful[row]:
            continue
        a, b = segments[row, 2], segments[row, 3]
        turn = _turn(cutter, batch, int(row))
        ahead = batch.use_s[b] > batch.use_s[a]
        if full and ahead:
            batch.use_s[b] += turn
        elif not full and not ahead:
            segments[row, 1] = -1
    batch.segments = np.ascontiguousarray(segments[keep])


def _turn(cutter: Cutter, batch: Batch, row: int) -> float:
    from beadwright.section._kernels.locate import span_of

    branch = batch.segments[row, 1]
    face = int(batch.pair_face[batch.segments[row, 0]])
    if batch.table[branch, 0] == codes.B_FREE:
        own, k = batch.free[face], batch.free_branch[branch]
        return float(own.first_piece[k + 1] - own.first_piece[k])
    first = cutter.faces.first_span
    low, high = span_of(
        batch.table[branch, 0], batch.par[branch], cutter.faces.span, first[face], first[face + 1]
    )
    return float(high - low)


def _inside(cutter: Cutter, batch: Batch, asked: Ints) -> npt.NDArray[np.bool_]:
    from beadwright.section._kernels.level import sample_points

    out = np.zeros(len(asked), dtype=bool)
    branch = batch.segments[asked, 1]
    face = batch.pair_face[batch.segments[asked, 0]]
    faces = cutter.faces
    height = batch.heights[batch.pair_plane[batch.segments[asked, 0]]]
    points = sample_points(
        branch,
        batch.table,
        batch.par,
        face,
        height,
        faces.kind,
        faces.par,
        faces.first_span,
        spans_of(cutter),
    )
    for f in np.unique(face):
        rows = np.flatnonzero(face == f)
        if f in batch.free:
            uv = batch.free[int(f)].sample[batch.free_branch[branch[rows]]]
        else:
            xyz = np.column_stack((points[rows, :2], height[rows]))
            uv = parameters(cutter.outline[f], xyz, points[rows, 2])
        out[rows] = contains(cutter.outline[f], uv)
    return out


def parameters(face: Face, xyz: Array, v: Array) -> Array:
    """Parameters of points of a sphere, surface of revolution or extrusion; `v` where it is known."""
    surface = face.surface
    match surface:
        case SphereSurface(frame=frame, radius=radius):
            local = (xyz - frame.origin) @ frame.axes.T
            return np.column_stack(
                (np.arctan2(local[:, 1], local[:, 0]), np.arcsin(np.clip(local[:, 2] / radius, -1.0, 1.0)))
            )
        case RevolutionSurface(frame=frame, profile=profile):
            local = (xyz - frame.origin) @ frame.axes.T
            u = np.arctan2(local[:, 1], local[:, 0])
            rho = np.hypot(local[:, 0], local[:, 1])
            match profile:
                case CircleProfile(major=major, w0=w0):
                    middle = 0.5 * (face.uv_box[0, 1] + face.uv_box[1, 1])
                    sheet = 1.0 if major + profile.minor * np.cos(middle) > 0.0 else -1.0
                    v = np.arctan2((local[:, 2] - w0) / profile.minor, (sheet * rho - major) / profile.minor)
                    u = u if sheet > 0.0 else u + np.pi
                case LineProfile(r0=r0, w0=w0, dr=dr, dw=dw):
                    v = (local[:, 2] - w0) / dw
                    u = np.where(r0 + v * dr < 0.0, u + np.pi, u)
                case _:
                    pass
            return np.column_stack((u, v))
        case _:
            return np.column_stack((v, np.zeros(len(v))))
