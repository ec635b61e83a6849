"""Shapes as bytes, so that they can travel to a worker."""

from __future__ import annotations

import io

from OCP.BinTools import BinTools
from OCP.BRep import BRep_Builder
from OCP.TopoDS import TopoDS_Compound, TopoDS_Shape


def compound(shapes: list[TopoDS_Shape]) -> TopoDS_Shape:
    """Several shapes as one."""
    whole = TopoDS_Compound()
    builder = BRep_Builder()
    builder.MakeCompound(whole)
    for shape in shapes:
        builder.Add(whole, shape)
    return whole


def to_bytes(shape: TopoDS_Shape) -> bytes:
    """The kernel's own binary form of a shape."""
    stream = io.BytesIO()
    BinTools.Write_s(shape, stream)
    return stream.getvalue()


def from_bytes(data: bytes) -> TopoDS_Shape:
    """The shape that `to_bytes` wrote."""
    shape = TopoDS_Shape()
    BinTools.Read_s(shape, io.BytesIO(data))
    return shape
