"""How far the section of a solid may go between two planes.

Where no face of the boundary is level between two heights a < b and no edge is, every place of the boundary there can
be followed along it upwards to b, and downwards to a: on a face along its steepest way, on an edge along the edge where
the faces beside it leave no other. On the way it moves sideways by at most t times what it rises, t the greatest of the
faces' and edges' sideways way per height. A place that lies in a section between a and b and in neither of those at a
and b has boundary above it; so it is within t (b - a) / 2 of one of these two, since it is that near to the boundary at
the nearer of them. Likewise one that lies in both and not in all between. So planes at distances d miss no more than
t d / 2 of what the solid covers anywhere in a slab, or everywhere in it. Vertices and what is level get a plane on both
sides: between those lies nothing but what is thinner than `THIN`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import (
    Conic3,
    Edge,
    Line3,
    Model,
    Spline3,
    Steepness,
    curve_points,
    edge_uses,
    steepness,
)
from beadwright.brep._bezier import extraction, halves

Array = npt.NDArray[np.float64]

THIN = 4e-6
"""Height that nothing is looked for in: twice as far as planes keep from flat faces to both sides, mm."""
LEVEL = 1e-9
"""An edge that rises by less is level, mm."""
PIECES = 64
"""Pieces of an edge that is part of a conic."""
ROUNDS = 4
"""Halvings of an edge that is a spline."""
ENOUGH = 0.05
"""What planes may miss, mm: then no more are made."""
MOST = 65
"""Planes of a slab at the most."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Between:
    """Ways sideways per height along a placed model's boundary; pickles. Made by `between`.

    Attributes
    ----------
    faces : Steepness
    low, high, ratio : (n,) float
        Of pieces of edges: heights, mm, and the greatest way sideways per height.
    heights : (k,) float
        Of vertices, level edges and flat faces, mm, ascending.
    """

    faces: Steepness
    low: Array
    high: Array
    ratio: Array
    heights: Array

    def missed(self, planes: Array) -> Array:
        """What the sections at ascending planes (m + 1,) may miss of those between, mm: (m,); infinite if unknown."""
        rise = np.diff(planes)
        steep = self.faces.greatest(planes)
        with np.errstate(divide="ignore"):
            ratio = steep / np.sqrt(np.maximum(1.0 - steep * steep, 0.0))
        meets = (self.low < planes[1:, None]) & (self.high > planes[:-1, None])
        edges = np.where(meets, self.ratio, 0.0).max(axis=1, initial=0.0)
        with np.errstate(invalid="ignore"):
            found = np.maximum(ratio, edges) * rise / 2
        return np.asarray(np.where(rise <= THIN, 0.0, found))

    def planes(self, low: float, high: float, count: int) -> tuple[tuple[float, ...], float]:
        """Heights of planes of a slab, its own two among them, and what they may miss, mm.

        At least `count`, evenly spread; more beside vertices and what is level, and as far as what may be missed
        is more than `ENOUGH` and more planes help.
        """
        inner = self.heights[(self.heights > low) & (self.heights < high)]
        if len(inner) > MOST // 4:
            return tuple(np.linspace(low, high, count).tolist()), float("inf")
        levels = np.clip(np.concatenate([inner - THIN / 3, inner + THIN / 3]), low, high)
        planes = np.unique(np.concatenate([np.linspace(low, high, count), levels]))
        while True:
            missed = self.missed(planes)
            wide = np.flatnonzero((missed > ENOUGH) & np.isfinite(missed))
            worst = float(missed.max(initial=0.0))
            if not len(wide) or not np.isfinite(worst) or len(planes) + len(wide) > MOST:
                return tuple(planes.tolist()), worst
            planes = np.sort(np.concatenate([planes, (planes[wide] + planes[wide + 1]) / 2]))


def between(model: Model) -> Between:
    """Bounds for all faces and edges of a placed model."""
    faces = steepness(model)
    seams = _inside_one_face(model)
    rows, level = [], []
    for row, edge in enumerate(model.edges):
        if edge.curve is None or row in seams:
            continue
        z = curve_points(edge.curve, np.array([edge.start, edge.end]))[:, 2].tolist()
        own = list(_pieces(edge))
        if max(piece[1] for piece in own) - min(piece[0] for piece in own) < LEVEL:
            level.append(z[0])
            continue
        rows += own
        level += z
    table = np.array(rows).reshape(-1, 3)
    return Between(
        faces=faces,
        low=table[:, 0],
        high=table[:, 1],
        ratio=table[:, 2],
        heights=np.unique(np.round(np.concatenate([np.array(level), faces.flats]), 9)),
    )


def _inside_one_face(model: Model) -> set[int]:
    """Edges along which a face meets itself: its surface goes on there."""
    return {edge for edge, own in enumerate(edge_uses(model)) if len(own) == 2 and own[0].face == own[1].face}


def _pieces(edge: Edge) -> Iterator[tuple[float, float, float]]:
    """Pieces of an edge: least and greatest height, mm, and a bound of its way sideways per height."""
    match edge.curve:
        case Line3(direction=direction):
            z = curve_points(edge.curve, np.array([edge.start, edge.end]))[:, 2]
            side, up = float(np.hypot(*direction[:2])), abs(float(direction[2]))
            yield float(z.min()), float(z.max()), side / up if up else np.inf
        case Conic3(major=major, minor=minor):
            t = np.linspace(edge.start, edge.end, PIECES + 1)
            middle, half = (t[1:] + t[:-1]) / 2, (t[1:] - t[:-1]) / 2
            z = curve_points(edge.curve, middle)[:, 2]
            way = np.outer(np.cos(middle), minor) - np.outer(np.sin(middle), major)
            # the derivative changes no faster than the greatest second derivative
            bend = float(np.hypot(np.linalg.norm(major), np.linalg.norm(minor)))
            lift = float(np.hypot(major[2], minor[2]))
            up = np.abs(way[:, 2]) - half * lift
            side = np.hypot(way[:, 0], way[:, 1]) + half * bend
            ratio = np.divide(side, up, out=np.full(len(up), np.inf), where=up > 0)
            room = half * lift
            yield from zip((z - room).tolist(), (z + room).tolist(), ratio.tolist(), strict=True)
        case Spline3(knots=knots, degree=degree, poles=poles, weights=weights):
            yield from _spline_pieces(knots, degree, poles, weights)


def _spline_pieces(
    knots: Array, degree: int, poles: Array, weights: Array
) -> Iterator[tuple[float, float, float]]:
    """Of all of a spline curve, by the differences of its pieces' poles.

    The derivative of a rational Bézier curve is a sum of the differences of any two of its poles, the later less the
    earlier, with weights above 0 (Floater, CAGD 9 (1992) 161-174), so its direction lies in their cone.
    """
    _, first, matrix = extraction(knots, degree)
    flat = np.concatenate([poles * weights[:, None], weights[:, None]], axis=1)
    pieces = matrix @ flat[first[:, None] + np.arange(degree + 1)]
    for _ in range(ROUNDS):
        pieces = np.concatenate(halves(pieces, 1))
    points = pieces[..., :3] / pieces[..., 3:]
    early, late = np.triu_indices(degree + 1, 1)
    way = points[:, late] - points[:, early]
    up, side = way[..., 2], np.hypot(way[..., 0], way[..., 1])
    climbs = (up > 0).all(axis=1) | (up < 0).all(axis=1)
    ratio = np.divide(side, np.abs(up), out=np.full(up.shape, np.inf), where=up != 0).max(axis=1)
    for own, value in zip(points[..., 2], np.where(climbs, ratio, np.inf).tolist(), strict=True):
        yield float(own.min()), float(own.max()), value
