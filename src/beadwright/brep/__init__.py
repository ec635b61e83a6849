"""A solid as plain arrays: surfaces, edges, loops, face names and colours; no CAD kernel; pickles.

Lengths in mm, angles in rad.
"""

from beadwright.brep._blank import Blank, blank_of
from beadwright.brep._choose import FaceQuery, choose, face_normals
from beadwright.brep._curves import Conic3, Curve3, Line3, Spline3
from beadwright.brep._describe import Description, FaceLine, SolidLine, describe, form
from beadwright.brep._evaluate import (
    curve_derivatives,
    curve_points,
    domain,
    handedness,
    project,
    surface_derivatives,
    surface_normals,
    surface_points,
)
from beadwright.brep._extents import extents, faces_extents
from beadwright.brep._match import FaceMark, Matched, face_marks, match_faces
from beadwright.brep._model import Coedge, Edge, Face, Model, Shell, Solid
from beadwright.brep._placed import placed, placement
from beadwright.brep._segment import CutFace, Segment, Segments
from beadwright.brep._several import several, several_pictures
from beadwright.brep._steep import Steepness, steepness
from beadwright.brep._surfaces import (
    CircleProfile,
    ExtrusionSurface,
    Frame,
    LineProfile,
    OffsetSurface,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    SplineProfile,
    SplineSurface,
    Surface,
)
from beadwright.brep._thick import edge_uses
from beadwright.brep._triangles import Triangles
from beadwright.brep._trim import contains, periods

__all__ = [
    "Blank",
    "CircleProfile",
    "Coedge",
    "Conic3",
    "Curve3",
    "CutFace",
    "Description",
    "Edge",
    "ExtrusionSurface",
    "Face",
    "FaceLine",
    "FaceMark",
    "FaceQuery",
    "Frame",
    "Line3",
    "LineProfile",
    "Matched",
    "Model",
    "OffsetSurface",
    "PlaneSurface",
    "RevolutionSurface",
    "Segment",
    "Segments",
    "Shell",
    "Solid",
    "SolidLine",
    "SphereSurface",
    "Spline3",
    "SplineProfile",
    "SplineSurface",
    "Steepness",
    "Surface",
    "Triangles",
    "blank_of",
    "choose",
    "contains",
    "curve_derivatives",
    "curve_points",
    "describe",
    "domain",
    "edge_uses",
    "extents",
    "face_marks",
    "face_normals",
    "faces_extents",
    "form",
    "handedness",
    "match_faces",
    "periods",
    "placed",
    "placement",
    "project",
    "several",
    "several_pictures",
    "steepness",
    "surface_derivatives",
    "surface_normals",
    "surface_points",
]
