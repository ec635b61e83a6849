"""Curves to arc chains with a certificate; offset, booleans and audit of line-and-arc regions.

Lengths in mm, angles in rad, counter-clockwise positive. Material lies left of every loop.
"""

from beadwright.arcs._boolean import intersect, subtract, unite
from beadwright.arcs._cover import Cover, cover, swept
from beadwright.arcs._fit import Fitted, fit
from beadwright.arcs._fit_check import certify
from beadwright.arcs._meeting import Meeting, meeting
from beadwright.arcs._offset import Offsets, offset, offset_path
from beadwright.arcs._polygon_fit import CORNER as POLYGON_CORNER
from beadwright.arcs._polygon_fit import PolygonFit, fit_polygon, fit_polygons
from beadwright.arcs._region import Paths, Result
from beadwright.arcs._region_lost import Lost, lost, numbered

__all__ = [
    "POLYGON_CORNER",
    "Cover",
    "Fitted",
    "Lost",
    "Meeting",
    "Offsets",
    "Paths",
    "PolygonFit",
    "Result",
    "certify",
    "cover",
    "fit",
    "fit_polygon",
    "fit_polygons",
    "intersect",
    "lost",
    "meeting",
    "numbered",
    "offset",
    "offset_path",
    "subtract",
    "swept",
    "unite",
]
