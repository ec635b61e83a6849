"""What a bead is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, lengths

Role = Literal["contour", "wall", "medial", "fill", "rib", "deck", "base"]
Order = Literal["outer", "inner"]
Side = Literal["centre", "left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bead:
    """One deposited strip: its centreline in the layer, and what it is for.

    Attributes
    ----------
    path : ArcPath
        Centreline in machine coordinates, mm. Of a contour bead the material's boundary lies on the right.
    role : {"contour", "wall", "medial", "fill", "rib", "deck", "base"}
        A contour bead runs parallel to the layer region's boundary; a wall bead stands for a surface; a
        medial bead is the only one of a wall about as thick as one bead; fill lies close inside the contour
        beads, a deck likewise where the part is closed above or below; ribs stand apart. Base
        beads lie beside the part at its foot.
    rank : int
        1 is the outermost.
    loop : int
        Counts the loops of rank 1 within the layer from 0; all ranks of one loop share it.
    hole : bool
        Whether the bead runs round a hole.
    offset : float
        Distance of the centreline from the boundary of the layer's region, mm, positive into the material;
        of a wall bead from the section curve, positive to its left.
    width, height : float
        Of the bead, mm; of one whose width varies the mean along it, so that area by length is its volume.
    widths : tuple of float
        Empty for a bead of one width. Else those that its moves have, mm: ``path.support`` of a move is its row
        here, so that whatever cuts or turns the path keeps them.
    middle : bool
        Of a wall bead: it runs along the middle of a thin wall, whose boundary may be nearer or farther than `offset`.
    """

    path: ArcPath
    role: Role
    rank: int
    loop: int
    hole: bool
    offset: float
    width: float
    height: float
    widths: tuple[float, ...] = ()
    middle: bool = False

    @property
    def closed(self) -> bool:
        """Whether the bead ends where it starts."""
        return self.path.closed

    @property
    def start(self) -> tuple[float, float]:
        """Where the bead begins, mm."""
        return float(self.path.points[0, 0]), float(self.path.points[0, 1])

    @property
    def end(self) -> tuple[float, float]:
        """Where the bead ends, mm."""
        row = self.path.points[0 if self.closed else -1]
        return float(row[0]), float(row[1])

    def strips(self) -> tuple[tuple[ArcPath, float], ...]:
        """Parts of the path with the width of each, mm: one of a bead of one width."""
        if not self.widths:
            return ((self.path, self.width),)
        row = self.path.support
        cuts = np.flatnonzero(np.diff(row)) + 1
        return tuple(
            (part_of(self.path, own), self.widths[row[own[0]]]) for own in np.split(np.arange(len(row)), cuts)
        )


def part_of(path: ArcPath, rows: npt.NDArray[np.int64]) -> ArcPath:
    """Neighbouring moves of a path, as an open path."""
    ends = (int(rows[-1]) + 1) % len(path.points)
    return ArcPath(
        points=path.points[[*rows, ends]],
        bulge=path.bulge[rows],
        face=path.face[rows],
        support=path.support[rows],
        closed=False,
    )


def mean_width(path: ArcPath, widths: npt.NDArray[np.float64]) -> float:
    """Mean along a path of the widths of its moves, mm."""
    run = lengths(path)
    return float((run * widths).sum() / run.sum())
