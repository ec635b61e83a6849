"""Solids that are meant to touch but miss each other by a hair become one region."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.arcs import offset, subtract, unite
from beadwright.curves import ArcPath, ArcRegion, inside, length, signed_area

# Solids nearer than this count as touching, mm: far below any bead, well above what placing bodies in an
# assembly loses. A wider gap is a gap of the design and keeps its beads on both sides.
HAIR = 0.002
# A gap is a hair if its area is a smaller share of the square of its length: two walls that cross at more than
# half a degree are no gap but a corner of the design, which stays where it is.
THIN = 5e-3
# Corners nearer to each other than this are one, mm.
SAME = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Welded:
    """A region without hairs between its parts.

    Attributes
    ----------
    region : ArcRegion
    bound : float
        Residual of the operations, and how far a filled corner moved the boundary, mm; where a hair was filled
        the boundary is gone instead.
    hairs : int
        Gaps filled.
    fallbacks : int
        How often polygons had to stand in.
    """

    region: ArcRegion
    bound: float = 0.0
    hairs: int = 0
    fallbacks: int = 0


def weld(region: ArcRegion, solid_of_face: npt.NDArray[np.int64], *, hair: float = HAIR) -> Welded:
    """Fill gaps narrower than a hair between different solids.

    The morphological closing by a disc of half a hair fills them (J. Serra, Image Analysis and Mathematical
    Morphology, 1982). Of what it adds only the pieces that lie between faces of different solids are taken,
    so that no notch of the design is rounded, and of these only gaps, which are long and thin, and the corners
    at a place where two solids touch in a point. Every added point lies within half a hair of the region.

    Parameters
    ----------
    region : ArcRegion
        Of several solids, united; its moves know their faces.
    solid_of_face : (faces,) int
    hair : float
        Widest gap that is filled, mm.
    """
    closed = offset(offset(region, distance=-0.5 * hair).region, distance=0.5 * hair)
    filled = subtract(closed.region, region)
    gaps: list[ArcPath] = []
    hairs, moved = 0, 0.0
    for piece in _pieces(filled.region):
        if not _between_solids(piece, solid_of_face):
            continue
        run = sum(map(length, piece)) / 2
        if sum(map(signed_area, piece)) > THIN * run * run:
            if not _pinched(piece, region):
                continue
            moved = max(moved, run)
        gaps += piece
        hairs += 1
    if not gaps:
        return Welded(region=region)
    whole = unite((region, ArcRegion(loops=tuple(gaps), supports=filled.region.supports)))
    return Welded(
        region=whole.region,
        bound=filled.bound.mm + whole.bound.mm + moved,
        hairs=hairs,
        fallbacks=closed.fallbacks + filled.fallbacks + whole.fallbacks,
    )


def _pieces(region: ArcRegion) -> list[list[ArcPath]]:
    """Outer loops, each with its holes."""
    outer = [[loop] for loop in region.loops if signed_area(loop) > 0]
    for hole in (loop for loop in region.loops if signed_area(loop) <= 0):
        around = [
            piece
            for piece in outer
            if inside(ArcRegion(loops=(piece[0],), supports=region.supports), hole.points[:1])[0]
        ]
        # The smallest loop around a hole is its own.
        min(around, key=lambda piece: signed_area(piece[0])).append(hole)
    return outer


def _between_solids(piece: Sequence[ArcPath], solid_of_face: npt.NDArray[np.int64]) -> bool:
    face = np.concatenate([loop.face for loop in piece])
    return len(np.unique(solid_of_face[face[face >= 0]])) > 1


def _pinched(piece: Sequence[ArcPath], region: ArcRegion) -> bool:
    """Whether the boundary of a region passes twice through a corner of a piece."""
    corners = np.concatenate([loop.points for loop in piece])
    points = np.concatenate([loop.points for loop in region.loops])
    apart = np.abs(corners[:, None] - points).max(axis=2)
    return bool(((apart < SAME).sum(axis=1) > 1).any())
