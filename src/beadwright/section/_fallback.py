"""Faces that could not be cut: somebody else's curves in place of ours, counted and bounded."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from beadwright.brep import Face, domain, project, surface_derivatives, surface_normals, surface_points
from beadwright.errors import GeometryError
from beadwright.section._batch import Batch
from beadwright.section._cutter import Cutter
from beadwright.section._rescue import STRAIGHT, Additions

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

Fallback = Callable[[int, float], Sequence[npt.ArrayLike]]
"""Row of a face and height, mm, to curves as (k, 2) points, mm, neither ordered nor directed."""

GIVEN = -2
"""Branch of a segment that is a straight piece of a curve from outside."""
FINE = 1e-3
"""A chord farther than this from the curve is halved, mm."""
HALVINGS = 12
TOGETHER = 1e-3
"""Ends of curves from outside nearer than this are one place, mm."""
SEEDS = 33


def replace_faces(cutter: Cutter, batch: Batch, failed: dict[int, str], fallback: Fallback | None) -> None:
    """Put curves from outside in the place of pairs (face, plane) that could not be cut.

    Parameters
    ----------
    cutter : Cutter
    batch : Batch
    failed : dict of int to str
        Pair, and what is wrong with it.
    fallback : Fallback or None

    Raises
    ------
    GeometryError
        There is no fallback.
    """
    for pair, reason in failed.items():
        row, plane = int(batch.pair_face[pair]), int(batch.pair_plane[pair])
        height, face = float(batch.heights[plane]), cutter.outline[row]
        named = f"face {face.id} ({face.kind}{f', {face.name}' if face.name else ''})"
        if fallback is None:
            raise GeometryError(
                f"{named} cannot be cut at z = {height:.6f} mm: {reason}; repair the face in the CAD, "
                "or hand a fallback to `cut`"
            )
        batch.segments = np.ascontiguousarray(batch.segments[batch.segments[:, 0] != pair])
        curves = [refined(face, height, np.asarray(c, dtype=float)) for c in fallback(row, height)]
        batch.given[pair] = max((bound for _, _, bound in curves), default=0.0)
        lost = _placed(batch, pair, face, [(xy, uv) for xy, uv, _ in curves if len(xy) > 1])
        batch.counts[plane, 3] += lost
        batch.notes.setdefault(plane, []).append(f"{named} was cut by the fallback: {reason}")


def refined(face: Face, height: float, points: Array) -> tuple[Array, Array, float]:
    """Points moved onto surface and plane, with more between them: points, parameters, bound.

    *Estimated*: the distance of each chord's middle from the true curve, times 1.5; where Newton's method
    finds no curve beside a chord, half its length.
    """
    points = points[np.append(True, np.any(np.diff(points, axis=0) != 0.0, axis=1))]
    if len(points) < 2:
        return points, np.zeros((len(points), 2)), 0.0
    uv = _seeds(face, height, points)
    points, uv, _ = _onto(face, height, points, uv, _along(points))
    for turn in range(HALVINGS + 1):
        chord = np.diff(points, axis=0)
        middle = 0.5 * (points[1:] + points[:-1])
        true, where, fine = _onto(face, height, middle, 0.5 * (uv[1:] + uv[:-1]), chord)
        half = 0.5 * np.linalg.norm(chord, axis=1)
        miss = np.linalg.norm(true - middle, axis=1)
        fine &= miss <= half
        miss = np.where(fine, miss, half)
        cut = np.flatnonzero(fine & (miss > FINE))
        if len(cut) == 0 or turn == HALVINGS:
            break
        points, uv = np.insert(points, cut + 1, true[cut], axis=0), np.insert(uv, cut + 1, where[cut], axis=0)
    return points, uv, 1.5 * float(miss.max())


def _along(points: Array) -> Array:
    way = np.gradient(points, axis=0)
    size = np.linalg.norm(way, axis=1, keepdims=True)
    return np.asarray(np.where(size > 0.0, way, [1.0, 0.0]))


def _seeds(face: Face, height: float, points: Array) -> Array:
    u, v = (np.linspace(face.uv_box[0, k], face.uv_box[1, k], SEEDS) for k in range(2))
    grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    there = surface_points(face.surface, grid)
    xyz = np.column_stack((points, np.full(len(points), height)))
    nearest = np.argmin(np.sum((xyz[:, None, :] - there) ** 2, axis=2), axis=1)
    return project(face.surface, xyz, grid[nearest])[0]


def _onto(
    face: Face, height: float, points: Array, uv: Array, across: Array
) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    """Where the surface meets the plane on the lines through points across a direction; True if found."""
    way = across / np.linalg.norm(across, axis=1, keepdims=True)
    low, high = domain(face.surface)
    size = float(np.abs(points).max()) + abs(height) + 1.0
    uv = uv.copy()
    for _ in range(12):
        s = surface_derivatives(face.surface, uv, 1)
        f = s[0, 0][:, 2] - height
        g = np.sum((s[0, 0][:, :2] - points) * way, axis=1)
        fu, fv = s[1, 0][:, 2], s[0, 1][:, 2]
        gu, gv = np.sum(s[1, 0][:, :2] * way, axis=1), np.sum(s[0, 1][:, :2] * way, axis=1)
        det = fu * gv - fv * gu
        safe = np.where(det == 0.0, 1.0, det)
        step = np.stack((gv * f - fv * g, fu * g - gu * f), axis=1) / safe[:, None]
        uv = np.clip(uv - np.where(det[:, None] == 0.0, 0.0, step), low, high)
    there = surface_points(face.surface, uv)
    residual = np.abs(there[:, 2] - height) + np.abs(np.sum((there[:, :2] - points) * way, axis=1))
    found = residual < 1e-9 * size
    out = np.where(found[:, None], there[:, :2], points)
    return out, uv, found


def _placed(batch: Batch, pair: int, face: Face, curves: list[tuple[Array, Array]]) -> int:
    """Segments of all curves of a pair; how many nodes are left over."""
    a, b = int(batch.first_use[pair]), int(batch.first_use[pair + 1])
    partner = _joined(batch, a, b, curves)
    add = Additions(batch)
    done: set[int] = set()
    lost = b - a
    # ends are numbered 2 i (first) and 2 i + 1 (last); uses -1 - use
    for begin in [
        *(e for e in range(2 * len(curves)) if partner.get(e, 0) < 0),
        *range(0, 2 * len(curves), 2),
    ]:
        if begin // 2 in done:
            continue
        points, uv, end = [], [], begin
        while end // 2 not in done:
            done.add(end // 2)
            xy, place = curves[end // 2]
            points.append(xy if end % 2 == 0 else xy[::-1])
            uv.append(place if end % 2 == 0 else place[::-1])
            end = partner.get(end ^ 1, -(1 << 60))
            if end < 0:
                break
        line, place = np.concatenate(points), np.concatenate(uv)
        first = -1 - partner.get(begin, 0)
        if end < 0 and first >= 0 and end > -(1 << 60):
            last = -1 - end
            if batch.use_start[first] == batch.use_start[last]:
                continue
            leftward = _leftward(face, line, place)
            if batch.use_start[first] == 0:
                first, last, line, leftward = last, first, line[::-1], not leftward
            gap = np.subtract(*batch.points[batch.use_node[[first, last]], :2])
            if not leftward and float(np.linalg.norm(gap)) <= TOGETHER:
                # once round from a seam to itself: either end may have met either node
                line = line[::-1]
            _line(add, batch, pair, line, first, last)
            lost -= 2
        elif end >= 0 and len(line) > 3:
            _ring(add, pair, line, _leftward(face, line, place))
    add.done()
    return lost


def _joined(batch: Batch, a: int, b: int, curves: list[tuple[Array, Array]]) -> dict[int, int]:
    """What each end of a curve meets: another end, or ``-1 - use``; nearest first."""
    ends = np.array([p for xy, _ in curves for p in (xy[0], xy[-1])]).reshape(-1, 2)
    ways = []
    for i, p in enumerate(ends):
        for use in range(a, b):
            ways.append((float(np.linalg.norm(p - batch.points[batch.use_node[use], :2])), i, -1 - use))
        for j in range(i):
            gap = float(np.linalg.norm(p - ends[j]))
            if gap <= TOGETHER:
                ways.append((gap, i, j))
    out: dict[int, int] = {}
    for _, i, j in sorted(ways, key=lambda way: way[0]):
        if i not in out and j not in out:
            out[i] = j
            out[j] = i
    return {k: v for k, v in out.items() if k >= 0}


def _line(add: Additions, batch: Batch, pair: int, line: Array, first: int, last: int) -> None:
    """From node to node; gaps at the ends become connectors."""
    here = first
    for k, p in enumerate(line):
        use = add.point(p)
        if k == 0:
            if not np.array_equal(p, batch.points[batch.use_node[first], :2]):
                add.segment(pair, STRAIGHT, here, use)
                here = use
            continue
        add.segment(pair, GIVEN, here, use)
        here = use
    add.segment(pair, STRAIGHT, here, last)


def _ring(add: Additions, pair: int, line: Array, leftward: bool) -> None:
    line = line if leftward else line[::-1]
    uses = [add.point(p) for p in line[:-1]]
    for here, there in zip(uses, [*uses[1:], uses[0]], strict=True):
        add.segment(pair, GIVEN, here, there)


def _leftward(face: Face, line: Array, uv: Array) -> bool:
    """Whether material lies on the left of a curve."""
    normal = surface_normals(face.surface, uv) * (1.0 if face.outward else -1.0)
    way = np.gradient(line, axis=0)
    return float(np.sum(way[:, 1] * normal[:, 0] - way[:, 0] * normal[:, 1])) > 0.0
