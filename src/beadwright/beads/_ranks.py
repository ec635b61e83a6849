"""How wide contour beads are by rank, and how far inside the layer's region each lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from beadwright.beads._zones import WallRange


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthStep:
    """From which rank on contour beads have a width of their own.

    Attributes
    ----------
    rank : int
        The first, above 1.
    width : float
        mm.
    walls : WallRange
        How thick a wall beads of this width can make.
    """

    rank: int
    width: float
    walls: WallRange


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranks:
    """Widths and places of contour beads by rank.

    Every bead takes the band of its own spacing, its width less the overlap: so neighbours lie half the sum of their
    spacings apart, and any two overlap by as much as two of the outermost width do.

    Attributes
    ----------
    width, spacing : float
        Of the outermost, mm.
    steps : sequence of WidthStep
        By rising rank.

    Examples
    --------
    Beads of 10 mm behind one of 8.4 mm, tamped: half of 8.4 and half of 10 between their centrelines.

    >>> limits = WallRange(least=8.0, most=11.43, two=16.0)
    >>> ranks = Ranks(width=8.4, spacing=8.4, steps=(WidthStep(rank=2, width=10.0, walls=limits),))
    >>> [round(ranks.offset(rank), 9) for rank in (1, 2, 3)]
    [4.2, 13.4, 23.4]
    """

    width: float
    spacing: float
    steps: Sequence[WidthStep] = ()

    def width_of(self, rank: int) -> float:
        """Width of the beads of a rank, mm."""
        return next((step.width for step in reversed(self.steps) if step.rank <= rank), self.width)

    def spacing_of(self, rank: int) -> float:
        """Distance of two neighbours of this rank's width, mm."""
        return self.spacing + (self.width_of(rank) - self.width)

    def walls_of(self, rank: int, outermost: WallRange) -> WallRange:
        """How thick a wall beads of a rank can make."""
        return next((step.walls for step in reversed(self.steps) if step.rank <= rank), outermost)

    def inside(self, rank: int) -> float:
        """How far inside the region lies what the ranks before this leave to it, mm."""
        found, first, before = 0.0, 1, self.spacing
        for step in self.steps:
            if step.rank >= rank:
                break
            found += (step.rank - first) * before
            first, before = step.rank, self.spacing_of(step.rank)
        return found + (rank - first) * before

    def offset(self, rank: int) -> float:
        """Distance of a rank's centrelines from the boundary of the region, mm."""
        return self.width_of(rank) / 2 + self.inside(rank)
