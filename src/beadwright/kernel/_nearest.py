"""The kernel's own distance from points to some faces: a referee for stock on faces."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.BRepExtrema import BRepExtrema_DistShapeShape, BRepExtrema_SupportType
from OCP.gp import gp_Pnt, gp_Vec
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopoDS import TopoDS, TopoDS_Shape
from OCP.TopTools import TopTools_IndexedMapOfShape

from beadwright.brep import Model
from beadwright.errors import GeometryError
from beadwright.kernel._bytes import compound, from_bytes
from beadwright.kernel._document import faces

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nearest:
    """What of some faces is nearest to points.

    Attributes
    ----------
    distance : (k,) float
        mm.
    foot : (k, 3) float
        The nearest point of the faces, mm.
    border : (k, 3) float
        What is nearest to it of the edges that a face not among them has too, mm; infinite where there is none, and
        where the point is farther from the faces than was asked for.
    behind : (k,) bool
        Whether the point lies on the side of material, where its foot lies within a face.
    """

    distance: Array
    foot: Array
    border: Array
    behind: npt.NDArray[np.bool_]


def nearest_on_faces(model: Model, ids: Collection[int], points: Array, within: float = np.inf) -> Nearest:
    """Distance of points to the faces of the unplaced model with some ids, by the kernel.

    Parameters
    ----------
    model : Model
    ids : collection of int
    points : (k, 3) float
        mm.
    within : float, optional
        How near to the faces a point must be for its foot's distance from their border to be told, mm.

    Raises
    ------
    GeometryError
        The model carries no shape, or none of the faces.
    """
    if not model.kernel_bytes:
        raise GeometryError("the model carries no shape of the kernel's; read it with `read_step` again")
    every = _faces(model.kernel_bytes)
    own = [face for row, face in enumerate(every) if row in ids]
    if not own:
        raise GeometryError(f"{model.file}: none of the faces {sorted(ids)} is there")
    rim = _rim(every, ids)
    extrema, across = BRepExtrema_DistShapeShape(), BRepExtrema_DistShapeShape()
    extrema.LoadS2(compound(own))
    if rim:
        across.LoadS2(compound(rim))
    distance, foot = np.zeros(len(points)), np.zeros((len(points), 3))
    border, behind = np.full((len(points), 3), np.inf), np.zeros(len(points), bool)
    for row, point in enumerate(np.asarray(points, dtype=float).tolist()):
        distance[row], at = _nearest(extrema, gp_Pnt(*point), model.file)
        foot[row] = at.X(), at.Y(), at.Z()
        if extrema.SupportTypeShape2(1) == BRepExtrema_SupportType.BRepExtrema_IsInFace:
            behind[row] = _outward(extrema).Dot(gp_Vec(at, gp_Pnt(*point))) < 0
        if rim and distance[row] <= within:
            _, beside = _nearest(across, at, model.file)
            border[row] = beside.X(), beside.Y(), beside.Z()
    return Nearest(distance=distance, foot=foot, border=border, behind=behind)


@lru_cache(maxsize=1)
def _faces(data: bytes) -> tuple[TopoDS_Shape, ...]:
    """Faces of a model, read once for all its layers."""
    return tuple(faces(from_bytes(data)))


def _rim(every: Sequence[TopoDS_Shape], ids: Collection[int]) -> list[TopoDS_Shape]:
    """Edges that some faces share with others."""
    beside, own = TopTools_IndexedMapOfShape(), TopTools_IndexedMapOfShape()
    for row, face in enumerate(every):
        TopExp.MapShapes_s(face, TopAbs_ShapeEnum.TopAbs_EDGE, own if row in ids else beside)
    edges = [own.FindKey(k) for k in range(1, own.Extent() + 1)]
    return [edge for edge in edges if beside.Contains(edge)]


def _nearest(extrema: BRepExtrema_DistShapeShape, point: gp_Pnt, file: str) -> tuple[float, gp_Pnt]:
    """Distance of a point from the shape that is loaded, mm, and the place there."""
    extrema.LoadS1(BRepBuilderAPI_MakeVertex(point).Vertex())
    if not extrema.Perform():
        raise GeometryError(
            f"{file}: the CAD kernel gives no distance from {point.X()}, {point.Y()}, {point.Z()}"
        )
    return float(extrema.Value()), extrema.PointOnShape2(1)


def _outward(extrema: BRepExtrema_DistShapeShape) -> gp_Vec:
    """The normal, away from material, of the face at the place that was found; zero where it has none."""
    face = TopoDS.Face(extrema.SupportOnShape2(1))
    u, v = extrema.ParOnFaceS2(1)
    at, along, across = gp_Pnt(), gp_Vec(), gp_Vec()
    BRepAdaptor_Surface(face).D1(u, v, at, along, across)
    normal = along.Crossed(across)
    return normal.Reversed() if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else normal
