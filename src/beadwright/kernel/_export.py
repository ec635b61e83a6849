"""Section curves as a STEP file: true lines and circles, splines as B-splines."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import numpy.typing as npt
from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
from OCP.BRep import BRep_Builder
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeVertex, BRepBuilderAPI_MakeWire
from OCP.Geom import Geom_BezierCurve, Geom_BSplineCurve, Geom_Circle
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Message import Message
from OCP.Precision import Precision
from OCP.StepBasic import StepBasic_Product
from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer
from OCP.TColgp import TColgp_Array1OfPnt
from OCP.TCollection import TCollection_HAsciiString
from OCP.TColStd import TColStd_Array1OfInteger, TColStd_Array1OfReal
from OCP.TopoDS import TopoDS_Compound, TopoDS_Edge, TopoDS_Vertex, TopoDS_Wire

from beadwright.curves import CurveKind, CurveLoops
from beadwright.errors import OutputError
from beadwright.kernel._statics import statics

Array = npt.NDArray[np.float64]


def section_step(loops: CurveLoops, z: float, name: str = "section") -> bytes:
    """Section curves at one height as the bytes of a STEP file (AP214, mm), the same on every run.

    Parameters
    ----------
    loops : CurveLoops
    z : float
        Height, mm.
    name : str
        Of the product in the file.

    Returns
    -------
    bytes
        One wire a chain: lines, circles, and B-splines for everything else.

    Raises
    ------
    OutputError
        The kernel refuses a curve.
    """
    whole = TopoDS_Compound()
    builder = BRep_Builder()
    builder.MakeCompound(whole)
    for chain in range(loops.n_chains):
        builder.Add(whole, wire(loops, chain, z))
    return compound_step(whole, name)


def compound_step(whole: TopoDS_Compound, name: str) -> bytes:
    """Shapes as the bytes of a STEP file (AP214, mm), the same on every run.

    Raises
    ------
    OutputError
        The kernel refuses them.
    """
    # the kernel's statistics would stand on standard output, where only results may
    Message.DefaultMessenger_s().ChangePrinters().Clear()
    with statics({"write.step.schema": "AP214IS", "write.step.unit": "MM", "write.step.assembly": "Off"}):
        writer = STEPControl_Writer()
        status = writer.Transfer(whole, STEPControl_StepModelType.STEPControl_AsIs)
    if status != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise OutputError(f"{name}: the CAD kernel would not write it ({status})")
    model = writer.Model()
    for i in range(1, model.NbEntities() + 1):
        entity = model.Value(i)
        if isinstance(entity, StepBasic_Product):  # the kernel counts its products over a process
            entity.SetName(TCollection_HAsciiString(name))
            entity.SetId(TCollection_HAsciiString(name))
    header = APIHeaderSection_MakeHeader(model)
    header.SetName(TCollection_HAsciiString(name))
    header.SetTimeStamp(TCollection_HAsciiString("1970-01-01T00:00:00"))
    header.SetOriginatingSystem(TCollection_HAsciiString("beadwright"))
    stream = io.BytesIO()
    writer.WriteStream(stream)
    return stream.getvalue()


def write_section_step(path: str | Path, loops: CurveLoops, z: float, name: str = "section") -> None:
    """Write `section_step` to a file.

    Raises
    ------
    OutputError
        The kernel refuses a curve, or the file cannot be written.
    """
    data = section_step(loops, z, name)
    try:
        Path(path).write_bytes(data)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror})") from error


def wire(loops: CurveLoops, chain: int, z: float) -> TopoDS_Wire:
    """One chain; the curves share the vertices between them."""
    first, last = int(loops.first_curve[chain]), int(loops.first_curve[chain + 1])
    rows = [i for i in range(first, last) if not _dust(loops, i)] or list(range(first, last))
    starts = [_vertex(loops.ends[i, :2], z) for i in rows]
    closing = starts[0] if loops.closed[chain] else _vertex(loops.ends[last - 1, 2:], z)
    corners = [*starts, closing]
    wire = BRepBuilderAPI_MakeWire()
    for k, i in enumerate(rows):
        wire.Add(_edge(loops, i, z, corners[k], corners[k + 1]))
    if not wire.IsDone():
        raise OutputError(f"section at z {z:.6f}: chain {chain} does not hang together ({wire.Error()})")
    return wire.Wire()


def _dust(loops: CurveLoops, i: int) -> bool:
    """Whether a curve is so short that its ends are one point to the kernel; full circles are not."""
    short = math.dist(loops.ends[i, :2], loops.ends[i, 2:]) < Precision.Confusion_s()
    turned = loops.kind[i] == CurveKind.CIRCLE and abs(loops.circle[i, 3]) > math.pi
    return short and not turned


def _vertex(point: Array, z: float) -> TopoDS_Vertex:
    return BRepBuilderAPI_MakeVertex(gp_Pnt(float(point[0]), float(point[1]), z)).Vertex()


def _edge(loops: CurveLoops, i: int, z: float, start: TopoDS_Vertex, end: TopoDS_Vertex) -> TopoDS_Edge:
    kind = CurveKind(int(loops.kind[i]))
    if kind in (CurveKind.LINE, CurveKind.CONNECTOR):
        make = BRepBuilderAPI_MakeEdge(start, end)
    elif kind == CurveKind.CIRCLE:
        x, y, radius, sweep = (float(v) for v in loops.circle[i])
        angle = math.atan2(float(loops.ends[i, 1]) - y, float(loops.ends[i, 0]) - x)
        # A circle walked clockwise is one about -z, so that parameters grow along the walk.
        normal = gp_Dir(0.0, 0.0, math.copysign(1.0, sweep))
        toward = gp_Dir(math.cos(angle), math.sin(angle), 0.0)
        circle = Geom_Circle(gp_Ax2(gp_Pnt(x, y, z), normal, toward), radius)
        make = BRepBuilderAPI_MakeEdge(circle, start, end, 0.0, abs(sweep))
    else:
        spline = _spline(loops, i, z)
        make = BRepBuilderAPI_MakeEdge(spline, start, end, spline.FirstParameter(), spline.LastParameter())
    if not make.IsDone():
        raise OutputError(f"section at z {z:.6f}: curve {i} ({kind.name}) is refused ({make.Error()})")
    return make.Edge()


def _spline(loops: CurveLoops, i: int, z: float) -> Geom_BSplineCurve:
    """The Bézier pieces of a curve as one B-spline, raised to their greatest degree."""
    pieces = range(int(loops.first_piece[i]), int(loops.first_piece[i + 1]))
    degree = max(int(loops.degree[p]) for p in pieces)
    rows: list[tuple[float, float, float]] = []
    for p in pieces:
        raised = _raised(loops.control[loops.first_control[p] : loops.first_control[p + 1]], z, degree)
        if rows:
            # The pieces' weights may jump where they meet; scaling one of them changes nothing.
            raised[:, 2] *= rows[-1][2] / raised[0, 2]
            raised = raised[1:]
        rows += [(float(a), float(b), float(w)) for a, b, w in raised]
    poles, weights = TColgp_Array1OfPnt(1, len(rows)), TColStd_Array1OfReal(1, len(rows))
    for k, (a, b, w) in enumerate(rows, start=1):
        poles.SetValue(k, gp_Pnt(a, b, z))
        weights.SetValue(k, w)
    count = len(pieces)
    knots, multiplicities = TColStd_Array1OfReal(1, count + 1), TColStd_Array1OfInteger(1, count + 1)
    for k in range(count + 1):
        knots.SetValue(k + 1, float(k))
        multiplicities.SetValue(k + 1, degree + 1 if k in (0, count) else degree)
    return Geom_BSplineCurve(poles, weights, knots, multiplicities, degree)


def _raised(control: Array, z: float, degree: int) -> Array:
    """Rows (x, y, weight) of one piece, raised to a degree."""
    n = len(control)
    poles, weights = TColgp_Array1OfPnt(1, n), TColStd_Array1OfReal(1, n)
    for k, (wx, wy, w) in enumerate(control, start=1):
        poles.SetValue(k, gp_Pnt(float(wx / w), float(wy / w), z))
        weights.SetValue(k, float(w))
    curve = Geom_BezierCurve(poles, weights)
    if degree > n - 1:
        curve.Increase(degree)
    found = [(curve.Pole(k), curve.Weight(k)) for k in range(1, degree + 2)]
    return np.array([(p.X(), p.Y(), w) for p, w in found])
