"""Under- and overfill of a layer against the limits that were asked for."""

from __future__ import annotations

import numpy as np
import shapely

from beadwright.verify._cover import sweep
from beadwright.verify._cut import Cut
from beadwright.verify._deposit import DepositLayer
from beadwright.verify._moves import Moves
from beadwright.verify._options import VerifyOptions
from beadwright.verify._result import LayerResult, Notes

Place = tuple[float, float, float]


def check_cover(
    moves: Moves,
    layer: DepositLayer,
    cut: Cut,
    deposit: shapely.Geometry,
    result: LayerResult,
    options: VerifyOptions,
    notes: Notes,
    *,
    section: str,
) -> None:
    """A finding where beads cover less of a section than asked for, or lay more; at the largest such place.

    Parameters
    ----------
    moves : Moves
    layer : DepositLayer
    cut : Cut
        The referee's section.
    deposit : shapely geometry
        What the layer's beads cover.
    result : LayerResult
        With its areas.
    options : VerifyOptions
        `least_cover` and `most_overfill`, percent of the section.
    notes : Notes
    section : str
        Of the beads: ``flat`` or ``round``.
    """
    region = result.region_mm2
    if not region:
        return
    if options.least_cover is not None and result.underfilled_mm2 is not None:
        covered = 100 * (1 - result.underfilled_mm2 / region)
        if covered < options.least_cover:
            place = _largest(shapely.difference(cut.region, deposit), layer)
            text = "beads cover too little of the section, here least (what is hollow on purpose counts too)"
            notes.fault(layer, "underfill", text, covered, options.least_cover, "percent", at=place)
    if options.most_overfill is not None:
        doubled, outside = result.doubled_mm2 or 0.0, result.outside_mm2 or 0.0
        share = 100 * (doubled + outside) / region
        if share > options.most_overfill:
            if outside > doubled:
                place = _largest(shapely.difference(deposit, cut.region), layer)
            else:
                place = _doubled(moves, layer, section)
            text = "too much is laid beyond the section or more than once, here most"
            notes.fault(layer, "overfill", text, share, options.most_overfill, "percent", at=place)


def _largest(geometry: shapely.Geometry, layer: DepositLayer) -> Place | None:
    """A place inside the largest piece."""
    pieces = shapely.get_parts(geometry)
    if not len(pieces):
        return None
    point = shapely.point_on_surface(pieces[int(np.argmax(shapely.area(pieces)))])
    return None if point.is_empty else (float(point.x), float(point.y), layer.z)


def _doubled(moves: Moves, layer: DepositLayer, section: str) -> Place | None:
    """A place where two beads share most; without one a bead crosses itself, and it is not told where."""
    swept = np.array([sweep(moves, (bead,), section) for bead in layer.beads])
    one, other = shapely.STRtree(swept).query(swept, predicate="intersects")
    shared = shapely.intersection(swept[one[one < other]], swept[other[one < other]])
    pieces = shapely.get_parts(shared)
    return _largest(shapely.GeometryCollection(list(pieces[shapely.area(pieces) > 0])), layer)
