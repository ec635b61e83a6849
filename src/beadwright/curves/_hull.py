"""The convex hull of paths of lines and arcs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.curves._measure import chords
from beadwright.curves._path import ArcPath
from beadwright.curves._places import points_at

Floats = npt.NDArray[np.float64]


def hull(paths: Sequence[ArcPath], *, tolerance: float) -> Floats:
    """Corners of the convex hull of paths, counter-clockwise: (n, 2), mm; fewer than three without area.

    Arcs count by points of theirs, so that the hull lies inside the true one, by the tolerance (mm) at most: of a
    step by the angle a along a radius r the chord misses r (1 - cos(a/2)).

    Examples
    --------
    >>> square = ArcPath(points=np.array([[0.0, 0], [4, 0], [2, 1], [4, 4], [0, 4]]), bulge=np.zeros(5),
    ...                  face=np.zeros(5, np.int32), support=np.zeros(5, np.int32))
    >>> hull([square], tolerance=0.01).tolist()
    [[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]]
    """
    found = [
        np.zeros((0, 2)),
        *(path.points for path in paths),
        *(_on_arcs(path, tolerance) for path in paths),
    ]
    points = np.unique(np.concatenate(found), axis=0).tolist()
    if len(points) < 3:
        return np.array(points).reshape(-1, 2)
    # A. M. Andrew, Inf. Process. Lett. 9 (1979) 216-219: by x, then y, once along the lower side and once back.
    return np.array(_side(points)[:-1] + _side(points[::-1])[:-1])


def _on_arcs(path: ArcPath, tolerance: float) -> Floats:
    """Points inside the arcs of a path."""
    chord, bulge = np.hypot(*chords(path).T), np.abs(path.bulge)
    arc = bulge > 0
    safe = np.where(arc, bulge, 1.0)
    radius = chord * (1 + safe * safe) / (4 * safe)
    step = 2 * np.arccos(np.clip(1 - tolerance / np.maximum(radius, tolerance), -1.0, 1.0))
    # an arc is chord * bulge / 2 high; where that is less than the tolerance its chord will do
    flat = ~arc | (chord * bulge < 2 * tolerance)
    pieces = np.where(flat, 1, np.ceil(4 * np.arctan(bulge) / np.where(flat, 1.0, step))).astype(int)
    row = np.repeat(np.arange(len(pieces)), pieces - 1)
    first = np.cumsum(pieces - 1) - (pieces - 1)
    number = np.arange(len(row)) - np.repeat(first, pieces - 1) + 1
    return points_at(path, row, number / pieces[row])


def _side(points: list[list[float]]) -> list[list[float]]:
    """The lower side of points that go one way."""
    kept: list[list[float]] = []
    for x, y in points:
        while len(kept) > 1:
            (ax, ay), (bx, by) = kept[-2:]
            if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0:
                break
            kept.pop()
        kept.append([x, y])
    return kept
