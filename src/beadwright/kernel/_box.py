"""The kernel's own reach of a part along Z: a referee for its height."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from OCP.Bnd import Bnd_Box
from OCP.BRepBndLib import BRepBndLib
from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt, gp_Trsf
from OCP.TopLoc import TopLoc_Location

from beadwright.brep import Model
from beadwright.errors import GeometryError
from beadwright.kernel._bytes import from_bytes


def height_range(model: Model, matrix: npt.NDArray[np.float64]) -> tuple[float, float]:
    """Lowest and highest z of a part under an affine map (3, 4), mm, by the kernel's box of the exact shape.

    Raises
    ------
    GeometryError
        The model carries no shape, or one without extent.
    """
    size = float(np.linalg.norm(matrix[2, :3]))
    low, high = _along(model, tuple((matrix[2, :3] / size).tolist()))
    shift = float(matrix[2, 3])
    return low * size + shift, high * size + shift


@lru_cache(maxsize=4)
def _along(model: Model, direction: tuple[float, float, float]) -> tuple[float, float]:
    """Least and greatest distance of the shape along a unit vector, from the origin."""
    if not model.kernel_bytes:
        raise GeometryError("the model carries no shape of the kernel's; read it with `read_step` again")
    turned = gp_Trsf()
    turned.SetTransformation(gp_Ax3(gp_Pnt(0, 0, 0), gp_Dir(*direction)))
    box = Bnd_Box()
    shape = from_bytes(model.kernel_bytes).Moved(TopLoc_Location(turned))
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    if box.IsVoid():
        raise GeometryError(f"{model.file}: the CAD kernel finds no extent")
    gap = box.GetGap()
    return box.CornerMin().Z() + gap, box.CornerMax().Z() - gap
