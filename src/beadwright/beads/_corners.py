"""What a bead of one width cannot follow: corners that stick out, and bends tighter than half its width."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.beads._bead import Bead
from beadwright.beads._rays import Rays
from beadwright.curves import ArcPath, ArcRegion, chords, lengths

Floats = npt.NDArray[np.float64]

# A joint that turns left by less than this (rad) is smooth.
SMOOTH = 0.05
# Room for rounding of radii, mm.
ROUNDING = 1e-6
# The sharpest joints of a layer that are looked at.
LOOKED_AT = 6
# Arcs that turn by less than this (rad) are no bend.
BEND = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """The corner of a layer that its outermost bead misses most.

    Attributes
    ----------
    shortfall : float
        From the bead's round outer edge to the corner, mm: of a sharp corner (1 / sin(angle / 2) - 1) w / 2.
    angle : float
        Between the two sides, rad.
    at : (float, float)
        Where the bead turns, mm.
    faces : tuple of int
        Those that the bead follows before and after it.
    """

    shortfall: float
    angle: float
    at: tuple[float, float]
    faces: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tight:
    """The tightest bend of a layer's contour beads: radius of the centreline, mm, and place, mm."""

    radius: float
    at: tuple[float, float]


def sharpest_corner(region: ArcRegion, beads: Sequence[Bead]) -> Corner | None:
    """The corner that a contour bead of rank 1 misses most, of the sharpest of a layer, if there is any.

    Parameters
    ----------
    region : ArcRegion
        Of the layer.
    beads : sequence of Bead
    """
    joints: list[tuple[float, float, Bead, int]] = []
    for bead in beads:
        if bead.role != "contour" or bead.rank != 1 or not bead.closed:
            continue
        arriving, leaving = _ways(bead.path)
        turn = np.remainder(leaving - np.roll(arriving, 1) + np.pi, 2 * np.pi) - np.pi
        outward = leaving - turn / 2 - np.pi / 2
        rows = np.flatnonzero(turn > SMOOTH)
        joints += [(float(turn[row]), float(outward[row]), bead, int(row)) for row in rows]
    joints.sort(key=lambda joint: -joint[0])
    if not joints:
        return None
    rays = Rays(region)
    corners = [_corner(rays, *joint) for joint in joints[:LOOKED_AT]]
    return max((c for c in corners if c is not None), key=lambda c: c.shortfall, default=None)


def _corner(rays: Rays, turn: float, outward: float, bead: Bead, row: int) -> Corner | None:
    """The corner ahead of a joint of a bead; None if the boundary is not met."""
    x, y = bead.path.points[row]
    ahead = rays.nearest(x, y, outward)
    if ahead is None:
        return None
    return Corner(
        shortfall=ahead - bead.width / 2,
        angle=float(np.pi - turn),
        at=(float(x), float(y)),
        faces=(int(bead.path.face[row - 1]), int(bead.path.face[row])),
    )


def tightest_bend(beads: Sequence[Bead]) -> Tight | None:
    """The tightest arc of contour and wall beads, if it is tighter than half the bead's width."""
    best: Tight | None = None
    for bead in beads:
        if bead.role not in {"contour", "wall"}:
            continue
        turn = np.abs(4 * np.arctan(bead.path.bulge))
        arc = np.flatnonzero(turn > BEND)
        if not len(arc):
            continue
        radius = lengths(bead.path)[arc] / turn[arc]
        row = int(np.argmin(radius))
        # An arc round a corner of the region has a radius of half a width but for rounding.
        if radius[row] < bead.width / 2 - ROUNDING and (best is None or radius[row] < best.radius):
            x, y = bead.path.points[arc[row]]
            best = Tight(radius=float(radius[row]), at=(float(x), float(y)))
    return best


def _ways(path: ArcPath) -> tuple[Floats, Floats]:
    """Direction at the end and at the start of each move, rad."""
    chord = chords(path)
    way, half = np.arctan2(chord[:, 1], chord[:, 0]), 2 * np.arctan(path.bulge)
    return way + half, way - half
