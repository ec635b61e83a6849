"""Faces as triangles: for the shaded picture, and for comparison with the mesh way. No program comes from them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from OCP.BRep import BRep_Tool
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools
from OCP.Poly import Poly_Triangulation
from OCP.TopAbs import TopAbs_Orientation
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

from beadwright.brep import Model, Triangles
from beadwright.errors import GeometryError, SettingsError
from beadwright.kernel._bytes import from_bytes
from beadwright.kernel._document import faces

# Chord of the triangles as a share of the part's diagonal: finer than a pixel of a picture that large.
SHARE = 1.0 / 1500
# Greatest angle between neighbouring triangles, rad.
ANGLE = 0.35
# rad: the kernel's own default, which also limits what it makes of small radii.
MESH_ANGLE = 0.5

Mesh = tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]


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
    chord = SHARE * float(np.linalg.norm(model.box[1] - model.box[0]))
    return _triangles(model, chord, ANGLE)


def tessellate(model: Model, chord: float, *, angle: float = MESH_ANGLE) -> Mesh:
    """The surface of the unplaced model as one mesh.

    Parameters
    ----------
    model : Model
    chord : float
        Greatest distance of the triangles from the surfaces that is asked of the kernel, mm; it keeps this on
        edges and, by its own samples, on faces.
    angle : float
        Greatest angle between neighbouring triangles, rad.

    Returns
    -------
    vertices : (n, 3) float
        mm; one row for each point, also where faces meet.
    triangles : (m, 3) int
        Counter-clockwise seen from outside.

    Raises
    ------
    SettingsError
        The chord is no positive number.
    GeometryError
        The model carries no shape, or the kernel makes no triangles of it.
    """
    if not (np.isfinite(chord) and chord > 0):
        raise SettingsError(f"chord: {chord} is none; expected a number of mm above 0")
    found = _triangles(model, chord, angle)
    if not len(found.corners):
        raise GeometryError(
            f"{model.file}: the CAD kernel made no triangles of it at a chord of {chord:g} mm"
        )
    # Neighbouring faces share the nodes of their edge to the last digit but a few.
    vertices, row = np.unique(np.round(found.points, 9), axis=0, return_inverse=True)
    triangles = row.reshape(-1)[found.corners].astype(np.int64)
    proper = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    return vertices, np.ascontiguousarray(triangles[proper])


def _triangles(model: Model, chord: float, angle: float) -> Triangles:
    """Of each face its own, as the kernel divides it."""
    if not model.kernel_bytes:
        raise GeometryError("the model carries no shape of the kernel's; read it with `read_step` again")
    shape = from_bytes(model.kernel_bytes)
    BRepTools.Clean_s(shape)  # what the file brought along is not ours to trust
    BRepMesh_IncrementalMesh(shape, chord, False, angle, False)
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
