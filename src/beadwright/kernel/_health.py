"""Is a body fit to be printed? What is wrong with it, where, and what to do."""

from __future__ import annotations

from dataclasses import dataclass, replace

from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.BRepLib import BRepLib
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopoDS import TopoDS, TopoDS_Shape, TopoDS_Solid
from OCP.TopTools import TopTools_IndexedMapOfShape

from beadwright.errors import StepError
from beadwright.kernel._convert_curve import xyz
from beadwright.kernel._document import Body, faces, parts
from beadwright.kernel._outlines import turned_back, unclosed
from beadwright.kernel._spindle import through_axis
from beadwright.numeric import Finding

FLAT = 1e-9
"""A solid whose volume is below this share of area^1.5 has none."""

SENSELESS = frozenset(
    ("EmptyWire", "SelfIntersectingWire", "IntersectingWires", "InvalidImbricationOfWires", "InvalidWire")
)
"""What the kernel's own check may say of a face of which nobody knows any more which part of its surface it is.

The rest, such as a curve or a vertex off its surface, are gaps, which are measured and told.
"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Selection:
    """Bodies to be taken, and what was found and done on the way."""

    bodies: tuple[Body, ...]
    findings: tuple[Finding, ...]
    healing: tuple[str, ...]


def select(bodies: tuple[Body, ...], file: str, walls: bool) -> Selection:
    """Choose the bodies to print and refuse a file that has none.

    Parameters
    ----------
    bodies : tuple of Body
    file : str
        For messages.
    walls : bool
        Whether open shells and faces are wanted too.

    Raises
    ------
    StepError
        Nothing in it, an open shell while walls are not wanted, or a face whose outlines cross or run through
        places that are no numbers.
    """
    healing: list[str] = []
    kept: list[Body] = []
    loose: list[Body] = []
    for given in bodies:
        _exact(given, file)
        body = turned_back(given, file, healing)
        kind = body.shape.ShapeType()
        if kind == TopAbs_ShapeEnum.TopAbs_FACE or free_edges(body.shape):
            loose.append(body)
            kept.append(body)
            continue
        if kind == TopAbs_ShapeEnum.TopAbs_SHELL:
            healing.append(f"the closed shell {_called(body)} that is no solid in the file was taken as one")
            body = replace(body, shape=_solid_of(body.shape))
        kept.append(_sound(body, healing))
    if not kept:
        raise StepError(f"{file}: holds no shape (no solid, shell or face); export the part itself")
    findings: list[Finding] = []
    if not walls:
        opened = [b for b in loose if b.shape.ShapeType() == TopAbs_ShapeEnum.TopAbs_SOLID]
        if opened or len(loose) == len(kept):
            raise StepError(_open_message(opened or loose, file))
        findings += [_left_out(body) for body in loose]
        kept = [body for body in kept if not any(body is other for other in loose)]
    row = 0
    for body in kept:
        findings += _invalid(body, row, file) + unclosed(body, row) + through_axis(body, row)
        row += len(body.face_names)
    return Selection(bodies=tuple(kept), findings=tuple(findings), healing=tuple(healing))


def _exact(body: Body, file: str) -> None:
    """Refuse faces that are triangles only."""
    if any(BRep_Tool.Surface_s(TopoDS.Face(face)) is None for face in faces(body.shape)):
        raise StepError(
            f"{file}: {_called(body)} holds tessellated shape only (triangles), no exact surfaces; "
            "export the exact solid (B-rep)"
        )


def free_edges(shape: TopoDS_Shape) -> list[TopoDS_Shape]:
    """Edges of a shape's faces that are not used as often one way as the other."""
    known = TopTools_IndexedMapOfShape()
    balance: list[int] = []
    for edge in parts(shape, TopAbs_ShapeEnum.TopAbs_EDGE):
        orientation = edge.Orientation()
        sides = (TopAbs_Orientation.TopAbs_FORWARD, TopAbs_Orientation.TopAbs_REVERSED)
        if orientation not in sides or BRep_Tool.Degenerated_s(TopoDS.Edge(edge)):
            continue
        row = known.Add(edge)
        if row > len(balance):
            balance.append(0)
        balance[row - 1] += 1 if orientation == sides[0] else -1
    return [known.FindKey(k + 1) for k, b in enumerate(balance) if b != 0]


def _called(body: Body) -> str:
    return f'"{body.name}"' if body.name else "without a name"


def _solid_of(shell: TopoDS_Shape) -> TopoDS_Shape:
    solid = TopoDS_Solid()
    builder = BRep_Builder()
    builder.MakeSolid(solid)
    builder.Add(solid, shell)
    BRepLib.OrientClosedSolid_s(solid)
    return solid


def _sound(body: Body, healing: list[str]) -> Body:
    """A solid with its volume, and with its material inside."""
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(body.shape, properties)
    volume = properties.Mass()
    if volume < 0.0:
        solid = TopoDS.Solid(body.shape)
        if BRepLib.OrientClosedSolid_s(solid) and not solid.IsEqual(body.shape):
            healing.append(f"the solid {_called(body)} was inside out and was turned")
            return replace(body, shape=solid, volume=-volume)
    return replace(body, volume=volume)


def check_volume(body: Body, area: float) -> None:
    """Refuse a solid without volume, given the area of its faces (mm2)."""
    if not abs(body.volume) > FLAT * area**1.5:
        raise StepError(
            f"the solid {_called(body)} has no volume ({body.volume:.3g} mm3 within {area:.3g} mm2 of "
            "surface); give it a thickness in the CAD"
        )


def _open_message(bodies: list[Body], file: str) -> str:
    """Where an open shell is open, and the remedy."""
    body = bodies[0]
    edges = free_edges(body.shape)
    what = "solid" if body.shape.ShapeType() == TopAbs_ShapeEnum.TopAbs_SOLID else "surface"
    count = f" (one of {len(bodies)})" if len(bodies) > 1 else ""
    where = ""
    if edges:
        length = sum(GCPnts_AbscissaPoint.Length_s(BRepAdaptor_Curve(TopoDS.Edge(e))) for e in edges)
        longest = max(edges, key=lambda e: GCPnts_AbscissaPoint.Length_s(BRepAdaptor_Curve(TopoDS.Edge(e))))
        curve = BRepAdaptor_Curve(TopoDS.Edge(longest))
        p = xyz(curve.Value(0.5 * (curve.FirstParameter() + curve.LastParameter())))
        where = (
            f": {len(edges)} free edges, {length:.4g} mm in all, the longest at "
            f"x {p[0]:.4f}, y {p[1]:.4f}, z {p[2]:.4f} mm"
        )
    return (
        f"{file}: the {what} {_called(body)}{count} is open{where}; close it in the CAD, "
        "or print it as a wall of one bead with `--wall centre`; `section` cuts it with `--surfaces`"
    )


def _left_out(body: Body) -> Finding:
    area = GProp_GProps()
    BRepGProp.SurfaceProperties_s(body.shape, area)
    at = area.CentreOfMass()
    return Finding(
        code="loose-surface",
        level="warning",
        text=f"the loose surface {_called(body)} beside the solids is left out; `--wall` prints surfaces",
        at_mm=(at.X(), at.Y(), at.Z()),
        measured=area.Mass(),
        unit="mm2",
    )


def _invalid(body: Body, first_row: int, file: str) -> list[Finding]:
    """What the kernel's own check complains of, by face; such a body is cut all the same if its outlines are sound.

    Raises
    ------
    StepError
        The outlines of a face cross.
    """
    analyzer = BRepCheck_Analyzer(body.shape, True, False, False)
    if analyzer.IsValid():
        return []
    found: list[Finding] = []
    for k, face in enumerate(faces(body.shape)):
        complaints = sorted(set(_complaints(analyzer, face)))
        if not complaints:
            continue
        area = GProp_GProps()
        BRepGProp.SurfaceProperties_s(face, area)
        at = area.CentreOfMass()
        if SENSELESS.intersection(complaints) and _traced(face):
            raise StepError(_invalid_message(body, k, first_row + k, face, complaints, file))
        found.append(
            Finding(
                code="invalid-face",
                level="warning",
                text=f"the CAD kernel calls this face invalid ({', '.join(complaints)}); check it in the CAD",
                face=first_row + k,
                at_mm=(at.X(), at.Y(), at.Z()),
            )
        )
    if not found:
        what = ", ".join(sorted(set(_own_complaints(analyzer, body.shape)))) or "no detail"
        found.append(
            Finding(
                code="invalid-solid",
                level="warning",
                text=f"the CAD kernel calls the solid {_called(body)} invalid ({what}); check it in the CAD",
            )
        )
    return found


def _traced(face: TopoDS_Shape) -> bool:
    """Whether each edge has a curve in the face's parameters, without which the kernel's check of outlines is void."""
    owner = TopoDS.Face(face)
    return all(
        BRep_Tool.CurveOnSurface_s(TopoDS.Edge(edge), owner, 0.0, 1.0) is not None
        for edge in parts(face, TopAbs_ShapeEnum.TopAbs_EDGE)
    )


def _invalid_message(
    body: Body, k: int, row: int, face: TopoDS_Shape, complaints: list[str], file: str
) -> str:
    """Which face has senseless outlines, and the remedy."""
    outline = GProp_GProps()
    BRepGProp.LinearProperties_s(face, outline)
    at = xyz(outline.CentreOfMass())
    named = f' "{body.face_names[k]}"' if body.face_names[k] else ""
    return (
        f"{file}: the solid {_called(body)} is invalid: the outline of face {row}{named} round "
        f"x {at[0]:.4f}, y {at[1]:.4f}, z {at[2]:.4f} mm crosses itself or another, or is empty "
        f"(the CAD kernel says {', '.join(complaints)}); draw that face anew in the CAD"
    )


def _complaints(analyzer: BRepCheck_Analyzer, face: TopoDS_Shape) -> list[str]:
    if analyzer.IsValid(face):
        return []
    return [
        complaint
        for kind in (
            TopAbs_ShapeEnum.TopAbs_FACE,
            TopAbs_ShapeEnum.TopAbs_WIRE,
            TopAbs_ShapeEnum.TopAbs_EDGE,
            TopAbs_ShapeEnum.TopAbs_VERTEX,
        )
        for part in parts(face, kind)
        for complaint in _own_complaints(analyzer, part)
    ]


def _own_complaints(analyzer: BRepCheck_Analyzer, shape: TopoDS_Shape) -> list[str]:
    statuses = [str(status) for status in analyzer.Result(shape).Status()]
    names = [status.rsplit("BRepCheck_", 1)[-1] for status in statuses]
    return [name for name in names if name != "NoError"]
