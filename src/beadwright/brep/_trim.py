"""Which points of a surface belong to the face."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.brep._model import Coedge, Face
from beadwright.brep._surfaces import CircleProfile, RevolutionSurface, SphereSurface, Surface

Array = npt.NDArray[np.float64]


def periods(surface: Surface) -> tuple[float, float]:
    """Periods in u and v; 0 where there is none."""
    turn = 2.0 * np.pi
    match surface:
        case SphereSurface():
            return turn, 0.0
        case RevolutionSurface(profile=CircleProfile()):
            return turn, turn
        case RevolutionSurface():
            return turn, 0.0
        case _:
            return 0.0, 0.0


def into_box(face: Face, uv: Array) -> Array:
    """Parameters shifted by whole periods, so that they lie within one period above the face's least."""
    out = np.array(uv, dtype=float).reshape(-1, 2)
    for axis, period in enumerate(periods(face.surface)):
        if period:
            low = float(face.uv_box[0, axis])
            slack = 1e-9 * period
            out[:, axis] = low - slack + np.mod(out[:, axis] - low + slack, period)
    return out


def contains(face: Face, uv: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Whether parameters lie inside a face's outline.

    The outline is the polyline that `Coedge.uv` gives, so a point nearer to it than its sag may be
    told wrongly.

    Parameters
    ----------
    face : Face
    uv : (k, 2) float
        Whole periods off do not matter.

    Returns
    -------
    (k,) bool
        Even-odd rule over all wires; all of them for a face without wires.
    """
    points = into_box(face, np.asarray(uv, dtype=float))
    if not face.wires:
        return np.ones(len(points), dtype=bool)
    a = np.concatenate([_outline(wire) for wire in face.wires])
    b = np.concatenate([np.roll(_outline(wire), -1, axis=0) for wire in face.wires])
    odd = np.zeros(len(points), dtype=bool)
    for chunk in range(0, len(points), 4096):
        p = points[chunk : chunk + 4096]
        v = p[:, 1:2]
        spans = (a[:, 1] > v) != (b[:, 1] > v)
        rise = b[:, 1] - a[:, 1]
        share = (v - a[:, 1]) / np.where(rise == 0.0, 1.0, rise)
        crossing = spans & (p[:, 0:1] < a[:, 0] + share * (b[:, 0] - a[:, 0]))
        odd[chunk : chunk + 4096] = np.sum(crossing, axis=1) % 2 == 1
    return odd


def _outline(wire: tuple[Coedge, ...]) -> Array:
    return np.concatenate([coedge.uv for coedge in wire])


def outline_boxes(face: Face) -> Array:
    """Boxes of the outline's chords: (c, 4) least u, least v, greatest u, greatest v."""
    boxes = []
    for wire in face.wires:
        a = _outline(wire)
        b = np.roll(a, -1, axis=0)
        boxes.append(np.concatenate((np.minimum(a, b), np.maximum(a, b)), axis=1))
    return np.concatenate(boxes) if boxes else np.empty((0, 4))
