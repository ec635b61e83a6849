"""Files: what is refused and how, units, names, colours, placements, and shapes handed in."""

from __future__ import annotations

import gzip
import hashlib
import math
import re
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest
from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
from OCP.BRepLib import BRepLib
from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox
from OCP.BRepTools import BRepTools
from OCP.Geom import Geom_CylindricalSurface
from OCP.gp import gp_Ax3
from OCP.Interface import Interface_Static
from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Compound, TopoDS_Face, TopoDS_Shell, TopoDS_Solid

from beadwright import brep, kernel
from beadwright.errors import StepError

UNITS = {
    "millimetre": "( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) )",
    "centimetre": "( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.CENTI.,.METRE.) )",
    "metre": "( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT($,.METRE.) )",
    "inch": "( CONVERSION_BASED_UNIT('INCH',#90002) LENGTH_UNIT() NAMED_UNIT(#90001) )",
}
INCH = (
    "#90001 = DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.);\n"
    "#90002 = LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),#90003);\n"
    "#90003 = ( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) );\n"
)


def export(shape: cq.Workplane, path: Path) -> Path:
    cq.exporters.export(shape, str(path))
    return path


@pytest.fixture(scope="module")
def cube(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = export(cq.Workplane().box(1, 1, 1), tmp_path_factory.mktemp("cube") / "cube.step")
    return path.read_text()


@pytest.mark.parametrize(
    ("unit", "side"), [("millimetre", 1.0), ("centimetre", 10.0), ("metre", 1000.0), ("inch", 25.4)]
)
def test_a_cube_of_one_unit(cube: str, tmp_path: Path, unit: str, side: float) -> None:
    # A cube of 1 in has sides of 25.4 mm exactly (international inch, 1959).
    text, count = re.subn(r"\( LENGTH_UNIT\(\).*?\)\s*\);", UNITS[unit] + ";", cube, flags=re.DOTALL)
    assert count >= 1
    if unit == "inch":
        text = text.replace("ENDSEC;\nEND-ISO", INCH + "ENDSEC;\nEND-ISO")
    path = tmp_path / "unit.step"
    path.write_text(text)
    m = kernel.read_step(path)

    assert m.unit == unit
    assert np.ptp(m.box, axis=0) == pytest.approx([side] * 3, rel=1e-12)
    assert m.volume == pytest.approx(side**3, rel=1e-12)
    assert np.ptp(m.vertices, axis=0) == pytest.approx([side] * 3, rel=1e-12)


@pytest.mark.parametrize(
    ("standard", "schema"),
    # ISO 10303-203, -214 and -242 by the name that the file's head must give
    [
        ("AP203", "CONFIG_CONTROL_DESIGN"),
        ("AP214IS", "AUTOMOTIVE_DESIGN"),
        ("AP242DIS", "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF"),
    ],
)
def test_files_of_all_three_application_protocols(tmp_path: Path, standard: str, schema: str) -> None:
    path = tmp_path / "cube.step"
    before = Interface_Static.CVal_s("write.step.schema")
    try:
        Interface_Static.SetCVal_s("write.step.schema", standard)
        writer = STEPControl_Writer()
        writer.Transfer(
            cq.Workplane().box(10, 20, 30).val().wrapped, STEPControl_StepModelType.STEPControl_AsIs
        )
        writer.Write(str(path))
    finally:
        Interface_Static.SetCVal_s("write.step.schema", before)
    m = kernel.read_step(path)

    assert m.schema.startswith(schema)
    assert m.volume == pytest.approx(6000.0, rel=1e-12)


def test_a_packed_file_reads_the_same_and_keeps_its_own_hash(cube: str, tmp_path: Path) -> None:
    path = tmp_path / "cube.step.gz"
    path.write_bytes(gzip.compress(cube.encode()))
    m = kernel.read_step(path)

    assert m.volume == pytest.approx(1.0, rel=1e-12)
    assert m.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert m.schema.startswith("AUTOMOTIVE_DESIGN")


HEAD = (
    "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n"
    "FILE_NAME('','',(''),(''),'','','');\nFILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n"
)
TAIL = "ENDSEC;\nEND-ISO-10303-21;\n"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty.*export it again"),
        (b"  \n", "empty"),
        (b"solid cube\nfacet normal 0 0 1\n", "expected a STEP file.*solid cube.*export the part as STEP"),
        (bytes(range(256)) * 4, "binary file"),
        (
            b"version https://git-lfs.github.com/spec/v1\noid sha256:0\nsize 1\n",
            "Git-LFS pointer.*git lfs pull",
        ),
        (HEAD.encode() + b"#1=ADVANCED_FACE('',(),#2,.T.);\n", "truncated.*END-ISO-10303-21"),
        ((HEAD + "#1=CARTESIAN_POINT('',(0.,0.,0.));\n" + TAIL).encode(), "holds no shape"),
        ((HEAD + "#1=TESSELLATED_SOLID('',(),$);\n" + TAIL).encode(), "tessellated shape only.*exact solid"),
        (
            (HEAD + "#1=VOLUME_3D_ELEMENT_REPRESENTATION('',());\n" + TAIL).encode(),
            "finite-element mesh only",
        ),
        (b"\x1f\x8b\x08\x00broken", "packed file is damaged"),
    ],
)
def test_what_is_no_part_is_refused_with_the_remedy(tmp_path: Path, data: bytes, words: str) -> None:
    path = tmp_path / "part.step"
    path.write_bytes(data)

    with pytest.raises(StepError, match=words) as caught:
        kernel.read_step(path)
    assert str(caught.value).startswith("part.step: ")


def test_a_truncated_cube_is_told_from_a_whole_one(cube: str, tmp_path: Path) -> None:
    path = tmp_path / "cut.step"
    path.write_text(cube[: len(cube) // 2])

    with pytest.raises(StepError, match="truncated"):
        kernel.read_step(path)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(StepError, match=r"cannot be read.*check the path"):
        kernel.read_step(tmp_path / "none.step")


def test_names_and_colours_of_solids_and_placed_copies(tmp_path: Path) -> None:
    block = cq.Workplane().box(10, 20, 30)
    assembly = cq.Assembly(name="frame")
    assembly.add(block, name="left", color=cq.Color(1, 0, 0))
    assembly.add(
        block,
        name="right",
        color=cq.Color(0, 0, 1),
        loc=cq.Location(cq.Vector(100, 0, 0), cq.Vector(0, 0, 1), 90),
    )
    path = tmp_path / "frame.step"
    assembly.export(str(path))
    m = kernel.read_step(path)

    assert [s.name for s in m.solids] == ["left", "right"]
    assert [s.colour for s in m.solids] == ["#ff0000", "#0000ff"]
    assert {m.faces[f].colour for f in m.shells[1].faces} == {"#0000ff"}
    # Turned a quarter about z and moved by 100: 20 wide in x, 10 in y.
    assert m.box == pytest.approx(np.array([[-5, -10, -15], [110, 10, 15]]), abs=1e-9)
    assert len(m.edges) == 24
    assert len(m.vertices) == 16


def test_names_and_colours_of_faces(tmp_path: Path) -> None:
    block = cq.Workplane().box(10, 20, 30)
    assembly = cq.Assembly(block, name="mould", color=cq.Color(0.5, 0.5, 0.5))
    top = block.faces(">Z").val()
    assembly.addSubshape(top, name="tool face", color=cq.Color(0, 1, 0))
    path = tmp_path / "mould.step"
    assembly.export(str(path))
    m = kernel.read_step(path)
    named = [f for f in m.faces if f.name == "tool face"]

    assert len(named) == 1
    assert named[0].centroid == pytest.approx([0, 0, 15], abs=1e-12)
    assert named[0].colour == "#00ff00"
    assert len({f.colour for f in m.faces}) == 2


def test_the_entitys_own_name_of_a_face(cube: str, tmp_path: Path) -> None:
    path = tmp_path / "named.step"
    path.write_text(re.sub(r"ADVANCED_FACE\(''", "ADVANCED_FACE('mating face'", cube, count=1))
    m = kernel.read_step(path)

    assert [f.name for f in m.faces].count("mating face") == 1


def test_a_shape_is_taken_as_workplane_shape_or_kernel_shape() -> None:
    work = cq.Workplane().box(2, 3, 4)
    models = [kernel.from_shape(s, name="block") for s in (work, work.val(), work.val().wrapped)]

    assert [m.volume for m in models] == pytest.approx([24.0] * 3, rel=1e-12)
    assert {m.sha256 for m in models} == {models[0].sha256}
    assert models[0].solids[0].name == "block"
    with pytest.raises(StepError, match=r"expected a cadquery Workplane or Shape.*got int"):
        kernel.from_shape(3)


def half_tube() -> TopoDS_Face:
    """Half a cylinder, radius 5, height 4."""
    surface = Geom_CylindricalSurface(gp_Ax3(), 5.0)
    return BRepBuilderAPI_MakeFace(surface, 0.0, math.pi, 0.0, 4.0, 1e-7).Face()


def open_box() -> cq.Shape:
    """A box of side 10 without its top, as a shell."""
    faces = [f for f in cq.Workplane().box(10, 10, 10).faces().vals() if f.Center().z < 4]
    shell, builder = TopoDS_Shell(), BRep_Builder()
    builder.MakeShell(shell)
    for f in faces:
        builder.Add(shell, f.wrapped)
    return cq.Shape.cast(shell)


def test_an_open_shell_says_where_and_names_the_remedy() -> None:
    with pytest.raises(StepError, match=r"open: 4 free edges, 40 mm in all.*z 5\.0000 mm.*--wall"):
        kernel.from_shape(open_box(), name="tray")
    m = kernel.from_shape(open_box(), name="tray", walls=True)

    assert [s.closed for s in m.shells] == [False]
    assert m.area == pytest.approx(500.0, rel=1e-12)
    assert brep.describe(m).why_not.startswith("open surfaces only")


def test_a_solid_with_an_open_shell_is_open_too() -> None:
    solid, builder = TopoDS_Solid(), BRep_Builder()
    builder.MakeSolid(solid)
    builder.Add(solid, open_box().wrapped)

    with pytest.raises(StepError, match=r"the solid .* is open"):
        kernel.from_shape(solid, name="tray")


def test_a_solid_inside_out_is_turned() -> None:
    box = BRepPrimAPI_MakeBox(10.0, 10.0, 10.0).Solid()
    m = kernel.from_shape(box.Reversed(), name="block")

    assert m.volume == pytest.approx(1000.0, rel=1e-12)
    assert any("inside out" in line for line in m.healing)
    for face in m.faces:
        middle = brep.surface_points(face.surface, face.uv_box.mean(axis=0))[0]
        normal = brep.surface_normals(face.surface, face.uv_box.mean(axis=0))[0] * (1 if face.outward else -1)
        assert normal @ (middle - 5.0) == pytest.approx(5.0, abs=1e-12)


def test_a_solid_without_volume_is_refused() -> None:
    face = cq.Workplane().rect(10, 10).extrude(1).faces(">Z").val().wrapped
    shell, solid, builder = TopoDS_Shell(), TopoDS_Solid(), BRep_Builder()
    builder.MakeShell(shell)
    builder.Add(shell, face)
    builder.Add(shell, face.Reversed())
    builder.MakeSolid(solid)
    builder.Add(solid, shell)

    with pytest.raises(StepError, match=r"no volume.*thickness"):
        kernel.from_shape(solid, name="sheet")


def test_a_face_whose_outline_crosses_itself_is_refused_by_its_id() -> None:
    """A bow tie as base: its first and third side cross, so nothing tells which side of them is material."""
    corners = [cq.Vector(*p) for p in ((0, 0, 0), (100, 100, 0), (100, 0, 0), (0, 50, 0))]
    prism = cq.Solid.extrudeLinear(cq.Wire.makePolygon(corners, close=True), [], cq.Vector(0, 0, 50))
    # faces 0 to 3 are its sides; the mean of the outline, weighed by length, lies in the base
    with pytest.raises(
        StepError, match=r"tie: the solid .* is invalid: .* face 4 .* z 0\.0000 mm .* in the CAD"
    ):
        kernel.from_shape(prism, name="tie")


def test_a_loose_surface_beside_a_solid_is_left_out_with_a_finding() -> None:
    both, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(both)
    builder.Add(both, cq.Workplane().box(2, 2, 2).val().wrapped)
    builder.Add(
        both,
        BRepBuilderAPI_MakeFace(Geom_CylindricalSurface(gp_Ax3(), 5.0), 0.0, math.pi, 0.0, 4.0, 1e-7).Face(),
    )
    m = kernel.from_shape(both)

    assert len(m.faces) == 6
    assert [(f.code, f.level) for f in m.findings] == [("loose-surface", "warning")]
    assert m.findings[0].measured == pytest.approx(20 * math.pi, rel=1e-9)


def test_an_edge_without_a_curve_in_space_gets_one() -> None:
    face = BRepBuilderAPI_MakeFace(
        Geom_CylindricalSurface(gp_Ax3(), 5.0), 0.0, math.pi, 0.0, 4.0, 1e-7
    ).Face()
    explorer = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_EDGE)
    edge = TopoDS.Edge(explorer.Current())
    BRep_Builder().UpdateEdge(edge, None, 1e-7)
    assert BRep_Tool.Curve_s(edge, 0.0, 1.0) is None
    m = kernel.from_shape(face, walls=True)

    assert all(e.curve is not None for e in m.edges)
    assert any("without a curve in space" in line for line in m.healing)
    assert m.gap < 1e-6


def test_describe() -> None:
    d = brep.describe(
        kernel.from_shape(cq.Workplane().cylinder(20, 5).faces(">Z").edges().fillet(1), name="peg")
    )

    assert d.printable
    assert d.size == pytest.approx((10, 10, 20), abs=1e-9)
    assert d.kinds == {"plane": 2, "cylinder": 1, "torus": 1}
    # Pappus: a cylinder less the corner a fillet takes off, whose centroid lies (10 - 3 pi)/(12 - 3 pi) in.
    corner = (1 - math.pi / 4) * 2 * math.pi * (5 - (10 - 3 * math.pi) / (12 - 3 * math.pi))
    assert d.volume == pytest.approx(500 * math.pi - corner, rel=1e-9)
    assert sum(f.area for f in d.faces) == pytest.approx(d.area, rel=1e-12)
    assert {f.solid for f in d.faces} == {0}


def test_an_edge_inside_a_face_is_left_out_and_counted() -> None:
    face = TopoDS.Face(cq.Workplane().rect(10, 10).extrude(1).faces(">Z").val().wrapped)
    wire = TopoDS.Wire(BRepTools.OuterWire_s(face))
    line = cq.Edge.makeLine(cq.Vector(-2, 0, 1), cq.Vector(2, 0, 1)).wrapped
    wire.Free(True)
    BRep_Builder().Add(wire, line.Oriented(TopAbs_Orientation.TopAbs_INTERNAL))
    m = kernel.from_shape(face, walls=True)

    assert len(m.edges) == 4
    assert any("inside a face" in line for line in m.healing)


def test_an_edge_without_a_trace_is_projected() -> None:
    face = BRepBuilderAPI_MakeFace(
        Geom_CylindricalSurface(gp_Ax3(), 5.0), 0.0, math.pi, 0.0, 4.0, 1e-7
    ).Face()
    explorer = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_EDGE)
    edge = TopoDS.Edge(explorer.Current())
    BRepLib.BuildCurve3d_s(edge)
    BRep_Builder().UpdateEdge(edge, None, face, 1e-7)
    assert BRep_Tool.CurveOnSurface_s(edge, face, 0.0, 1.0) is None
    m = kernel.from_shape(face, walls=True)

    assert any("projected onto it" in line for line in m.healing)
    assert m.gap < 1e-9
    for coedge in m.faces[0].wires[0]:
        ends = m.vertices[list(m.edges[coedge.edge].vertices)]
        p = brep.surface_points(m.faces[0].surface, coedge.uv)[[0, -1]]
        assert np.abs(p - (ends if coedge.forward else ends[::-1])).max() < 1e-9
