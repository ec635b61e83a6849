"""The moves of many paths at once: many short paths cost by the call, not by the move."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from beadwright.curves._path import ArcPath

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Ends(NamedTuple):
    """The moves of k paths one after the other, m in all, and their n points.

    Attributes
    ----------
    points : (n, 2) float
        Of all paths, mm.
    bulge : (m,) float
    start, end : (m,) int
        Row of the point where each move starts and where it ends.
    first_point, first_move : (k + 1,) int
        Rows at which each path begins, and what comes after the last.
    """

    points: Floats
    bulge: Floats
    start: Ints
    end: Ints
    first_point: Ints
    first_move: Ints


def ends_of(paths: Sequence[ArcPath]) -> Ends:
    """The moves of paths, in their order.

    Examples
    --------
    >>> line = ArcPath(points=np.array([[0.0, 0], [4, 0]]), bulge=np.zeros(1),
    ...                face=np.zeros(1, np.int32), support=np.zeros(1, np.int32), closed=False)
    >>> ring = ArcPath(points=np.array([[5.0, 0], [-5, 0]]), bulge=np.ones(2),
    ...                face=np.zeros(2, np.int32), support=np.zeros(2, np.int32))
    >>> found = ends_of([line, ring])
    >>> found.start.tolist(), found.end.tolist()
    ([0, 2, 3], [1, 3, 2])
    """
    n = np.array([0, *(len(path.points) for path in paths)])
    m = np.array([0, *(len(path.bulge) for path in paths)])
    first_point, first_move = np.cumsum(n), np.cumsum(m)
    start = np.arange(first_move[-1]) + np.repeat(first_point[:-1] - first_move[:-1], m[1:])
    end = start + 1
    # a closed path has as many moves as points, and its last ends at its first point
    closed = (n[1:] == m[1:]) & (m[1:] > 0)
    end[first_move[1:][closed] - 1] = first_point[:-1][closed]
    none = np.zeros((0, 2))
    return Ends(
        points=np.concatenate([none, *(path.points for path in paths)]),
        bulge=np.concatenate([none[:, 0], *(path.bulge for path in paths)]),
        start=start,
        end=end,
        first_point=first_point,
        first_move=first_move,
    )
