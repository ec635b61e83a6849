"""Ends of beads along the middle of a wall: as far as the wall goes, or to the bead that runs across there.

The middle of a wall ends at the centre of the greatest disc, half the wall's thickness short of its end. A bead ends
square to its centreline, so it goes on, straight, until its end or one of that end's corners reaches the boundary.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from beadwright.beads._bead import Bead, mean_width
from beadwright.curves import ArcPath, ArcRegion, chords, distances, inside

Floats = npt.NDArray[np.float64]

# Ends nearer to each other than this are one, mm.
SAME = 1e-6
# Halvings of the way beyond a middle, of some mm: to a micrometre.
HALVINGS = 13
# A way beyond a middle shorter than this share of the width is not worth a move.
WORTH = 0.02


def to_wall_end(
    bead: Bead, tips: Floats, radii: Floats, region: ArcRegion, *, across: float, inset: float, slack: float
) -> Bead:
    """A bead that goes on to the ends of its wall.

    Parameters
    ----------
    bead : Bead
        Along the middle of a wall.
    tips : (k, 2) float
        Where middles end for the wall's end, mm.
    radii : (k,) float
        Of the discs there, mm.
    region : ArcRegion
        To whose boundary the wall goes.
    across : float
        How far from it the bead ends, mm: what the bead that runs across there covers.
    inset : float
        How far inside the bead's sides its end's corners lie, mm.
    slack : float
        By which corners of the end may stand out, mm.
    """
    if bead.closed or not len(tips):
        return bead
    path = bead.path
    for last in (False, True):
        apart = np.hypot(*(tips - path.points[-1 if last else 0]).T)
        row = int(apart.argmin())
        if apart[row] > SAME:
            continue
        width = bead.widths[path.support[-1 if last else 0]] if bead.widths else bead.width
        half = max(width / 2 - inset - slack, 0.0)
        more = _beyond(path, half, float(radii[row]) - across, region, across - slack, last=last)
        if more > WORTH * bead.width:
            path = _longer(path, more, last=last)
    if path is bead.path:
        return bead
    if not bead.widths:
        return replace(bead, path=path)
    return replace(bead, path=path, width=mean_width(path, np.asarray(bead.widths)[path.support]))


def _heading(path: ArcPath, *, last: bool) -> Floats:
    """Unit vector out of a path at one of its ends."""
    row = len(path.bulge) - 1 if last else 0
    chord = chords(path)[row]
    way = np.arctan2(chord[1], chord[0]) + (2 if last else -2) * np.arctan(path.bulge[row])
    unit = np.array([np.cos(way), np.sin(way)])
    return unit if last else -unit


def _beyond(path: ArcPath, half: float, most: float, region: ArcRegion, apart: float, *, last: bool) -> float:
    """How far an end goes on, mm, at most so far, so that its corners keep apart from the boundary.

    `half` is the distance of a corner from the path; a negative `apart` lets it stand out by that.
    """
    way = _heading(path, last=last)
    tip = path.points[-1 if last else 0]
    side = np.array([-way[1], way[0]]) * half

    def fits(more: float) -> bool:
        places = np.array([tip + more * way + side, tip + more * way - side])
        far = distances(region.loops, places)
        return bool((np.where(inside(region, places), far, -far) >= apart).all())

    if most <= 0 or fits(most):
        return max(most, 0.0)
    low, high = 0.0, most
    for _ in range(HALVINGS):
        half_way = (low + high) / 2
        low, high = (half_way, high) if fits(half_way) else (low, half_way)
    return low


def _longer(path: ArcPath, more: float, *, last: bool) -> ArcPath:
    """A path with a straight move more at one of its ends, or with a longer one where it ends straight."""
    row = -1 if last else 0
    tip = path.points[row] + more * _heading(path, last=last)
    if path.bulge[row] == 0:
        points = path.points.copy()
        points[row] = tip
        return replace(path, points=points)
    at = len(path.bulge) if last else 0

    def grown(values: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
        return np.insert(values, at, values[row])

    return ArcPath(
        points=np.insert(path.points, len(path.points) if last else 0, tip, axis=0),
        bulge=np.insert(path.bulge, at, 0.0),
        face=grown(path.face),
        support=grown(path.support),
        closed=False,
    )
