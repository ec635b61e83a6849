"""Outlines of a measured layer for a picture; nothing is judged by them."""

from __future__ import annotations

import numpy as np
import shapely

from beadwright.verify._cut import Cut, Floats
from beadwright.verify._deposit import DepositLayer
from beadwright.verify._moves import Moves, points_along
from beadwright.verify._result import Outline

# Points of an outline may be left out where its chords stay this near to them, mm.
THINNED = 4e-3
# Points of centrelines are this far apart, mm; arcs tighter than that are drawn by their ends and middles.
ALONG = 1.0
# Sharp corners of what is grown are drawn up to this many amounts away.
SHARP = 3.0


def outline(moves: Moves, layer: DepositLayer, cut: Cut, *, by_face: bool) -> Outline:
    """The outlines of a layer.

    Parameters
    ----------
    moves : Moves
    layer : DepositLayer
    cut : Cut
        The referee's section.
    by_face : bool
        Whether the layer has stock by face: its outline is then that of the outermost beads, as laid, since the stock
        itself is judged by distance from the faces and has no outline of its own.
    """
    section = _rings(cut.region)
    if by_face:
        told = "solid: boundary of section and stock, as laid; the section is the CAD kernel's"
        return Outline(section=section, stock=_rings(_as_laid(moves, layer)), told=told)
    if np.isfinite(layer.stock) and layer.stock > 0:
        told = f"solid: the CAD kernel's section grown by the stock, {layer.stock:g} mm"
        grown = shapely.buffer(cut.region, layer.stock, quad_segs=32)
        return Outline(section=section, stock=_rings(grown), told=told)
    return Outline(section=section, stock=(), told="outline: the CAD kernel's section")


def _rings(region: shapely.Geometry) -> tuple[Floats, ...]:
    """Closed rings of chords of a region, material on the left, without the last point, which is the first."""
    parts = [p for p in shapely.get_parts(shapely.simplify(region, THINNED)) if p.geom_type == "Polygon"]
    rings = [
        shapely.get_coordinates(r)[:-1] for p in parts for r in shapely.get_rings(shapely.orient_polygons(p))
    ]
    return tuple(np.column_stack([ring, np.zeros(len(ring))]) for ring in rings if len(ring) >= 3)


def _as_laid(moves: Moves, layer: DepositLayer) -> shapely.Geometry:
    """What the outermost contour beads bound: their centrelines moved out by their offsets."""
    beads = [b for b in layer.beads if b.role == "contour" and b.rank == "1" and b.closed and len(b.rows)]
    outer: list[shapely.Geometry] = []
    holes: list[shapely.Geometry] = []
    for bead in beads:
        ring = shapely.LinearRing(points_along(moves, bead.rows, ALONG)[0])
        grown = ring.is_ccw != bead.reverse
        away = bead.offset if grown else -bead.offset
        moved = shapely.buffer(shapely.Polygon(ring), away, join_style="mitre", mitre_limit=SHARP)
        (outer if grown else holes).append(moved)
    return shapely.difference(shapely.union_all(outer), shapely.union_all(holes))
