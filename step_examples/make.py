"""Write the example parts as STEP: `python step_examples/make.py [folder]`. Same bytes on every run."""

import re
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import _shapes as shapes
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Interface import Interface_Static
from OCP.Message import Message, Message_Gravity
from OCP.Quantity import Quantity_Color, Quantity_TypeOfColor
from OCP.STEPCAFControl import STEPCAFControl_Writer
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDocStd import TDocStd_Document
from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool

OAK, SEA, SLATE, BUOY = (0.72, 0.56, 0.36), (0.18, 0.45, 0.52), (0.42, 0.45, 0.48), (0.85, 0.36, 0.14)

AP214 = 4  # the kernel's number for it; unlike AP203 it asks for no date and no person

HEADER = """HEADER;
FILE_DESCRIPTION(('{what}'),'2;1');
FILE_NAME('{file}','2026-01-01T00:00:00',
  ('Reedmouth slip and bench workshop'),('invented'),'step_examples','step_examples','');
FILE_SCHEMA"""


def mould_faces(solid):
    """The patches of the tool face from aft to fore, and the underside they stand on."""
    patches = sorted((f for f in solid.Faces() if f.geomType() == "BSPLINE"), key=lambda f: f.Center().x)
    named = [(f, f"tool_face_{where}", BUOY) for f, where in zip(patches, ("aft", "fore"), strict=True)]
    under = min(solid.Faces(), key=lambda f: f.Center().z)
    return [*named, (under, "base", SLATE)]


def fixture_faces(solid):
    """The ball seat, and the floor of the pocket."""
    seat = next(f for f in solid.Faces() if f.geomType() == "SPHERE")
    level = [f for f in solid.Faces() if f.geomType() == "PLANE" and abs(f.Center().z - 180.0) < 1e-6]
    return [(seat, "ball_seat", BUOY), (max(level, key=lambda f: f.Area()), "pocket_floor", SEA)]


def parts():
    """File stem: unit, what it is, then ``(shape, name, colour, [(face, name, colour)])`` of each solid."""
    mould = shapes.hatch_cover_mould()
    fixture = shapes.planing_fixture()
    return {
        "hatch_cover_mould": ("MM", "tooling mould", [(mould, "hatch_cover_mould", SEA, mould_faces(mould))]),
        "tender_hull": ("MM", "hull with a wall", [(shapes.tender_hull(), "tender_hull", SEA, [])]),
        "tender_hull_surface": (
            "MM",
            "hull without a wall",
            [(shapes.tender_hull_surface(), "tender_hull_surface", SEA, [])],
        ),
        "turned_bollard": ("MM", "turned bollard", [(shapes.turned_bollard(), "turned_bollard", SLATE, [])]),
        "planing_fixture": (
            "MM",
            "planing fixture",
            [(fixture, "planing_fixture", SLATE, fixture_faces(fixture))],
        ),
        "quay_bench": (
            "MM",
            "bench of boards",
            [(s, name, None, []) for name, s in shapes.quay_bench().items()],
        ),
        "saw_jig_inch": ("INCH", "saw jig", [(shapes.saw_jig(), "saw_jig", OAK, [])]),
        "cradle_chocks": (
            "MM",
            "pair of keel chocks",
            [(s, name, None, []) for name, s in shapes.cradle_chocks().items()],
        ),
        "mast_plug": ("MM", "plug for half a mast", [(shapes.mast_plug(), "mast_plug", SEA, [])]),
    }


def _paint(colours, label, colour):
    if colour is None:
        return
    colours.SetColor(
        label,
        Quantity_Color(*colour, Quantity_TypeOfColor.Quantity_TOC_sRGB),
        XCAFDoc_ColorType.XCAFDoc_ColorSurf,
    )


def _name(label, text):
    TDataStd_Name.Set_s(label, TCollection_ExtendedString(text))


def write(path, unit, what, solids):
    """One STEP file with a head that tells neither clock, host nor folder."""
    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    XCAFDoc_DocumentTool.SetLengthUnit_s(document, 0.001)
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    colours = XCAFDoc_DocumentTool.ColorTool_s(document.Main())
    for shape, name, colour, faces in solids:
        label = tool.AddShape(shape.wrapped, False)
        _name(label, name)
        _paint(colours, label, colour)
        for face, face_name, face_colour in faces:
            sub = tool.AddSubShape(label, face.wrapped)
            _name(sub, face_name)
            _paint(colours, sub, face_colour)
    writer = STEPCAFControl_Writer()
    writer.SetNameMode(True)
    writer.SetColorMode(True)
    Interface_Static.SetCVal_s("write.step.unit", unit)
    Interface_Static.SetIVal_s("write.step.schema", AP214)
    Interface_Static.SetIVal_s("write.stepcaf.subshapes.name", 1)
    if not writer.Transfer(document):
        raise RuntimeError(f"{path.name}: could not be transferred")
    with tempfile.TemporaryDirectory() as folder:
        raw = Path(folder) / path.name
        if writer.Write(str(raw)) != IFSelect_ReturnStatus.IFSelect_RetDone:
            raise RuntimeError(f"{path.name}: could not be written")
        text = raw.read_text("ascii")
    head = HEADER.format(what=what, file=path.name)
    path.write_text(re.sub(r"HEADER;.*?FILE_SCHEMA", lambda _: head, text, count=1, flags=re.DOTALL), "ascii")


def main(folder):
    """Write all of them into ``folder``."""
    for printer in Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(Message_Gravity.Message_Fail)
    for stem, (unit, what, solids) in parts().items():
        path = folder / f"{stem}.step"
        write(path, unit, what, solids)
        print(f"{path.name}: {path.stat().st_size} bytes")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
