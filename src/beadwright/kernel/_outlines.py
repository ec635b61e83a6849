"""Outlines that go round a closed surface and do not come back: such a face is no part of its surface."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import isfinite, pi

from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
from OCP.BRepTools import BRepTools_ReShape
from OCP.Geom2d import Geom2d_Curve
from OCP.GeomAbs import GeomAbs_CurveType
from OCP.gp import gp_Pnt2d, gp_Vec2d
from OCP.ShapeFix import ShapeFix_Edge
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopoDS import TopoDS, TopoDS_Edge, TopoDS_Face, TopoDS_Shape

from beadwright.errors import StepError
from beadwright.kernel._document import Body, faces, parts
from beadwright.numeric import Finding

_FORWARD = TopAbs_Orientation.TopAbs_FORWARD
_SIDES = (_FORWARD, TopAbs_Orientation.TopAbs_REVERSED)


def turned_back(body: Body, file: str, healing: list[str]) -> Body:
    """Take circles' arcs the short way where the long way alone keeps a face's outline from closing.

    Parameters
    ----------
    body : Body
    file : str
        For messages.
    healing : list of str
        What was done is added to it.

    Returns
    -------
    Body
        The same one if nothing was to be done.

    Raises
    ------
    StepError
        An outline runs through places that are no numbers, as in a damaged file.

    Notes
    -----
    Walked with the face on the left, the wires that bound a part of a cylinder, cone or torus go round it as
    often one way as the other, together (the outline of a part is a boundary: its turns cancel). A face whose
    wires do not, but would with one arc the other way round its circle, has that arc the wrong way.
    """
    done = 0
    for k, face in enumerate(list(faces(body.shape))):
        try:
            wrong = _wrong_arcs(TopoDS.Face(face.Oriented(_FORWARD)))
        except StepError as error:
            named = f' "{body.face_names[k]}"' if body.face_names[k] else ""
            raise StepError(f"{file}: face {k}{named} of a solid or surface: {error}") from error
        if len(wrong) != 1:
            continue
        shape = _with_other_way(body.shape, wrong[0])
        if shape is not None:
            body = replace(body, shape=shape)
            done += 1
    if done:
        healing.append(
            "arcs that went the long way round their circle, so that a face's outline did not close, were taken"
            f" the short way ({done} times)"
        )
    return body


def unclosed(body: Body, first_row: int) -> list[Finding]:
    """A finding for each face whose outline goes round its surface without coming back."""
    found = []
    for row, face in enumerate(faces(body.shape)):
        own = TopoDS.Face(face.Oriented(_FORWARD))
        for axis, period in _periods(own):
            turns = _turns(own, axis, period)
            if turns:
                found.append(
                    Finding(
                        code="outline-open",
                        level="warning",
                        text="the outline of this face goes round its surface and does not come back, so it bounds"
                        " no part of it, and sections there may be wrong; mend the face in the CAD",
                        face=first_row + row,
                        measured=float(abs(turns)),
                        allowed=0.0,
                        unit="turns",
                    )
                )
    return found


def _periods(face: TopoDS_Face) -> Iterator[tuple[int, float]]:
    surface = BRepAdaptor_Surface(face, False)
    if surface.IsUPeriodic():
        yield 0, surface.UPeriod()
    if surface.IsVPeriodic():
        yield 1, surface.VPeriod()


def _ways(face: TopoDS_Face, axis: int) -> Iterator[tuple[TopoDS_Edge, float]]:
    """Each edge of a face and how far it runs along an axis of the parameters, along the walk."""
    for shape in parts(face, TopAbs_ShapeEnum.TopAbs_EDGE):
        edge = TopoDS.Edge(shape)
        curve = _on_surface(edge, face)
        if edge.Orientation() in _SIDES and curve is not None:
            first, last = BRep_Tool.Range_s(edge, face)
            way = curve.Value(last).Coord(axis + 1) - curve.Value(first).Coord(axis + 1)
            yield edge, way if edge.Orientation() == _FORWARD else -way


def _on_surface(edge: TopoDS_Edge, face: TopoDS_Face) -> Geom2d_Curve | None:
    """The curve in the face's parameters, which the kernel may lack whatever its stubs say."""
    return BRep_Tool.CurveOnSurface_s(edge, face, 0.0, 1.0)


def _turns(face: TopoDS_Face, axis: int, period: float) -> int:
    turns = sum(way for _, way in _ways(face, axis)) / period
    if not isfinite(turns):
        raise StepError(
            "its outline runs through places that are no numbers; the file is damaged: export it again"
        )
    return round(turns)


def _wrong_arcs(face: TopoDS_Face) -> list[TopoDS_Edge]:
    """Arcs of more than half a turn that alone keep an outline from closing."""
    found = []
    for axis, period in _periods(face):
        turns = _turns(face, axis, period)
        if abs(turns) != 1:
            continue
        for edge, way in _ways(face, axis):
            is_arc = BRepAdaptor_Curve(edge).GetType() == GeomAbs_CurveType.GeomAbs_Circle
            ends = TopExp.FirstVertex_s(edge), TopExp.LastVertex_s(edge)
            if is_arc and 0.5 * period < way * turns < period and not ends[0].IsSame(ends[1]):
                found.append(edge)
    return found


def _with_other_way(shape: TopoDS_Shape, arc: TopoDS_Edge) -> TopoDS_Shape | None:
    """The shape with an arc replaced by the rest of its circle; None where the kernel cannot."""
    old = TopoDS.Edge(arc.Oriented(_FORWARD))
    curve = BRep_Tool.Curve_s(old, 0.0, 1.0)
    first, last = (curve.ReversedParameter(t) for t in BRep_Tool.Range_s(old))
    while last <= first:
        last += 2.0 * pi
    ends = TopExp.FirstVertex_s(old), TopExp.LastVertex_s(old)
    maker = BRepBuilderAPI_MakeEdge(curve.Reversed(), *ends, first, last)
    if not maker.IsDone():
        return None
    new = maker.Edge()
    tolerance = BRep_Tool.Tolerance_s(old)
    BRep_Builder().UpdateEdge(new, tolerance)
    reshape = BRepTools_ReShape()
    reshape.Replace(old, new)
    mended = reshape.Apply(shape)
    for each in faces(mended):
        face = TopoDS.Face(each.Oriented(_FORWARD))
        if any(edge.IsSame(new) for edge in parts(face, TopAbs_ShapeEnum.TopAbs_EDGE)):
            ShapeFix_Edge().FixAddPCurve(new, face, False)
            _end_to_end(new, face)
    return mended


def _end_to_end(arc: TopoDS_Edge, face: TopoDS_Face) -> None:
    """Shift the parameters of an arc's neighbours, and theirs, by whole periods to where they meet.

    The reader had shifted them to meet the arc the long way round. Seams have two places at once and stay.
    """
    left = [arc]
    for shape in parts(face, TopAbs_ShapeEnum.TopAbs_EDGE):
        edge = TopoDS.Edge(shape.Oriented(_FORWARD))
        if not edge.IsSame(arc) and not BRep_Tool.IsClosed_s(edge, face):
            left.append(edge)
    corners: list[tuple[TopoDS_Shape, gp_Pnt2d]] = []
    while left:
        # the arc first, then whatever meets an edge that has its place
        at = next((i for i, e in enumerate(left) if not corners or _meeting(e, face, corners)), None)
        if at is None:
            return
        edge = left.pop(at)
        curve = _on_surface(edge, face)
        if curve is None:
            continue
        if corners:
            here, there = _meeting(edge, face, corners)[0]
            shift = [0.0, 0.0]
            for axis, period in _periods(face):
                shift[axis] = period * round((there.Coord(axis + 1) - here.Coord(axis + 1)) / period)
            if any(shift):
                curve.Translate(gp_Vec2d(*shift))
        corners += _ends(edge, face)


def _ends(edge: TopoDS_Edge, face: TopoDS_Face) -> list[tuple[TopoDS_Shape, gp_Pnt2d]]:
    """Both vertices of an edge, taken forwards, and where they are in the face's parameters."""
    curve = _on_surface(edge, face)
    if curve is None:
        return []
    first, last = BRep_Tool.Range_s(edge, face)
    return [
        (TopExp.FirstVertex_s(edge), curve.Value(first)),
        (TopExp.LastVertex_s(edge), curve.Value(last)),
    ]


def _meeting(
    edge: TopoDS_Edge, face: TopoDS_Face, corners: list[tuple[TopoDS_Shape, gp_Pnt2d]]
) -> list[tuple[gp_Pnt2d, gp_Pnt2d]]:
    """Where an edge's ends are, and where the same vertices have been put."""
    return [(here, there) for v, here in _ends(edge, face) for corner, there in corners if v.IsSame(corner)]
