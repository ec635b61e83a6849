"""A part cut by planes into valid solids, and each segment as a STEP file with the names of its faces."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
from OCP.Bnd import Bnd_Box
from OCP.BRepAlgoAPI import BRepAlgoAPI_Splitter
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Message import Message
from OCP.Quantity import Quantity_Color
from OCP.STEPCAFControl import STEPCAFControl_Writer
from OCP.STEPControl import STEPControl_StepModelType
from OCP.TCollection import TCollection_ExtendedString, TCollection_HAsciiString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_Label
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopoDS import TopoDS_Shape
from OCP.TopTools import TopTools_ListOfShape
from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool

from beadwright.brep import CutFace, Segment, Segments
from beadwright.errors import GeometryError, OutputError
from beadwright.kernel._document import Body, faces, parts, read_document
from beadwright.kernel._file import load
from beadwright.kernel._health import select
from beadwright.kernel._statics import statics

Array = npt.NDArray[np.float64]

# Error of a volume that the kernel's adaptive quadrature is asked for, relative.
QUADRATURE = 1e-11
# What the volumes of the segments and of the whole may differ by at most, relative, beside the quadrature's own error.
SAME_VOLUME = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Piece:
    """One solid on its side of every plane, with its faces' names and which planes made its new faces."""

    body: Body
    sides: tuple[int, ...]
    planes: tuple[int, ...]


def segments(path: str, planes: Sequence[tuple[Sequence[float], Sequence[float]]], name: str) -> Segments:
    """Cut the solids of a STEP file by planes.

    Parameters
    ----------
    path : str
    planes : sequence of (point, normal)
        In the model's own coordinates, mm.
    name : str
        Of the products in the files: ``segment`` gives segment_1, segment_2 and so on.

    Returns
    -------
    Segments
        A segment is all that lies on the same sides of all planes; it may be several solids. Names and colours of
        faces stay; a new face is called ``cut 1`` by its plane.

    Raises
    ------
    StepError
        The file cannot be read, or holds no solid.
    GeometryError
        A plane does not meet the part, or the kernel's pieces are not valid or do not add up.
    """
    text = load(path)
    document = read_document(text.data, text.file)
    chosen = select(document.bodies, text.file, walls=False)
    box = _box([body.shape for body in chosen.bodies])
    frames = [(np.asarray(p, dtype=float), _unit(n)) for p, n in planes]
    tools = [_tool(point, normal, box) for point, normal in frames]
    pieces = [piece for body in chosen.bodies for piece in _split(body, tools, frames, text.file)]
    for number, (_, normal) in enumerate(frames):
        both = {piece.sides[number] for piece in pieces} == {-1, 1}
        if not both or not any(number in piece.planes for piece in pieces):
            reach = [float(normal @ corner) for corner in _corners(box)]
            at = float(normal @ frames[number][0])
            raise GeometryError(
                f"cut[{number + 1}]: this plane, {at:g} mm along its normal, cuts nothing of {text.file}, which reaches"
                f" from about {min(reach):.3f} to {max(reach):.3f} mm along it"
            )
    whole, error = _volume([body.shape for body in chosen.bodies])
    made = []
    for number, sides in enumerate(sorted({piece.sides for piece in pieces}), 1):
        own = [piece for piece in pieces if piece.sides == sides]
        shapes = [piece.body.shape for piece in own]
        for shape in shapes:
            if not BRepCheck_Analyzer(shape).IsValid():
                raise GeometryError(
                    f"{text.file}: the CAD kernel calls segment {number} invalid after the cut; move the plane a"
                    " little, or cut the part in the CAD"
                )
        volume, own_error = _volume(shapes)
        error += own_error
        made.append(
            Segment(
                sides=sides,
                step=_named_step([piece.body for piece in own], f"{name}_{number}"),
                solids=len(own),
                volume=volume,
                box=_rows(_box(shapes)),
                faces=_cut_faces(own, sides, frames),
            )
        )
    found = Segments(file=text.file, sha256=text.sha256, volume=whole, error=error, segments=tuple(made))
    if found.off() > SAME_VOLUME + error / whole:
        raise GeometryError(
            f"{text.file}: the segments' volumes miss that of the whole by {found.off():.3g} of it; move the plane a"
            " little, or cut the part in the CAD"
        )
    return found


def _unit(vector: Sequence[float]) -> Array:
    v = np.asarray(vector, dtype=float)
    return np.asarray(v / np.linalg.norm(v))


def _box(shapes: Sequence[TopoDS_Shape]) -> Array:
    box = Bnd_Box()
    for shape in shapes:
        BRepBndLib.AddOptimal_s(shape, box, False, False)
    low, high = box.CornerMin(), box.CornerMax()
    return np.array([[low.X(), low.Y(), low.Z()], [high.X(), high.Y(), high.Z()]])


def _rows(box: Array) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    (a, b, c), (d, e, f) = box.tolist()
    return (a, b, c), (d, e, f)


def _corners(box: Array) -> Array:
    return np.array([[box[i, 0], box[j, 1], box[k, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)])


def _tool(point: Array, normal: Array, box: Array) -> TopoDS_Shape:
    """A face of the plane that reaches beyond a box all round."""
    middle = box.mean(axis=0)
    foot = middle - ((middle - point) @ normal) * normal
    reach = float(np.linalg.norm(box[1] - box[0]))
    plane = gp_Pln(gp_Pnt(*foot.tolist()), gp_Dir(*normal.tolist()))
    return BRepBuilderAPI_MakeFace(plane, -reach, reach, -reach, reach).Shape()


def _split(
    body: Body, tools: Sequence[TopoDS_Shape], frames: Sequence[tuple[Array, Array]], file: str
) -> list[_Piece]:
    """The solids into which planes cut one, each with the names of the faces it keeps."""
    splitter = BRepAlgoAPI_Splitter()
    arguments, others = TopTools_ListOfShape(), TopTools_ListOfShape()
    arguments.Append(body.shape)
    for tool in tools:
        others.Append(tool)
    splitter.SetArguments(arguments)
    splitter.SetTools(others)
    splitter.Build()
    if not splitter.IsDone() or splitter.Shape().IsNull():
        raise GeometryError(f"{file}: the CAD kernel cannot cut {body.name or 'a solid'} by these planes")
    told = _Tellings()
    for face, name, colour in zip(faces(body.shape), body.face_names, body.face_colours, strict=True):
        for each in _became(splitter, face):
            told.add(each, (name, colour, -1))
    for number, tool in enumerate(tools):
        for each in _became(splitter, tool):
            told.add(each, (f"cut {number + 1}", body.colour, number))
    found = []
    for solid in parts(splitter.Shape(), TopAbs_ShapeEnum.TopAbs_SOLID):
        rows = [told.of(face) for face in faces(solid)]
        properties = GProp_GProps()
        BRepGProp.VolumeProperties_s(solid, properties)
        at = properties.CentreOfMass()
        centre = np.array([at.X(), at.Y(), at.Z()])
        found.append(
            _Piece(
                body=Body(
                    shape=solid,
                    name=body.name,
                    colour=body.colour,
                    face_names=tuple(row[0] for row in rows),
                    face_colours=tuple(row[1] for row in rows),
                    volume=properties.Mass(),
                ),
                # a solid on one side of a plane has its centre of mass there
                sides=tuple(1 if (centre - point) @ normal > 0 else -1 for point, normal in frames),
                planes=tuple(row[2] for row in rows),
            )
        )
    return found


def _became(splitter: BRepAlgoAPI_Splitter, face: TopoDS_Shape) -> list[TopoDS_Shape]:
    """What a face became; itself where it was not touched."""
    changed = list(splitter.Modified(face))
    return changed or ([] if splitter.IsDeleted(face) else [face])


class _Tellings:
    """What is told of faces, whichever way round they are used."""

    def __init__(self) -> None:
        self.rows: dict[int, list[tuple[TopoDS_Shape, tuple[str, str, int]]]] = {}

    def add(self, face: TopoDS_Shape, told: tuple[str, str, int]) -> None:
        """Keep what is told of a face."""
        self.rows.setdefault(hash(face), []).append((face, told))

    def of(self, face: TopoDS_Shape) -> tuple[str, str, int]:
        """What is told of a face: name, colour, plane that made it (-1: none)."""
        for other, told in self.rows.get(hash(face), []):
            if other.IsSame(face):
                return told
        return "", "", -1


def _volume(shapes: Sequence[TopoDS_Shape]) -> tuple[float, float]:
    """Volume of some solids by adaptive quadrature, and its own statement of the error, mm3."""
    total = error = 0.0
    for shape in shapes:
        properties = GProp_GProps()
        relative = BRepGProp.VolumeProperties_s(shape, properties, QUADRATURE)
        total += properties.Mass()
        error += abs(relative * properties.Mass())
    return total, error


def _cut_faces(
    pieces: Sequence[_Piece], sides: tuple[int, ...], frames: Sequence[tuple[Array, Array]]
) -> tuple[CutFace, ...]:
    """The new faces of a segment, those of one plane as one."""
    areas: dict[int, float] = {}
    for piece in pieces:
        for face, plane in zip(faces(piece.body.shape), piece.planes, strict=True):
            if plane >= 0:
                properties = GProp_GProps()
                BRepGProp.SurfaceProperties_s(face, properties)
                areas[plane] = areas.get(plane, 0.0) + abs(properties.Mass())
    made = []
    for plane, area in sorted(areas.items()):
        x, y, z = (-sides[plane] * frames[plane][1] + 0.0).tolist()
        made.append(CutFace(plane=plane, normal=(x, y, z), area=area))
    return tuple(made)


def _named_step(bodies: Sequence[Body], name: str) -> bytes:
    """Solids as the bytes of a STEP file (AP214, mm) with names and colours, the same on every run."""
    Message.DefaultMessenger_s().ChangePrinters().Clear()
    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    XCAFDoc_DocumentTool.SetLengthUnit_s(document, 1e-3)
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    colours = XCAFDoc_DocumentTool.ColorTool_s(document.Main())

    def tell(label: TDF_Label, called: str, colour: str) -> None:
        if called:
            TDataStd_Name.Set_s(label, TCollection_ExtendedString(called))
        if colour:
            made = Quantity_Color()
            Quantity_Color.ColorFromHex_s(colour, made)
            colours.SetColor(label, made, XCAFDoc_ColorType.XCAFDoc_ColorSurf)

    for body in bodies:
        label = shapes.AddShape(body.shape, False)
        tell(label, body.name or name, body.colour)
        rows = zip(faces(body.shape), body.face_names, body.face_colours, strict=True)
        for face, called, colour in rows:
            if called or colour != body.colour:
                tell(shapes.AddSubShape(label, face), called, colour)
    values = {
        "write.step.schema": "AP214IS",
        "write.step.unit": "MM",
        "write.step.assembly": "Off",
        "write.stepcaf.subshapes.name": "On",
    }
    with statics(values):
        writer = STEPCAFControl_Writer()
        writer.SetColorMode(True)
        writer.SetNameMode(True)
        if not writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs):
            raise OutputError(f"{name}: the CAD kernel would not write it")
        model = writer.ChangeWriter().Model()
        header = APIHeaderSection_MakeHeader(model)
        header.SetName(TCollection_HAsciiString(name))
        header.SetTimeStamp(TCollection_HAsciiString("1970-01-01T00:00:00"))
        header.SetOriginatingSystem(TCollection_HAsciiString("beadwright"))
        stream = io.BytesIO()
        if writer.WriteStream(stream) != IFSelect_ReturnStatus.IFSelect_RetDone:
            raise OutputError(f"{name}: the CAD kernel would not write it")
    return stream.getvalue()
