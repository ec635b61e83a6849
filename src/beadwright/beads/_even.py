"""Even walls: pieces that two beads fill side by side, a little wider or narrower than nominal, each of one width.

Where contour beads of the nominal width would leave a gap between them too narrow for a bead, or lie on each other, and
the wall is about as thick all the way, the two keep to the boundary as contour beads do, at half of another width: no
flow has to change inside a bead. Whether that is better is measured by the exact sweep, never assumed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from beadwright.arcs import cover, offset
from beadwright.beads._axis import walls
from beadwright.beads._rows import pieces_of
from beadwright.beads._zones import WallRange
from beadwright.curves import ArcPath, ArcRegion, inside, length, region_area, region_length

# Thicknesses within this share of the width are alike; beads are told to the fourth place.
ALIKE, PLACES = 0.02, 4
# Least share of a piece's boundary along walls, and of those that are alike: the rest are corners and ends.
ALONG, SAME = 0.6, 0.95
# Twice the area over the perimeter is the mean thickness: it may pass a limit by this factor, for ends and corners.
MEAN = 1.25
# A width nearer to nominal than this share of it is nominal.
LIKE_NOMINAL = 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EvenWall:
    """A piece of what is left, and the lines of its two beads.

    Attributes
    ----------
    piece : ArcRegion
    paths : tuple of ArcPath
    width : float
        Of each bead, mm.
    bound : float
        Greatest error of the lines, mm.
    fallbacks : int
        How often polygons had to stand in.
    """

    piece: ArcRegion
    paths: tuple[ArcPath, ...]
    width: float
    bound: float
    fallbacks: int


def even_walls(
    region: ArcRegion,
    rest: ArcRegion,
    limits: WallRange,
    *,
    depth: float,
    width: float,
    spacing: float,
    tolerance: float,
) -> tuple[EvenWall, ...]:
    """Pieces that two beads of one other width fill better than two of the nominal one.

    Parameters
    ----------
    region : ArcRegion
        Of the layer; lines are offset from its boundary.
    rest : ArcRegion
        What the ranks so far leave of it.
    limits : WallRange
        Least and greatest width of a bead.
    depth : float
        How far inside the region that lies, mm.
    width, spacing : float
        Of the nominal beads, mm.
    tolerance : float
        Of the thickness of curved walls, mm.
    """
    found = []
    for piece in pieces_of(rest):
        own = _even_width(piece, limits, width=width, spacing=spacing, tolerance=tolerance)
        if own is None:
            continue
        inner = offset(region, distance=depth + own / 2)
        paths = within(inner.region.loops, piece)
        asked = offset(piece, distance=width / 2).region.loops
        loss = width - spacing
        if paths and _missed(piece, paths, own - loss) < _missed(piece, asked, width - loss):
            found.append(
                EvenWall(piece=piece, paths=paths, width=own, bound=inner.bound.mm, fallbacks=inner.fallbacks)
            )
    return tuple(found)


def within(loops: Sequence[ArcPath], piece: ArcRegion) -> tuple[ArcPath, ...]:
    """Those loops that lie in a piece; none crosses its boundary."""
    return tuple(loop for loop in loops if inside(piece, loop.points[:1])[0])


def without_pieces(region: ArcRegion, pieces: Sequence[ArcRegion]) -> ArcRegion:
    """A region without what lies in some pieces, whose boundaries it does not cross."""
    taken = {id(loop) for piece in pieces for loop in (*within(region.loops, piece), *piece.loops)}
    return ArcRegion(
        loops=tuple(loop for loop in region.loops if id(loop) not in taken), supports=region.supports
    )


def _even_width(
    piece: ArcRegion, limits: WallRange, *, width: float, spacing: float, tolerance: float
) -> float | None:
    """Width of each of two beads that fill a piece, mm; None where it is uneven, or other beads do."""
    overlap, around = width - spacing, region_length(piece)
    top = 2 * limits.most - overlap
    mean = 2 * region_area(piece) / around
    if not limits.two / MEAN <= mean <= top * MEAN:
        return None
    found = walls(
        piece,
        least=limits.least / 2,
        most=(top + ALIKE * width) / 2,
        step=limits.least / 2,
        tolerance=tolerance,
    )
    if found is None:
        return None
    foot, _, radius, wall = found.places()
    thick, run = [], []
    for rows in found.loops():
        ahead = np.hypot(*(np.roll(foot[rows], -1, axis=0) - foot[rows]).T)
        thick.append(2 * radius[rows][wall[rows]])
        run.append(((ahead + np.roll(ahead, 1)) / 2)[wall[rows]])
    every, weight = np.concatenate(thick), np.concatenate(run)
    if not weight.sum() > ALONG * around:
        return None
    order = np.argsort(every, kind="stable")
    half = np.searchsorted(np.cumsum(weight[order]), weight.sum() / 2)
    median = float(every[order][half])
    alike = np.abs(every - median) <= ALIKE * width
    own = round((median + overlap) / 2, PLACES)
    fits = limits.least <= own <= limits.most and abs(own - width) > LIKE_NOMINAL * width
    return own if fits and weight[alike].sum() >= SAME * weight.sum() else None


def _missed(piece: ArcRegion, paths: Sequence[ArcPath], covering: float) -> float:
    """What beads leave open of a piece and what they lay beyond it or twice, mm2; infinite if not known."""
    found = cover([(path, covering) for path in paths], (piece,))
    if found is None:
        return math.inf
    laid = math.fsum(length(path) for path in paths) * covering
    return region_area(piece) - found.inside[0] + laid - found.inside[0]
