"""Kernel shapes to the tables of a `brep.Model`."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from OCP.BRep import BRep_Tool
from OCP.BRepGProp import BRepGProp
from OCP.BRepLib import BRepLib
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.Geom import Geom_Curve
from OCP.GProp import GProp_GProps
from OCP.Precision import Precision
from OCP.ShapeFix import ShapeFix_Edge
from OCP.Standard import Standard_Failure
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopoDS import (
    TopoDS,
    TopoDS_Edge,
    TopoDS_Face,
    TopoDS_Iterator,
    TopoDS_Vertex,
    TopoDS_Wire,
)
from OCP.TopTools import TopTools_IndexedMapOfShape

from beadwright.brep import Coedge, Edge, Face, Shell, Solid, curve_points
from beadwright.errors import StepError
from beadwright.kernel._convert_curve import CurvePiece, convert_curve, xyz
from beadwright.kernel._convert_surface import convert_surface
from beadwright.kernel._document import Body, faces, parts
from beadwright.kernel._health import check_volume
from beadwright.kernel._trace import Use, trace

Array = npt.NDArray[np.float64]

_FORWARD = TopAbs_Orientation.TopAbs_FORWARD
_REVERSED = TopAbs_Orientation.TopAbs_REVERSED


@dataclass(slots=True)
class Tables:
    """The growing tables of a model."""

    vertices: list[Array] = field(default_factory=list)
    edges: list[Edge] = field(default_factory=list)
    faces: list[Face] = field(default_factory=list)
    shells: list[Shell] = field(default_factory=list)
    solids: list[Solid] = field(default_factory=list)
    gap: float = 0.0
    notes: dict[str, int] = field(default_factory=dict)
    bound: float = 0.0

    def note(self, text: str) -> None:
        """Count one more of a mending."""
        self.notes[text] = self.notes.get(text, 0) + 1


@dataclass(slots=True)
class _Rows:
    """Rows that the vertices and edges of one body have in the tables."""

    vertex_map: TopTools_IndexedMapOfShape = field(default_factory=TopTools_IndexedMapOfShape)
    edge_map: TopTools_IndexedMapOfShape = field(default_factory=TopTools_IndexedMapOfShape)
    vertex_rows: list[int] = field(default_factory=list)
    edge_rows: list[int] = field(default_factory=list)
    pieces: list[tuple[CurvePiece | None, float, float]] = field(default_factory=list)


def add_body(tables: Tables, body: Body) -> None:
    """Add the faces, edges, vertices, shells (and the solid) of one body to the tables."""
    rows = _Rows()
    shape = body.shape
    is_solid = shape.ShapeType() == TopAbs_ShapeEnum.TopAbs_SOLID
    solid = len(tables.solids) if is_solid else -1
    tellings = zip(body.face_names, body.face_colours, strict=True)
    if shape.ShapeType() == TopAbs_ShapeEnum.TopAbs_FACE:
        shells = [shape]
    else:
        shells = list(parts(shape, TopAbs_ShapeEnum.TopAbs_SHELL))
    shell_rows = []
    first = len(tables.faces)
    for shell in shells:
        own = []
        for face in faces(shell):
            name, colour = next(tellings)
            try:
                own.append(_add_face(tables, rows, TopoDS.Face(face), name, colour))
            except (StepError, Standard_Failure) as error:
                called = f'"{name}" ' if name else ""
                raise StepError(
                    f"face {len(tables.faces)} {called}of {body.name or 'a body without a name'}: {error}"
                ) from error
        shell_rows.append(len(tables.shells))
        tables.shells.append(Shell(faces=tuple(own), closed=_closed(tables, own), solid=solid))
    if is_solid:
        check_volume(body, sum(face.area for face in tables.faces[first:]))
        tables.solids.append(
            Solid(name=body.name, colour=body.colour, volume=body.volume, shells=tuple(shell_rows))
        )


def edge_uses(
    tables_faces: list[Face] | tuple[Face, ...], rows: list[int] | tuple[int, ...]
) -> dict[int, list[bool]]:
    """For each edge row, in which senses the given faces use it."""
    uses: dict[int, list[bool]] = {}
    for row in rows:
        for wire in tables_faces[row].wires:
            for coedge in wire:
                uses.setdefault(coedge.edge, []).append(coedge.forward)
    return uses


def _closed(tables: Tables, own: list[int]) -> bool:
    uses = edge_uses(tables.faces, own)
    return all(
        2 * sum(senses) == len(senses)
        for edge, senses in uses.items()
        if tables.edges[edge].curve is not None
    )


def _vertex(tables: Tables, rows: _Rows, vertex: TopoDS_Vertex) -> int:
    index = rows.vertex_map.Add(vertex)
    if index > len(rows.vertex_rows):
        rows.vertex_rows.append(len(tables.vertices))
        tables.vertices.append(xyz(BRep_Tool.Pnt_s(vertex)))
    return rows.vertex_rows[index - 1]


def _edge(tables: Tables, rows: _Rows, oriented: TopoDS_Edge, face: TopoDS_Face) -> int:
    """The row of an edge among this body's; -1 for one without vertices."""
    index = rows.edge_map.Add(oriented)
    if index <= len(rows.edge_rows):
        return index - 1
    edge = TopoDS.Edge(oriented.Oriented(_FORWARD))
    ends = (TopExp.FirstVertex_s(edge), TopExp.LastVertex_s(edge))
    if ends[0].IsNull() or ends[1].IsNull():
        raise StepError("an edge without an end point: the file is damaged; re-export it")
    vertices = (_vertex(tables, rows, ends[0]), _vertex(tables, rows, ends[1]))
    piece: CurvePiece | None = None
    first, last = 0.0, 0.0
    if BRep_Tool.Degenerated_s(edge):
        first, last = BRep_Tool.Range_s(edge, face)
        row = Edge(curve=None, start=first, end=last, vertices=vertices)
    else:
        curve = _space_curve(edge)
        if curve is None:
            BRepLib.BuildCurve3d_s(edge)
            curve = _space_curve(edge)
            tables.note("an edge without a curve in space got one from its surface")
            if curve is None:
                raise StepError("an edge has no curve in space and none can be made; re-export the file")
        first, last = BRep_Tool.Range_s(edge)
        piece = convert_curve(curve, first, last)
        if piece.bound > 0.0:
            tables.note("an offset curve was replaced by a spline within its bound")
            tables.bound = max(tables.bound, piece.bound)
        row = Edge(curve=piece.curve, start=piece.start, end=piece.end, vertices=vertices)
        points = curve_points(piece.curve, np.array([piece.start, piece.end]))
        for k in range(2):
            miss = float(np.linalg.norm(points[k] - tables.vertices[vertices[k]]))
            tables.gap = max(tables.gap, miss)
    rows.edge_rows.append(len(tables.edges))
    rows.pieces.append((piece, first, last))
    tables.edges.append(row)
    return index - 1


def _space_curve(edge: TopoDS_Edge) -> Geom_Curve | None:
    """The curve in space, which the kernel may lack whatever its stubs say."""
    return BRep_Tool.Curve_s(edge, 0.0, 1.0)


def _wire_edges(tables: Tables, wire: TopoDS_Wire, face: TopoDS_Face) -> list[TopoDS_Edge]:
    """Edges of a wire in the order of the walk on the forward face."""
    walk: list[TopoDS_Edge] = []
    explorer = BRepTools_WireExplorer(wire, face)
    while explorer.More():
        walk.append(explorer.Current())
        explorer.Next()
    listed: list[TopoDS_Edge] = []
    iterator = TopoDS_Iterator(wire)
    while iterator.More():
        edge = TopoDS.Edge(iterator.Value())
        if edge.Orientation() in (_FORWARD, _REVERSED):
            listed.append(edge)
        else:
            tables.note("an edge inside a face or beside it was left out")
        iterator.Next()
    if len(walk) == len(listed):
        return walk
    tables.note("a wire whose edges do not follow each other was taken in the order of the file")
    return listed


def _add_face(tables: Tables, rows: _Rows, face: TopoDS_Face, name: str, colour: str) -> int:
    forward = TopoDS.Face(face.Oriented(_FORWARD))
    surface = BRep_Tool.Surface_s(forward)
    if surface is None:
        raise StepError("a face without a surface (triangles only); export the exact shape")
    box = BRepTools.UVBounds_s(forward)
    sheet = convert_surface(surface, box)
    reverse = face.Orientation() == _REVERSED
    wires: list[list[Use]] = []
    iterator = TopoDS_Iterator(forward)
    while iterator.More():
        shape = iterator.Value()
        iterator.Next()
        if shape.ShapeType() != TopAbs_ShapeEnum.TopAbs_WIRE:
            tables.note("a point inside a face was left out")
            continue
        edges = _wire_edges(tables, TopoDS.Wire(shape), forward)
        uses = [_use(tables, rows, edge, forward, reverse) for edge in edges]
        if uses:
            wires.append(uses[::-1] if reverse else uses)
    flat = [use for wire in wires for use in wire]
    if not flat and any(Precision.IsInfinite_s(limit) for limit in box):
        raise StepError("it has no outline and its surface no end; the file is damaged: export it again")
    lines, gap = trace(sheet, surface, flat)
    tables.gap = max(tables.gap, gap)
    coedges = iter(
        Coedge(edge=use.row, forward=use.forward, uv=uv) for use, uv in zip(flat, lines, strict=True)
    )
    properties = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face, properties)
    if lines:
        every = np.concatenate(lines)
        uv_box = np.array([every.min(axis=0), every.max(axis=0)])
    else:
        corners = np.array([[box[0], box[2]], [box[1], box[3]]]) @ sheet.matrix.T + sheet.shift
        uv_box = np.array([corners.min(axis=0), corners.max(axis=0)])
    outward = (np.linalg.det(sheet.matrix) > 0.0) != reverse
    row = len(tables.faces)
    tables.faces.append(
        Face(
            id=row,
            surface=sheet.surface,
            outward=bool(outward),
            wires=tuple(tuple(next(coedges) for _ in wire) for wire in wires),
            uv_box=uv_box,
            kind=sheet.kind,
            name=name,
            colour=colour,
            area=abs(properties.Mass()),
            centroid=xyz(properties.CentreOfMass()),
            radius=sheet.radius,
        )
    )
    return row


def _use(tables: Tables, rows: _Rows, edge: TopoDS_Edge, face: TopoDS_Face, reverse: bool) -> Use:
    """One use of an edge, with the kernel's curve in the parameters of the face."""
    index = _edge(tables, rows, edge, face)
    if BRep_Tool.CurveOnSurface_s(edge, face, 0.0, 1.0) is None:
        seam = BRep_Tool.IsClosed_s(edge, face)
        ShapeFix_Edge().FixAddPCurve(edge, face, seam)
        tables.note("an edge without a curve on its surface was projected onto it")
        if BRep_Tool.CurveOnSurface_s(edge, face, 0.0, 1.0) is None:
            raise StepError("an edge cannot be projected onto its face; re-export the file")
    piece, first, last = rows.pieces[index]
    return Use(
        row=rows.edge_rows[index],
        piece=piece,
        span=(first, last),
        pcurve=BRep_Tool.CurveOnSurface_s(edge, face, 0.0, 1.0),
        range=BRep_Tool.Range_s(edge, face),
        forward=(edge.Orientation() == _FORWARD) != reverse,
    )
