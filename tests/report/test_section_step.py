"""The STEP of a section read back by the kernel: kinds, places and areas."""

from itertools import pairwise

import numpy as np
import pytest
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.GeomAbs import GeomAbs_CurveType
from OCP.gp import gp_Pnt, gp_Vec
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.STEPControl import STEPControl_Reader
from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from beadwright.report import write_step
from tests.report._sections import flange, mixed


def edges(path):
    reader = STEPControl_Reader()
    assert reader.ReadFile(str(path)) == IFSelect_ReturnStatus.IFSelect_RetDone
    reader.TransferRoots()
    found = []
    explorer = TopExp_Explorer(reader.OneShape(), TopAbs_ShapeEnum.TopAbs_EDGE)
    while explorer.More():
        found.append(TopoDS.Edge_s(explorer.Current()))
        explorer.Next()
    return found


def green(edge):
    """Share of an edge in the area, by Gauss points on the kernel's curve."""
    curve = BRepAdaptor_Curve(edge)
    x, w = np.polynomial.legendre.leggauss(16)
    knots = np.linspace(curve.FirstParameter(), curve.LastParameter(), 25)
    total = 0.0
    for a, b in pairwise(knots):
        for t, share in zip((a + b) / 2 + (b - a) / 2 * x, w * (b - a) / 2, strict=True):
            p, v = gp_Pnt(), gp_Vec()
            curve.D1(t, p, v)
            total += share * (p.X() * v.Y() - p.Y() * v.X()) / 2
    return -total if edge.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else total


@pytest.mark.parametrize(("build", "height"), [(flange, 120.0), (mixed, 42.5)])
def test_area_and_height_come_back(tmp_path, build, height):
    loops, area = build()
    path = write_step(tmp_path / "s.step", loops, height).path
    found = edges(path)
    assert len(found) == len(loops.kind)
    # Gauss points on 24 panels a curve; a knot inside a panel costs a few digits
    assert sum(map(green, found)) == pytest.approx(area, rel=1e-9)
    assert all(
        abs(BRepAdaptor_Curve(e).Value(BRepAdaptor_Curve(e).FirstParameter()).Z() - height) < 1e-9
        for e in found
    )


def test_circles_stay_circles(tmp_path):
    loops, _ = flange()
    told = write_step(tmp_path / "s.step", loops, 120.0)
    assert told.entities == {"line": 2, "circle": 4, "ellipse": 1}
    radii = [
        BRepAdaptor_Curve(e).Circle().Radius()
        for e in edges(told.path)
        if BRepAdaptor_Curve(e).GetType() == GeomAbs_CurveType.GeomAbs_Circle
    ]
    assert sorted(radii) == pytest.approx([30.0, 40.0, 40.0, 500.0], abs=1e-12)


def test_same_bytes(tmp_path):
    loops, _ = mixed()
    one, two = (write_step(tmp_path / f"{k}.step", loops, 1.0).path.read_bytes() for k in (1, 2))
    assert one == two
