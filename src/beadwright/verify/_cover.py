"""What beads cover: the sweep of each move by the bead's width, united."""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
import numpy.typing as npt
import shapely

from beadwright.verify._deposit import Bead
from beadwright.verify._moves import Moves

Floats = npt.NDArray[np.float64]
Width = TypeVar("Width", float, Floats)

# Sag of the chords that stand for the sides of an arc's sweep, mm. Their radius is such that the area is the arc's.
CHORD = 1e-3
# Directions that differ by less at a joint leave no gap worth a disc, rad: (w^2 / 8) 1e-4 is 1e-3 mm2 at w 8.4.
SMOOTH = 1e-4
DISC = 64


def covering_width(width: Width, height: float, section: str) -> Width:
    """Width that a bead fills: all of a flat one, area by height of a round one (mm).

    Examples
    --------
    >>> round(covering_width(8.4, 4.0, "round"), 6)
    7.541593
    """
    return width if section == "flat" else width - height * (1 - math.pi / 4)


def bead_area(width: Width, height: float, section: str) -> Width:
    """Area of a bead's section, mm2: a rectangle, or a rectangle with half circles at its sides.

    Examples
    --------
    >>> round(bead_area(10.0, 4.0, "round"), 5)
    36.56637
    """
    return height * covering_width(width, height, section)


def sweep(moves: Moves, beads: tuple[Bead, ...], section: str) -> shapely.Geometry:
    """Union of the beads of a layer in the plane; open beads end square, so that no area is added."""
    parts: list[shapely.Geometry] = []
    for bead in beads:
        if len(bead.rows) and bead.width > 0 and not bead.purge:
            parts += _pieces(moves, bead, covering_width(bead.own_widths(), bead.height, section) / 2)
    return shapely.union_all(parts) if parts else shapely.MultiPolygon()


def laid_area(moves: Moves, beads: tuple[Bead, ...], section: str) -> float:
    """Covering width times length, mm2: area of the sweep if nothing were covered twice."""
    return float(
        sum(
            (covering_width(b.own_widths(), b.height, section) * moves.length[b.rows]).sum()
            for b in beads
            if len(b.rows) and b.width > 0 and not b.purge
        )
    )


def _pieces(moves: Moves, bead: Bead, half: Floats) -> list[shapely.Geometry]:
    """One polygon a move, and a disc at every corner of the centreline."""
    rows = bead.rows
    a, b, c = moves.start[rows, :2], moves.end[rows, :2], moves.centre[rows]
    turn = np.where(moves.plane[rows] == 170, moves.sweep[rows], 0.0)
    leave, arrive = _directions(a, b, c, turn)
    straight = np.flatnonzero((turn == 0) & (np.hypot(*(b - a).T) > 0))
    out: list[shapely.Geometry] = []
    if len(straight):
        side = half[straight, None] * np.column_stack([-leave[straight, 1], leave[straight, 0]])
        p, q = a[straight], b[straight]
        out += list(shapely.polygons(np.stack([p - side, q - side, q + side, p + side], axis=1)))
    for k in np.flatnonzero(turn):
        out.append(_sector(a[k], c[k], float(turn[k]), float(half[k])))
    after = np.roll(leave, -1, axis=0)
    angle = np.abs(
        np.arctan2(arrive[:, 0] * after[:, 1] - arrive[:, 1] * after[:, 0], (arrive * after).sum(axis=1))
    )
    corner = angle > SMOOTH
    if not bead.closed:
        corner[-1] = False
    tight = np.flatnonzero((turn != 0) & (np.hypot(*(a - c).T) < half))
    places = np.concatenate([b[corner], a[tight], b[tight]])
    # A disc of equal area: its corners lie a little outside the circle.
    radius = np.concatenate([half[corner], half[tight], half[tight]]) * math.sqrt(
        (2 * math.pi / DISC) / math.sin(2 * math.pi / DISC)
    )
    out += list(shapely.buffer(shapely.points(places), radius, quad_segs=DISC // 4))
    return out


def _directions(a: Floats, b: Floats, c: Floats, turn: Floats) -> tuple[Floats, Floats]:
    """Unit directions of moves at their start and end."""
    chord = b - a
    size = np.maximum(np.hypot(*chord.T), 1e-300)[:, None]
    leave, arrive = chord / size, chord / size
    arc = turn != 0
    for ends, out in ((a, leave), (b, arrive)):
        radius = ends[arc] - c[arc]
        tangent = np.column_stack([-radius[:, 1], radius[:, 0]]) * np.sign(turn[arc])[:, None]
        out[arc] = tangent / np.hypot(*tangent.T)[:, None]
    return leave, arrive


def _sector(start: Floats, centre: Floats, turn: float, half: float) -> shapely.Polygon:
    """The sweep of an arc: a ring sector of its own area; of an arc tighter than the half width, a circle's sector."""
    radius = math.hypot(*(start - centre))
    outer, inner = radius + half, max(radius - half, 0.0)
    count = max(2, math.ceil(abs(turn) / (2 * math.acos(max(1 - CHORD / outer, 0.5)))))
    begin = math.atan2(*(start - centre)[::-1])
    angle = begin + np.linspace(0.0, turn, count + 1)
    step = abs(turn) / count
    grow = math.sqrt(step / math.sin(step))
    ray = np.column_stack([np.cos(angle), np.sin(angle)])
    out = centre + outer * grow * ray
    back = centre + inner * grow * ray[::-1] if inner else centre[None, :]
    return shapely.Polygon(np.concatenate([out, back]))
