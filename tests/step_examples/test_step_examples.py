"""The example parts: reproducible, small, valid, and what their table says they are."""

import subprocess
import sys
from itertools import pairwise
from math import pi
from pathlib import Path

import numpy as np
import pytest
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.BRepGProp import BRepGProp
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector
from OCP.ShapeAnalysis import ShapeAnalysis_FreeBounds
from OCP.STEPControl import STEPControl_Reader
from OCP.TColStd import TColStd_SequenceOfAsciiString
from OCP.TopAbs import TopAbs_ShapeEnum, TopAbs_State
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS
from scipy.interpolate import BSpline

FOLDER = Path(__file__).parents[2] / "step_examples"

# stem: unit, solids, faces, volume in mm3 by closed form (None where there is none)
PARTS = {
    "hatch_cover_mould": ("millimetre", 1, 16, None),
    "tender_hull": ("millimetre", 1, 7, None),
    "tender_hull_surface": ("millimetre", 0, 3, None),
    "turned_bollard": ("millimetre", 1, 3, "bollard"),
    "planing_fixture": ("millimetre", 1, 73, None),
    "quay_bench": (
        "millimetre",
        6,
        36,
        1300 * 360 * 25.2
        + 2 * 25.2 * 360 * 420
        + 1174.8 * 330 * 16.8
        + 1174.8 * 8.4 * 110
        + 16.8 * 330 * 283.2,
    ),
    # plates less seven holes
    "saw_jig_inch": (
        "INCH",
        1,
        17,
        25.4**3 * (24 * 12 + 24 * 0.75 * 15 - 4 * pi * 0.5**2 - 3 * pi * 0.75),
    ),
    # each a box less the segment of a circle of radius 180 whose centre is 70 above its top
    "cradle_chocks": (
        "millimetre",
        2,
        16,
        2 * 140 * (500 * 260 - (180**2 * np.arccos(70 / 180) - 70 * np.sqrt(180**2 - 70**2))),
    ),
    # a plate and half a truncated cone
    "mast_plug": ("millimetre", 1, 10, 6000 * 320 * 30 + pi / 6 * 6000 * (110**2 + 110 * 60 + 60**2)),
}


def bollard_volume():
    """pi times the integral of r^2 dz, a polynomial of degree 8 in each span, by 5 Gauss points."""
    poles = np.array(
        [
            (160, 0),
            (165, 60),
            (120, 150),
            (70, 330),
            (85, 560),
            (150, 700),
            (175, 790),
            (140, 880),
            (90, 900),
        ],
        dtype=float,
    )
    inner = np.linspace(0, 1, 7)
    spline = BSpline(np.concatenate(([0] * 3, inner, [1] * 3)), poles, 3)
    slope = spline.derivative()
    x, w = np.polynomial.legendre.leggauss(5)
    total = 0.0
    for a, b in pairwise(inner):
        t = 0.5 * (a + b) + 0.5 * (b - a) * x
        total += 0.5 * (b - a) * float(np.sum(w * spline(t)[:, 0] ** 2 * slope(t)[:, 1]))
    return pi * total


def read(stem):
    """Shape in mm and the unit of the file, by the kernel's plain reader."""
    reader = STEPControl_Reader()
    assert reader.ReadFile(str(FOLDER / f"{stem}.step")) == IFSelect_ReturnStatus.IFSelect_RetDone
    names = [TColStd_SequenceOfAsciiString() for _ in range(3)]
    reader.FileUnits(*names)
    reader.TransferRoots()
    units = {names[0].Value(i).ToCString() for i in range(1, names[0].Length() + 1)}
    assert len(units) == 1
    return reader.OneShape(), units.pop()


def parts(shape, kind):
    found = []
    explorer = TopExp_Explorer(shape, kind)
    while explorer.More():
        found.append(explorer.Current())
        explorer.Next()
    return found


def volume(shape):
    props = GProp_GProps()
    BRepGProp.VolumePropertiesGK_s(shape, props, 1e-10)
    return props.Mass()


def test_script_reproduces_the_files(tmp_path):
    subprocess.run([sys.executable, FOLDER / "make.py", tmp_path], check=True, capture_output=True)
    made = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    kept = {path.name: path.read_bytes() for path in FOLDER.glob("*.step")}
    assert made.keys() == kept.keys() == {f"{stem}.step" for stem in PARTS}
    assert [name for name in kept if made[name] != kept[name]] == []


@pytest.mark.parametrize("stem", PARTS)
def test_part_is_what_its_table_says(stem):
    unit, n_solids, n_faces, expected = PARTS[stem]
    assert (FOLDER / f"{stem}.step").stat().st_size < 1_000_000
    shape, found = read(stem)
    assert found == unit
    assert BRepCheck_Analyzer(shape, True).IsValid()
    solids = parts(shape, TopAbs_ShapeEnum.TopAbs_SOLID)
    assert len(solids) == n_solids
    assert len(parts(shape, TopAbs_ShapeEnum.TopAbs_FACE)) == n_faces
    for solid in solids:
        assert volume(solid) > 0
        outside = BRepClass3d_SolidClassifier(solid)
        outside.PerformInfinitePoint(1e-6)
        assert outside.State() == TopAbs_State.TopAbs_OUT
        assert parts(ShapeAnalysis_FreeBounds(solid).GetOpenWires(), TopAbs_ShapeEnum.TopAbs_EDGE) == []
    if expected is not None:
        exact = bollard_volume() if expected == "bollard" else expected
        # Gauss-Kronrod: the plain Gauss rule stops 6e-9 away on the spline of revolution
        assert sum(map(volume, solids)) == pytest.approx(exact, rel=1e-9)


def test_fixture_is_of_analytic_kinds_only():
    shape, _ = read("planing_fixture")
    kinds = {
        BRepAdaptor_Surface(TopoDS.Face_s(f)).GetType() for f in parts(shape, TopAbs_ShapeEnum.TopAbs_FACE)
    }
    assert kinds == {
        GeomAbs_SurfaceType.GeomAbs_Plane,
        GeomAbs_SurfaceType.GeomAbs_Cylinder,
        GeomAbs_SurfaceType.GeomAbs_Cone,
        GeomAbs_SurfaceType.GeomAbs_Torus,
        GeomAbs_SurfaceType.GeomAbs_Sphere,
    }


def test_open_hull_has_one_open_shell():
    shape, _ = read("tender_hull_surface")
    shells = parts(shape, TopAbs_ShapeEnum.TopAbs_SHELL)
    assert len(shells) == 1
    assert not shells[0].Closed()


def test_hull_wall_is_about_25():
    """Straight through the bottom, the sides and the ends, by the kernel's ray."""
    shape, _ = read("tender_hull")
    rays = IntCurvesFace_ShapeIntersector()
    rays.Load(shape, 1e-7)
    for at, way in (((0, 0, 560), (0, 0, -1)), ((0, 0, 480), (0, 1, 0)), ((0, 0, 480), (1, 0, 0))):
        rays.Perform(gp_Lin(gp_Pnt(*at), gp_Dir(*way)), 1.0, 3000.0)
        hits = sorted(rays.WParameter(i) for i in range(1, rays.NbPnt() + 1))
        assert len(hits) == 2
        assert hits[1] - hits[0] == pytest.approx(25.0, abs=2.5)


def test_files_tell_no_clock_host_or_folder():
    for path in FOLDER.glob("*.step"):
        text = path.read_text("ascii")
        assert f"FILE_NAME('{path.name}','2026-01-01T00:00:00'" in text
        assert "FILE_SCHEMA(('AUTOMOTIVE_DESIGN" in text
        for word in ("LOCAL_TIME", "CALENDAR_DATE", "PERSON(", "ORGANIZATION(", "/tmp", "/home"):
            assert word not in text


def test_names_and_colours_are_in_the_text():
    mould = (FOLDER / "hatch_cover_mould.step").read_text("ascii")
    for name in ("tool_face_aft", "tool_face_fore", "base"):
        assert f"ADVANCED_FACE('{name}'" in mould
    assert "COLOUR_RGB" in mould
    # a styled item of its own for the solid and each of the three faces
    assert mould.count("= STYLED_ITEM(") + mould.count("= OVER_RIDING_STYLED_ITEM(") == 4
    fixture = (FOLDER / "planing_fixture.step").read_text("ascii")
    assert "ADVANCED_FACE('ball_seat'" in fixture
    assert "ADVANCED_FACE('pocket_floor'" in fixture
    bench = (FOLDER / "quay_bench.step").read_text("ascii")
    for name in ("seat", "end_left", "end_right", "shelf", "back_rail", "divider"):
        assert f"PRODUCT('{name}'" in bench
