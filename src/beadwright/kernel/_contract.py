"""A part stretched by a factor along each axis, as the kernel makes it: what similarities cannot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from OCP.BRepBuilderAPI import BRepBuilderAPI_GTransform, BRepBuilderAPI_Transform
from OCP.gp import gp_GTrsf, gp_Mat, gp_Trsf, gp_XYZ

from beadwright.brep import Model
from beadwright.errors import GeometryError
from beadwright.kernel._document import Body, faces
from beadwright.kernel._read import build
from beadwright.kernel._referee import bodies_of

NEAR = 0.05
"""How far the centroid of a stretched face may lie from the stretched centroid, in sizes of the face."""


def contracted(
    model: Model,
    matrix: npt.NDArray[np.float64],
    factors: tuple[float, float, float],
    at: tuple[float, float, float],
) -> Model:
    """A part placed by a similarity, then stretched along the axes about a fixed point.

    Quadrics become rational splines, exactly.

    Parameters
    ----------
    model : Model
        As read.
    matrix : (3, 4) float
        Placement.
    factors : (float, float, float)
        Along x, y, z of the machine.
    at : (float, float, float)
        The point that stays, mm.

    Returns
    -------
    Model
        In machine coordinates; its faces are those of the model, row by row, with their names.

    Raises
    ------
    GeometryError
        The kernel's faces cannot be told to be those of the model.
    """
    similarity = gp_Trsf()
    similarity.SetValues(*[float(v) for v in matrix.ravel()])
    x, y, z = factors
    affine = gp_GTrsf(
        gp_Mat(x, 0, 0, 0, y, 0, 0, 0, z), gp_XYZ(*[p * (1 - f) for p, f in zip(at, factors, strict=True)])
    )
    made, row = [], 0
    for solid, body in zip(_names(model), bodies_of(model.kernel_bytes), strict=True):
        moved = BRepBuilderAPI_Transform(body, similarity, True).Shape()
        shape = BRepBuilderAPI_GTransform(moved, affine, True).Shape()
        count = sum(1 for _ in faces(shape))
        own = model.faces[row : row + count]
        row += count
        made.append(
            Body(
                shape=shape,
                name=solid[0],
                colour=solid[1],
                face_names=tuple(f.name for f in own),
                face_colours=tuple(f.colour for f in own),
            )
        )
    stretched = build(
        tuple(made),
        file=model.file,
        sha256=model.sha256,
        unit=model.unit,
        schema=model.schema,
        healing=(),
        findings=(),
        walls=not model.solids,
    )
    _check(model, stretched, matrix, np.array(factors), np.array(at))
    return replace(
        stretched,
        faces=tuple(
            replace(new, kind=old.kind, like=old.like)
            for old, new in zip(model.faces, stretched.faces, strict=True)
        ),
        healing=model.healing,
        findings=(),
    )


def _names(model: Model) -> list[tuple[str, str]]:
    """Name and colour of each body."""
    if model.solids:
        return [(solid.name, solid.colour) for solid in model.solids]
    return [("", "")] * len(bodies_of(model.kernel_bytes))


def _check(
    model: Model,
    stretched: Model,
    matrix: npt.NDArray[np.float64],
    factors: npt.NDArray[np.float64],
    at: npt.NDArray[np.float64],
) -> None:
    """Refuse a result whose faces stand in another order."""
    if len(model.faces) != len(stretched.faces):
        raise GeometryError(
            f"contraction: the CAD kernel made {len(stretched.faces)} faces of {len(model.faces)}; contract the part"
            " in the CAD instead"
        )
    for old, new in zip(model.faces, stretched.faces, strict=True):
        there = at + factors * (matrix[:, :3] @ old.centroid + matrix[:, 3] - at)
        size = np.sqrt(max(new.area, 1.0))
        if np.linalg.norm(new.centroid - there) > NEAR * size:
            raise GeometryError(
                f"contraction: face {old.id} is not where it should be; contract the part in the CAD instead"
            )
