"""Shapes of several models as one, each moved to its place; and what two of them have in common."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
from OCP.BRepGProp import BRepGProp
from OCP.gp import gp_Trsf
from OCP.GProp import GProp_GProps
from OCP.TopoDS import TopoDS_Shape

from beadwright.kernel._bytes import compound, to_bytes
from beadwright.kernel._referee import bodies_of

Array = npt.NDArray[np.float64]


def gathered(shapes: Sequence[tuple[bytes, Array]]) -> bytes:
    """Bodies of several models, each under its own similarity (3, 4), in the order given.

    Parameters
    ----------
    shapes : sequence of (bytes, (3, 4) float)
        `Model.kernel_bytes` and where they go.

    Returns
    -------
    bytes
        As `Model.kernel_bytes`; none if one of the models carries none (a mesh).
    """
    if not all(data for data, _ in shapes):
        return b""
    return to_bytes(compound([body for data, matrix in shapes for body in _moved(data, matrix)]))


def common_volume(first: tuple[bytes, Array], second: tuple[bytes, Array]) -> float:
    """Volume that the bodies of two placed models share, as the kernel has it, mm3."""
    total = 0.0
    others = _moved(*second)
    for body in _moved(*first):
        for other in others:
            properties = GProp_GProps()
            BRepGProp.VolumeProperties_s(BRepAlgoAPI_Common(body, other).Shape(), properties)
            total += properties.Mass()
    return total


def _moved(data: bytes, matrix: Array) -> list[TopoDS_Shape]:
    similarity = gp_Trsf()
    similarity.SetValues(*[float(v) for v in np.asarray(matrix, dtype=float).ravel()])
    return [BRepBuilderAPI_Transform(body, similarity, True).Shape() for body in bodies_of(data)]
