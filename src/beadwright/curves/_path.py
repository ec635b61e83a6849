"""Paths and regions of straight lines and circular arcs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArcPath:
    """A chain of lines and arcs, closed or open; ``m`` moves (m = n if closed, else n - 1).

    Attributes
    ----------
    points : (n, 2) float
        Start of each move, and for an open path the end of the last, mm.
    bulge : (m,) float
        tan(sweep / 4) of each move: 0 a line, positive counter-clockwise, at most 1 in size (half a turn).
    face : (m,) int32
        Face of the solid that each move follows; -1 where there is none.
    support : (m,) int32
        Row of `ArcRegion.supports` (or -1): the line or circle that a move lies on, as the CAD gives it.
    closed : bool
        Whether the last move ends at ``points[0]``.
    """

    points: npt.NDArray[np.float64]
    bulge: npt.NDArray[np.float64]
    face: npt.NDArray[np.int32]
    support: npt.NDArray[np.int32]
    closed: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArcRegion:
    """A region bounded by closed loops of lines and arcs, material on the left of each.

    Outer loops run counter-clockwise, holes clockwise; nesting alternates. An empty tuple is the
    empty region.

    Attributes
    ----------
    loops : tuple of ArcPath
        All closed.
    supports : (k, 4) float
        Rows ``(0, nx, ny, c)`` for the line nx x + ny y = c (unit normal), ``(1, cx, cy, r)`` for a circle.
    """

    loops: tuple[ArcPath, ...]
    supports: npt.NDArray[np.float64]
