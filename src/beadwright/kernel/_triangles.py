"""Faces as triangles for the shaded picture: nothing is computed from them."""

from __future__ import annotations

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.Poly import Poly_Triangulation
from OCP.TopAbs import TopAbs_Orientation
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

from beadwright.brep import Model, Triangles
from beadwright.errors import GeometryError
from beadwright.kernel._bytes import from_bytes
from beadwright.kernel._document import faces

# Chord of the triangles as a share of the part's diagonal: finer than a pixel of a picture that large.
SHARE = 1.0 / 1500
# Greatest angle between neighbouring triangles, rad.
ANGLE = 0.35


def display_triangles(model: Model) -> Triangles:
    """The faces of a model as triangles that a picture can be made of.

    Parameters
    ----------
    model : Model
        As read; its `kernel_bytes` are taken.

    Returns
    -------
    Triangles
        Of those faces that the kernel could divide.

    Raises
    ------
    GeometryError
        The model carries no shape.
    """
    if not model.kernel_bytes:
        raise GeometryError("the model carries no shape of the kernel's; read it with `read_step` again")
    shape = from_bytes(model.kernel_bytes)
    chord = SHARE * float(np.linalg.norm(model.box[1] - model.box[0]))
    BRepMesh_IncrementalMesh(shape, chord, False, ANGLE, False)
    points: list[tuple[float, float, float]] = []
    corners: list[tuple[int, int, int]] = []
    owner: list[int] = []
    for row, part in enumerate(faces(shape)):
        face, place = TopoDS.Face(part), TopLoc_Location()
        mesh: Poly_Triangulation | None = BRep_Tool.Triangulation_s(face, place)
        if mesh is None:
            continue
        move, first = place.Transformation(), len(points) - 1
        for node in range(1, mesh.NbNodes() + 1):
            at = mesh.Node(node).Transformed(move)
            points.append((at.X(), at.Y(), at.Z()))
        turned = face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED
        for index in range(1, mesh.NbTriangles() + 1):
            a, b, c = mesh.Triangle(index).Get()
            corners.append((first + a, first + c, first + b) if turned else (first + a, first + b, first + c))
            owner.append(row)
    return Triangles(
        points=np.array(points, dtype=float).reshape(-1, 3),
        corners=np.array(corners, dtype=np.int32).reshape(-1, 3),
        face=np.array(owner, dtype=np.int32),
        chord=chord,
    )
