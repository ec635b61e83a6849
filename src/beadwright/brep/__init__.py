"""A solid as plain arrays: surfaces, edges, loops, face names and colours; no CAD kernel; pickles.

Lengths in mm, angles in rad.
"""

from beadwright.brep._curves import Conic3, Curve3, Line3, Spline3
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
from beadwright.brep._model import Coedge, Edge, Face, Model, Shell, Solid
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

__all__ = [
    "CircleProfile",
    "Coedge",
    "Conic3",
    "Curve3",
    "Edge",
    "ExtrusionSurface",
    "Face",
    "Frame",
    "Line3",
    "LineProfile",
    "Model",
    "OffsetSurface",
    "PlaneSurface",
    "RevolutionSurface",
    "Shell",
    "Solid",
    "SphereSurface",
    "Spline3",
    "SplineProfile",
    "SplineSurface",
    "Surface",
    "curve_derivatives",
    "curve_points",
    "domain",
    "handedness",
    "project",
    "surface_derivatives",
    "surface_normals",
    "surface_points",
]
