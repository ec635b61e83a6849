"""The last rung before an error: an offset by polygons, counted as a fallback."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from beadwright.arcs._region import Result
from beadwright.arcs._spans import spans_of
from beadwright.curves import ArcPath, ArcRegion
from beadwright.numeric import Bound

# Chords stray from their arcs by at most this, in the source and again in the result, mm.
_CHORD = 1e-6
_WHY = "polygons stood in: chords of the source, chords of round corners, and the audit's slack"


def offset_polygons(region: ArcRegion, distance: float) -> Result | None:
    """Offset by polygons, or None if that does not pass its audit either; arguments as for `offset`."""
    from shapely import make_valid
    from shapely.geometry import Polygon, polygon

    from beadwright.arcs._kernels.region_audit import reaches, shape

    outer: list[Any] = []
    holes: list[Any] = []
    for loop in region.loops:
        ring = Polygon(_flat(loop))
        (outer if ring.exterior.is_ccw else holes).append(make_valid(ring))
    area = outer[0] if outer else Polygon()
    for piece in outer[1:]:
        area = area.union(piece)
    for hole in holes:
        area = area.difference(hole)
    per_quarter = max(2, math.ceil(math.pi / 4 / math.acos(1 - min(0.5, _CHORD / abs(distance)))))
    moved = area.buffer(-distance, quad_segs=per_quarter)
    loops = []
    for piece in getattr(moved, "geoms", (moved,)):
        if piece.is_empty:
            continue
        piece = polygon.orient(piece)
        for ring in (piece.exterior, *piece.interiors):
            points = np.asarray(ring.coords)[:-1, :2].copy()
            n = len(points)
            none = np.full(n, -1, np.int32)
            loops.append(ArcPath(points=points, bulge=np.zeros(n), face=none, support=none))
    result = ArcRegion(loops=tuple(loops), supports=np.zeros((0, 4)))
    slack = 4 * _CHORD
    if loops:
        spans, source = spans_of(loops), spans_of(region.loops)
        if np.any(shape(spans.rows, spans.heads, slack)):
            return None
        middle = (spans.rows[:, :2] + spans.rows[:, 2:4]) / 2 + spans.origin - source.origin
        x, y = np.ascontiguousarray(middle.T)
        far = reaches(source.rows, abs(distance) + slack, 0.0, x, y)
        if not reaches(source.rows, abs(distance), slack, x, y).all() or far.any():
            return None
    return Result(region=result, bound=Bound(slack, "region", _WHY), fallbacks=1)


def _flat(loop: ArcPath) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Corners of a polygon whose chords stray from the loop's arcs by at most the chord error."""
    points = []
    for a, b, bulge in zip(loop.points, np.roll(loop.points, -1, axis=0), loop.bulge, strict=True):
        sagitta = abs(bulge) * float(np.hypot(*(b - a))) / 2
        count = max(1, math.ceil(math.sqrt(sagitta / _CHORD)))
        t = np.arange(count) / count
        angle = 4 * math.atan(bulge)
        # A point at the share t of an arc, seen from its start: the chord turned and scaled.
        turn = angle * (t - 1) / 2
        scale = t if bulge == 0 else np.sin(angle * t / 2) / math.sin(angle / 2)
        chord = b - a
        points.append(
            a
            + scale[:, None]
            * np.column_stack(
                [
                    chord[0] * np.cos(turn) - chord[1] * np.sin(turn),
                    chord[1] * np.cos(turn) + chord[0] * np.sin(turn),
                ]
            )
        )
    return np.concatenate(points)
