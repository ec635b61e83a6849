"""Layers as a STEP file: centrelines as wires, deposits as prisms of lines and arcs."""

from __future__ import annotations

from collections.abc import Sequence

from OCP.BRep import BRep_Builder
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt, gp_Vec
from OCP.TopoDS import TopoDS_Compound, TopoDS_Wire

from beadwright.curves import ArcPath, ArcRegion, curves_of, pieces_of
from beadwright.errors import OutputError
from beadwright.kernel._export import compound_step, wire


def wires_step(levels: Sequence[tuple[float, Sequence[ArcPath]]], name: str) -> bytes:
    """Paths at their heights as the bytes of a STEP file (AP214, mm), one wire a path.

    Parameters
    ----------
    levels : sequence of (float, sequence of ArcPath)
        Height, mm, and what lies there.
    name : str
        Of the product.

    Raises
    ------
    OutputError
        The kernel refuses a path.
    """
    whole, builder = _compound()
    for z, paths in levels:
        curves = curves_of(paths)
        for chain in range(curves.n_chains):
            builder.Add(whole, wire(curves, chain, z))
    return compound_step(whole, name)


def prisms_step(slabs: Sequence[tuple[float, float, ArcRegion]], name: str) -> bytes:
    """Regions raised from one height to another as the bytes of a STEP file, one solid a separate piece.

    Parameters
    ----------
    slabs : sequence of (float, float, ArcRegion)
        z0 and z, mm, and the region between them.
    name : str
        Of the product.

    Raises
    ------
    OutputError
        The kernel refuses a region.
    """
    whole, builder = _compound()
    for z0, z, region in slabs:
        for piece in pieces_of(region):
            curves = curves_of(piece)
            plane = gp_Pln(gp_Pnt(0.0, 0.0, z0), gp_Dir(0.0, 0.0, 1.0))
            wires: list[TopoDS_Wire] = [wire(curves, chain, z0) for chain in range(curves.n_chains)]
            face = BRepBuilderAPI_MakeFace(plane, wires[0], True)
            for hole in wires[1:]:
                face.Add(hole)
            if not face.IsDone():
                raise OutputError(f"{name}: the CAD kernel refuses a region at z {z0:.4f} ({face.Error()})")
            builder.Add(whole, BRepPrimAPI_MakePrism(face.Face(), gp_Vec(0.0, 0.0, z - z0)).Shape())
    return compound_step(whole, name)


def _compound() -> tuple[TopoDS_Compound, BRep_Builder]:
    whole, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(whole)
    return whole, builder
