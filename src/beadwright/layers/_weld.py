"""Solids that are meant to touch but miss each other by a hair become one region."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.arcs import offset, subtract, unite
from beadwright.curves import ArcPath, ArcRegion

# Solids nearer than this count as touching, mm: far below any bead, well above what placing bodies in an
# assembly loses. A wider gap is a gap of the design and keeps its beads on both sides.
HAIR = 0.002


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Welded:
    """A region without hairs between its parts.

    Attributes
    ----------
    region : ArcRegion
    bound : float
        Residual of the operations, mm; where a hair was filled the boundary is gone instead.
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
    so that no notch of the design is rounded. Every added point lies within half a hair of the region.

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
    gaps = tuple(loop for loop in filled.region.loops if _between_solids(loop, solid_of_face))
    if not gaps:
        return Welded(region=region)
    whole = unite((region, ArcRegion(loops=gaps, supports=filled.region.supports)))
    return Welded(
        region=whole.region,
        bound=filled.bound.mm + whole.bound.mm,
        hairs=len(gaps),
        fallbacks=closed.fallbacks + filled.fallbacks + whole.fallbacks,
    )


def _between_solids(loop: ArcPath, solid_of_face: npt.NDArray[np.int64]) -> bool:
    return len(np.unique(solid_of_face[loop.face[loop.face >= 0]])) > 1
