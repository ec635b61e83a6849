"""From a file or a kernel shape to a `brep.Model`."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from OCP.TopoDS import TopoDS_Shape

from beadwright.brep import Model, extents
from beadwright.errors import StepError
from beadwright.kernel._bytes import compound, to_bytes
from beadwright.kernel._document import Body, faces, loose_bodies, read_document
from beadwright.kernel._extract import Tables, add_body
from beadwright.kernel._file import load
from beadwright.kernel._health import select
from beadwright.numeric import Finding

FARTHEST = 1e7
"""Coordinates beyond this are no part of a machine's; up to it a double resolves 2e-9 mm."""

WIDE_GAP = 0.01
"""A file whose faces and edges miss each other by more gets a note, mm."""


def read_step(path: str | Path, *, walls: bool = False) -> Model:
    """Read a STEP file (AP203, AP214, AP242; plain or packed by gzip).

    Lengths come out in mm whatever the file's unit is. Every placed copy of a body has rows of its own.

    Parameters
    ----------
    path : str or Path
    walls : bool
        Take open shells and loose faces too. Otherwise they are an error, or left out with a finding
        where there are solids as well.

    Returns
    -------
    Model
        With ``findings`` of the health check and ``healing``, what was changed on the way.

    Raises
    ------
    StepError
        The file cannot be read, or holds nothing to print; the message says what to do.
    """
    text = load(path)
    document = read_document(text.data, text.file)
    findings = []
    if not document.unit:
        findings.append(
            Finding(
                code="no-unit",
                level="warning",
                text="the file states no length unit; millimetres are assumed: check the size",
            )
        )
    return build(
        document.bodies,
        file=text.file,
        sha256=text.sha256,
        unit=document.unit or "millimetre",
        schema=text.schema,
        healing=document.messages,
        findings=tuple(findings),
        walls=walls,
    )


def from_shape(shape: Any, *, name: str = "shape", walls: bool = False) -> Model:
    """A model from a cadquery Workplane, a cadquery Shape or a kernel shape (in mm).

    Parameters
    ----------
    shape : cadquery.Workplane, cadquery.Shape or TopoDS_Shape
    name : str
        Stands for the file's name, and names the solids.
    walls : bool
        Take open shells and faces too.

    Returns
    -------
    Model
        ``sha256`` is that of the kernel's own bytes of the shape.

    Raises
    ------
    StepError
        It is no shape, or holds nothing that can be printed.
    """
    whole = _kernel_shape(shape, name)
    bodies = []
    for body in loose_bodies(whole):
        none = ("",) * sum(1 for _ in faces(body))
        bodies.append(Body(shape=body, name=name, colour="", face_names=none, face_colours=none))
    return build(
        tuple(bodies),
        file=name,
        sha256=hashlib.sha256(to_bytes(whole)).hexdigest(),
        unit="millimetre",
        schema="",
        healing=(),
        findings=(),
        walls=walls,
    )


def _kernel_shape(shape: Any, name: str) -> TopoDS_Shape:
    """The kernel shape in a cadquery object, told by what it offers, so that cadquery is not imported."""
    vals = getattr(shape, "vals", None)
    items = vals() if callable(vals) else [shape]
    found = [s for s in (getattr(i, "wrapped", i) for i in items) if isinstance(s, TopoDS_Shape)]
    if not found or any(s.IsNull() for s in found):
        raise StepError(
            f"{name}: expected a cadquery Workplane or Shape or a kernel shape, got {type(shape).__name__}"
        )
    return compound(found)


def build(
    bodies: tuple[Body, ...],
    *,
    file: str,
    sha256: str,
    unit: str,
    schema: str,
    healing: tuple[str, ...],
    findings: tuple[Finding, ...],
    walls: bool,
) -> Model:
    """A model from bodies."""
    chosen = select(bodies, file, walls)
    tables = Tables()
    try:
        for body in chosen.bodies:
            add_body(tables, body)
    except StepError as error:
        raise StepError(f"{file}: {error}") from error
    if not tables.faces:
        raise StepError(f"{file}: its solids and shells have no faces; the file is damaged: export it again")
    notes = tuple(f"{text} ({count} times)" for text, count in sorted(tables.notes.items()))
    if tables.bound > 0.0:
        notes = (*notes, f"greatest distance of such a spline from the file's curve: {tables.bound:.3g} mm")
    if tables.gap > WIDE_GAP:
        wide = Finding(
            code="model-gap",
            level="note",
            text="the file's own faces, edges and corners miss each other by as much as this",
            measured=tables.gap,
            allowed=WIDE_GAP,
            unit="mm",
        )
        findings = (*findings, wide)
    model = Model(
        file=file,
        sha256=sha256,
        unit=unit,
        schema=schema,
        vertices=np.array(tables.vertices).reshape(-1, 3),
        edges=tuple(tables.edges),
        faces=tuple(tables.faces),
        shells=tuple(tables.shells),
        solids=tuple(tables.solids),
        box=np.zeros((2, 3)),
        area=sum(f.area for f in tables.faces),
        volume=sum(s.volume for s in tables.solids),
        gap=tables.gap,
        healing=(*healing, *chosen.healing, *notes),
        findings=(*findings, *chosen.findings),
        kernel_bytes=to_bytes(compound([body.shape for body in chosen.bodies])),
    )
    box = extents(model)
    reach = float(np.max(np.abs(box)))
    if not max(reach, tables.gap) < FARTHEST:
        raise StepError(
            f"{file}: the part reaches to {max(reach, tables.gap):.3g} mm from the origin, beyond the"
            f" {FARTHEST:.0e} mm that are taken; the file is damaged or its unit wrong: export it again"
        )
    return replace(model, box=box)
