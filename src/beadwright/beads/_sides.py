"""Sides of walls: stretches of boundary, each place with the greatest disc that touches it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.beads._axis import Walls

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretch:
    """A stretch of boundary along a wall, in its own direction (n places).

    Attributes
    ----------
    foot, normal : (n, 2) float
        Places, mm, and unit normals into the material; a corner that turns right is one place with many normals.
    radius : (n,) float
        Of the greatest disc inside the region that touches each, mm.
    closed : bool
        Whether it is a whole loop; the last place is the first then.
    """

    foot: Floats
    normal: Floats
    radius: Floats
    closed: bool


def stretches(walls: Walls, least: float) -> tuple[Stretch, ...]:
    """Stretches of the boundary along walls whose half thickness is above `least`, mm."""
    foot, normal, radius, wall = walls.places()
    kept = wall & (radius > least)
    found = []
    for rows in walls.loops():
        own = kept[rows]
        if own.all():
            runs = [np.append(rows, rows[0])]
        else:
            turned = np.roll(rows, -int(np.flatnonzero(~own)[0]))
            parts = np.split(turned, np.flatnonzero(np.diff(kept[turned].astype(np.int8))) + 1)
            runs = [part for part in parts if kept[part[0]]]
        found += [
            Stretch(foot=foot[run], normal=normal[run], radius=radius[run], closed=bool(own.all()))
            for run in runs
        ]
    return tuple(found)
