"""From a file or a kernel shape to a `brep.Model`."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any

import numpy as np
from OCP.BinTools import BinTools
from OCP.BRep import BRep_Builder
from OCP.TopoDS import TopoDS_Compound, TopoDS_Shape

from beadwright.brep import Model
from beadwright.errors import StepError
from beadwright.kernel._document import Body, faces, loose_bodies, read_document
from beadwright.kernel._extract import Tables, add_body
from beadwright.kernel._file import load


def read_step(path: str | Path, *, walls: bool = False) -> Model:
    """Read a STEP file."""
    text = load(path)
    document = read_document(text.data, text.file)
    return build(
        document.bodies,
        file=text.file,
        sha256=text.sha256,
        unit=document.unit,
        schema=text.schema,
        healing=document.messages,
        walls=walls,
    )


def from_shape(shape: Any, *, name: str = "shape", walls: bool = False) -> Model:
    """A model from a cadquery Workplane, a cadquery Shape or a kernel shape.

    Parameters
    ----------
    shape : cadquery.Workplane, cadquery.Shape or TopoDS_Shape
    name : str
        Stands for the file's name, and names the solids.
    walls : bool
        Take open shells and faces too.

    Raises
    ------
    StepError
        It is no shape, or holds nothing that can be printed.
    """
    whole = _kernel_shape(shape, name)
    bodies = tuple(
        Body(
            shape=body,
            name=name,
            colour="",
            face_names=("",) * sum(1 for _ in faces(body)),
            face_colours=("",) * sum(1 for _ in faces(body)),
        )
        for body in loose_bodies(whole)
    )
    data = to_bytes(whole)
    return build(
        bodies,
        file=name,
        sha256=hashlib.sha256(data).hexdigest(),
        unit="millimetre",
        schema="",
        healing=(),
        walls=walls,
    )


def _kernel_shape(shape: Any, name: str) -> TopoDS_Shape:
    """The kernel shape in a cadquery object, told by what it offers, so that cadquery is not imported."""
    if isinstance(shape, TopoDS_Shape):
        return shape
    if isinstance(getattr(shape, "wrapped", None), TopoDS_Shape):
        return shape.wrapped
    vals = getattr(shape, "vals", None)
    found = (
        [v.wrapped for v in vals() if isinstance(getattr(v, "wrapped", None), TopoDS_Shape)] if vals else []
    )
    if not found:
        raise StepError(
            f"{name}: expected a cadquery Workplane or Shape or a kernel shape, got {type(shape).__name__}"
        )
    return compound(found)


def compound(shapes: list[TopoDS_Shape]) -> TopoDS_Shape:
    """Several shapes as one."""
    if len(shapes) == 1:
        return shapes[0]
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


def build(
    bodies: tuple[Body, ...],
    *,
    file: str,
    sha256: str,
    unit: str,
    schema: str,
    healing: tuple[str, ...],
    walls: bool,
) -> Model:
    tables = Tables()
    for body in bodies:
        add_body(tables, body)
    notes = tuple(f"{text} ({count} times)" for text, count in sorted(tables.notes.items()))
    vertices = np.array(tables.vertices).reshape(-1, 3)
    return Model(
        file=file,
        sha256=sha256,
        unit=unit,
        schema=schema,
        vertices=vertices,
        edges=tuple(tables.edges),
        faces=tuple(tables.faces),
        shells=tuple(tables.shells),
        solids=tuple(tables.solids),
        box=np.array([vertices.min(axis=0), vertices.max(axis=0)]),
        area=sum(f.area for f in tables.faces),
        volume=sum(s.volume for s in tables.solids),
        gap=tables.gap,
        healing=healing + notes,
    )
