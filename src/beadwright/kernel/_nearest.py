"""The kernel's own distance from points to some faces: a referee for stock on faces."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.BRepExtrema import BRepExtrema_DistShapeShape, BRepExtrema_SupportType
from OCP.gp import gp_Pnt
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp
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
    border : (k,) bool
        Whether it lies on an edge or vertex that a face not among them has too.
    """

    distance: Array
    foot: Array
    border: npt.NDArray[np.bool_]


def nearest_on_faces(model: Model, ids: Collection[int], points: Array) -> Nearest:
    """Distance of points (k, 3) to the faces of the unplaced model with some ids, by the kernel.

    Raises
    ------
    GeometryError
        The model carries no shape, or none of the faces.
    """
    if not model.kernel_bytes:
        raise GeometryError("the model carries no shape of the kernel's; read it with `read_step` again")
    every = list(faces(from_bytes(model.kernel_bytes)))
    own = [face for row, face in enumerate(every) if row in ids]
    if not own:
        raise GeometryError(f"{model.file}: none of the faces {sorted(ids)} is there")
    beside = TopTools_IndexedMapOfShape()
    for row, face in enumerate(every):
        if row not in ids:
            for kind in (TopAbs_ShapeEnum.TopAbs_EDGE, TopAbs_ShapeEnum.TopAbs_VERTEX):
                TopExp.MapShapes_s(face, kind, beside)
    extrema = BRepExtrema_DistShapeShape()
    extrema.LoadS2(compound(own))
    distance, foot = np.zeros(len(points)), np.zeros((len(points), 3))
    border = np.zeros(len(points), bool)
    for row, point in enumerate(np.asarray(points, dtype=float).tolist()):
        extrema.LoadS1(BRepBuilderAPI_MakeVertex(gp_Pnt(*point)).Vertex())
        if not extrema.Perform():
            raise GeometryError(f"{model.file}: the CAD kernel gives no distance from {point}")
        distance[row] = extrema.Value()
        at = extrema.PointOnShape2(1)
        foot[row] = at.X(), at.Y(), at.Z()
        border[row] = extrema.SupportTypeShape2(1) != BRepExtrema_SupportType.BRepExtrema_IsInFace and any(
            beside.Contains(extrema.SupportOnShape2(k)) for k in range(1, extrema.NbSolution() + 1)
        )
    return Nearest(distance=distance, foot=foot, border=border)
