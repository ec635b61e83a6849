"""A STEP file as kernel shapes with their names and colours, every placed copy by itself."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from OCP.BRep import BRep_Tool
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Message import Message
from OCP.Quantity import Quantity_Color, Quantity_TypeOfColor
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TColStd import TColStd_SequenceOfAsciiString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_Label, TDF_LabelSequence
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Shape
from OCP.TopTools import TopTools_IndexedMapOfShape
from OCP.XCAFDoc import XCAFDoc_ColorTool, XCAFDoc_ColorType, XCAFDoc_DocumentTool, XCAFDoc_ShapeTool

from beadwright.errors import StepError
from beadwright.kernel._statics import statics

if TYPE_CHECKING:
    from collections.abc import Iterator

_COLOURS = (XCAFDoc_ColorType.XCAFDoc_ColorSurf, XCAFDoc_ColorType.XCAFDoc_ColorGen)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """One placed solid, loose shell or loose face.

    Attributes
    ----------
    shape : TopoDS_Shape
        A solid, a shell or a face, where it stands.
    name, colour : str
    face_names, face_colours : tuple of str
        In the order in which the kernel's explorer meets the faces.
    volume : float
        Of a solid that was looked at, as the kernel measures it, mm3.
    """

    shape: TopoDS_Shape
    name: str
    colour: str
    face_names: tuple[str, ...]
    face_colours: tuple[str, ...]
    volume: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Document:
    """What a file holds: bodies, its length unit, and what the reader said it changed."""

    bodies: tuple[Body, ...]
    unit: str
    messages: tuple[str, ...]


def faces(shape: TopoDS_Shape) -> Iterator[TopoDS_Shape]:
    """Faces of a shape in the order of the file."""
    return parts(shape, TopAbs_ShapeEnum.TopAbs_FACE)


def parts(
    shape: TopoDS_Shape, kind: TopAbs_ShapeEnum, avoid: TopAbs_ShapeEnum = TopAbs_ShapeEnum.TopAbs_SHAPE
) -> Iterator[TopoDS_Shape]:
    """Parts of one kind that are not inside a part of another kind."""
    explorer = TopExp_Explorer(shape, kind, avoid)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def loose_bodies(shape: TopoDS_Shape) -> Iterator[TopoDS_Shape]:
    """Solids, then shells outside solids, then faces outside shells."""
    yield from parts(shape, TopAbs_ShapeEnum.TopAbs_SOLID)
    yield from parts(shape, TopAbs_ShapeEnum.TopAbs_SHELL, TopAbs_ShapeEnum.TopAbs_SOLID)
    yield from parts(shape, TopAbs_ShapeEnum.TopAbs_FACE, TopAbs_ShapeEnum.TopAbs_SHELL)


def read_document(data: bytes, file: str) -> Document:
    """Read the text of a STEP file.

    Parameters
    ----------
    data : bytes
        The text, unpacked.
    file : str
        For messages.

    Raises
    ------
    StepError
        The kernel's reader refuses the file.
    """
    Message.DefaultMessenger_s().ChangePrinters().Clear()
    naming = XCAFDoc_ShapeTool.AutoNaming_s()
    XCAFDoc_ShapeTool.SetAutoNaming_s(False)
    try:
        with statics({"xstep.cascade.unit": "MM", "read.stepcaf.subshapes.name": "On"}):
            return _transfer(data, file)
    finally:
        XCAFDoc_ShapeTool.SetAutoNaming_s(naming)


def _transfer(data: bytes, file: str) -> Document:
    reader = STEPCAFControl_Reader()
    reader.SetColorMode(True)
    reader.SetNameMode(True)
    status = reader.ReadStream(file, io.BytesIO(data))
    if status != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise StepError(f"{file}: the STEP reader cannot make sense of it; re-export the file from the CAD")
    reader.ChangeReader().SetSystemLengthUnit(1.0)
    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    XCAFDoc_DocumentTool.SetLengthUnit_s(document, 1e-3)
    reader.Transfer(document)
    bodies = tuple(_walk_roots(document))
    messages = (*_messages(reader), *_recount(data, bodies))
    return Document(bodies=bodies, unit=_unit(reader), messages=messages)


def _recount(data: bytes, bodies: tuple[Body, ...]) -> Iterator[str]:
    """Faces and edges of the file that became more or fewer: split, closed by added edges, or dropped."""
    for what, words, kind in (
        ("faces", rb"\b(?:ADVANCED_FACE|FACE_SURFACE)\s*\(", TopAbs_ShapeEnum.TopAbs_FACE),
        ("edges", rb"\bEDGE_CURVE\s*\(", TopAbs_ShapeEnum.TopAbs_EDGE),
    ):
        written = len(re.findall(words, data))
        made = TopTools_IndexedMapOfShape()
        for body in bodies:
            for part in parts(body.shape, kind):
                if kind == TopAbs_ShapeEnum.TopAbs_FACE or not BRep_Tool.Degenerated_s(TopoDS.Edge(part)):
                    made.Add(part.Located(TopLoc_Location()))
        if written != made.Extent():
            yield f"reader: {written} {what} in the file became {made.Extent()} (split, joined, added)"


def _unit(reader: STEPCAFControl_Reader) -> str:
    lengths, angles, solid_angles = (TColStd_SequenceOfAsciiString() for _ in range(3))
    reader.Reader().FileUnits(lengths, angles, solid_angles)
    found = sorted({lengths.Value(i).ToCString().lower() for i in range(1, lengths.Length() + 1)})
    return ", ".join(found)


def _messages(reader: STEPCAFControl_Reader) -> tuple[str, ...]:
    """What the transfer warned of, each message once with its count and first entity."""
    process = reader.Reader().WS().TransferReader().TransientProcess()
    count: dict[str, int] = {}
    first: dict[str, str] = {}
    for i in range(1, process.NbMapped() + 1):
        check = process.MapItem(i).Check()
        texts = [check.CWarning(k, True) for k in range(1, check.NbWarnings() + 1)]
        texts += [check.CFail(k, True) for k in range(1, check.NbFails() + 1)]
        for text in texts:
            count[text] = count.get(text, 0) + 1
            first.setdefault(text, _entity_type(process.Mapped(i)))
    return tuple(
        f"reader: {text.strip()} ({count[text]} times, first at an entity {first[text]})"
        for text in sorted(count)
    )


def _entity_type(entity: object) -> str:
    """What STEP calls an entity, from the name of the kernel's class."""
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", type(entity).__name__.split("_")[-1]).upper()


def _walk_roots(document: TDocStd_Document) -> Iterator[Body]:
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    roots = TDF_LabelSequence()
    tool.GetFreeShapes(roots)
    for i in range(1, roots.Length() + 1):
        yield from _walk(roots.Value(i), TopLoc_Location(), "")


def _label_name(label: TDF_Label) -> str:
    name = TDataStd_Name()
    # Asking for an attribute that is not there would crash the kernel's binding.
    if not label.IsAttribute(TDataStd_Name.GetID_s()):
        return ""
    label.FindAttribute(TDataStd_Name.GetID_s(), name)
    return _clean(name.Get().ToExtString())


def _clean(name: str) -> str:
    """A name, or nothing where a program wrote that there is none, or its own in its place."""
    name = name.strip()
    none = name.upper() in ("NONE", "NULL", "UNNAMED")
    return "" if none or re.match("Open[ _]CASCADE[ _]STEP[ _]translator", name) else name


def _hex(colour: Quantity_Color) -> str:
    rgb = colour.Values(Quantity_TypeOfColor.Quantity_TOC_sRGB)
    return "#" + "".join(f"{round(255 * min(1.0, max(0.0, c))):02x}" for c in rgb)


def _label_colour(label: TDF_Label) -> str:
    colour = Quantity_Color()
    for kind in _COLOURS:
        if XCAFDoc_ColorTool.GetColor_s(label, kind, colour):
            return _hex(colour)
    return ""


def _walk(
    label: TDF_Label, place: TopLoc_Location, name: str, own: str = "", inherited: str = ""
) -> Iterator[Body]:
    """Bodies below a label.

    Of colours, that of the copy itself comes first, then that of what it copies, then that of what
    holds it.
    """
    if XCAFDoc_ShapeTool.IsReference_s(label):
        target = TDF_Label()
        XCAFDoc_ShapeTool.GetReferredShape_s(label, target)
        there = place.Multiplied(XCAFDoc_ShapeTool.GetLocation_s(label))
        yield from _walk(target, there, _label_name(label), _label_colour(label), own or inherited)
        return
    name = _label_name(label) or name
    colour = own or _label_colour(label) or inherited
    if XCAFDoc_ShapeTool.IsAssembly_s(label):
        components = TDF_LabelSequence()
        XCAFDoc_ShapeTool.GetComponents_s(label, components)
        for i in range(1, components.Length() + 1):
            yield from _walk(components.Value(i), place, name, "", colour)
        return
    shape = XCAFDoc_ShapeTool.GetShape_s(label)
    if not shape.IsNull():
        yield from _bodies(label, shape, place, name, colour)


def _bodies(
    label: TDF_Label,
    shape: TopoDS_Shape,
    place: TopLoc_Location,
    name: str,
    colour: str,
) -> Iterator[Body]:
    marked = TopTools_IndexedMapOfShape()
    marks: list[tuple[str, str]] = []
    subshapes = TDF_LabelSequence()
    XCAFDoc_ShapeTool.GetSubShapes_s(label, subshapes)
    for i in range(1, subshapes.Length() + 1):
        sub = subshapes.Value(i)
        part = XCAFDoc_ShapeTool.GetShape_s(sub)
        if marked.Add(part) > len(marks):
            marks.append((_label_name(sub), _label_colour(sub)))

    def told(part: TopoDS_Shape) -> tuple[str, str]:
        row = marked.FindIndex(part)
        return marks[row - 1] if row else ("", "")

    originals = list(loose_bodies(shape))
    for body in originals:
        body_name, body_colour = told(body)
        if len(originals) == 1 and name:
            body_name = name
        shade = body_colour or colour
        tellings = [told(face) for face in faces(body)]
        yield Body(
            shape=body.Moved(place),
            name=body_name or name,
            colour=shade,
            face_names=tuple(n for n, _ in tellings),
            face_colours=tuple(c or shade for _, c in tellings),
        )
