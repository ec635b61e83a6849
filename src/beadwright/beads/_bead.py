"""What a bead is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from beadwright.curves import ArcPath

Role = Literal["contour", "wall", "medial", "fill", "rib", "deck"]
Order = Literal["outer", "inner"]
Side = Literal["centre", "left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bead:
    """One deposited strip: its centreline in the layer, and what it is for.

    Attributes
    ----------
    path : ArcPath
        Centreline in machine coordinates, mm. Of a contour bead the material's boundary lies on the right.
    role : {"contour", "wall", "medial", "fill", "rib", "deck"}
        A contour bead runs parallel to the layer region's boundary; a wall bead stands for a surface; a
        medial bead is the only one of a wall about as thick as one bead; fill lies close inside the contour
        beads, a deck likewise where the part is closed above or below; ribs stand apart.
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
        Of the bead, mm.
    """

    path: ArcPath
    role: Role
    rank: int
    loop: int
    hole: bool
    offset: float
    width: float
    height: float

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
