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

    def _repr_svg_(self) -> str:
        """The region as a notebook shows it: true arcs, y turned down, nothing else."""
        points = np.concatenate([np.zeros((0, 2)), *(loop.points for loop in self.loops)])
        if not len(points):
            return '<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10"></svg>'
        low, high = points.min(axis=0), points.max(axis=0)
        # an arc of at most half a turn may bulge out by half its chord
        room = 0.02 * float((high - low).max()) + max(
            (
                float(np.abs(loop.bulge).max()) * float((high - low).max()) / 2
                for loop in self.loops
                if loop.bulge.any()
            ),
            default=0.0,
        )
        box = f"{low[0] - room:g} {-high[1] - room:g} {high[0] - low[0] + 2 * room:g} {high[1] - low[1] + 2 * room:g}"
        data = "".join(_path_data(loop) for loop in self.loops)
        line = f'stroke="#22292e" stroke-width="{0.003 * float((high - low).max()):g}"'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="420" viewBox="{box}">'
            f'<path d="{data}" fill="#efe9dc" fill-rule="nonzero" {line}/></svg>'
        )


def _path_data(loop: ArcPath) -> str:
    """Commands of one closed loop."""
    parts = [f"M{loop.points[0, 0]:.9g} {-loop.points[0, 1]:.9g}"]
    for start, end, bulge in zip(loop.points, np.roll(loop.points, -1, axis=0), loop.bulge, strict=True):
        chord = float(np.hypot(*(end - start)))
        radius = chord * (1 + bulge * bulge) / (4 * abs(bulge)) if bulge else 0.0
        head = f"A{radius:.9g} {radius:.9g} 0 0 {int(bulge < 0)} " if bulge else "L"
        parts.append(f"{head}{end[0]:.9g} {-end[1]:.9g}")
    return "".join(parts) + "Z"
