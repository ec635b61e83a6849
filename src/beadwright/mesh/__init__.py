"""The triangle way: plane cuts of a mesh, polygon offsets, straight moves. For comparison, and for scans.

Lengths in mm, angles in rad. Nothing here claims exactness: a mesh is as true as its triangles.
"""

from beadwright.mesh._contours import contours
from beadwright.mesh._cut import MeshSection, cut
from beadwright.mesh._measure import Joints, busiest, joints
from beadwright.mesh._mesh import ENDINGS, TriangleMesh, load
from beadwright.mesh._model import as_model, as_model_with_picture

__all__ = [
    "ENDINGS",
    "Joints",
    "MeshSection",
    "TriangleMesh",
    "as_model",
    "as_model_with_picture",
    "busiest",
    "contours",
    "cut",
    "joints",
    "load",
]
