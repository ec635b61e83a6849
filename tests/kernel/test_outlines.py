"""Arcs that a file lets run the long way round, and outlines that do not come back."""

from __future__ import annotations

import re
from math import asin, inf, nan, sin
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest
from OCP.BRep import BRep_Builder
from OCP.Geom import Geom_CylindricalSurface, Geom_Plane
from OCP.Geom2d import Geom2d_Line
from OCP.gp import gp_Ax3, gp_Dir2d, gp_Pnt2d
from OCP.ShapeFix import ShapeFix_Edge
from OCP.TopAbs import TopAbs_Orientation
from OCP.TopoDS import TopoDS_Edge, TopoDS_Face

from beadwright import kernel
from beadwright.errors import StepError

# A block of 60 x 30 x 20 mm with a bite of 40 mm chord and 5 mm depth: a segment of a circle.
RADIUS = (20.0**2 + 5.0**2) / (2.0 * 5.0)
TURN = 2.0 * asin(20.0 / RADIUS)
VOLUME = 20.0 * (60.0 * 30.0 - 0.5 * RADIUS**2 * (TURN - sin(TURN)))


def bitten(tmp_path: Path) -> str:
    outline = cq.Workplane().lineTo(60, 0).lineTo(60, 30).lineTo(50, 30)
    path = tmp_path / "bitten.step"
    cq.exporters.export(
        outline.threePointArc((30, 25), (10, 30)).lineTo(0, 30).close().extrude(20), str(path)
    )
    return path.read_text()


def arcs(text: str) -> list[str]:
    """The file's edges on circles."""
    rows = dict(re.findall(r"(#\d+) = ([A-Z_]+\('[^']*',#\d+)", text))
    found = []
    for name, curve in re.findall(r"(#\d+) = EDGE_CURVE\('',#\d+,#\d+,(#\d+),", text):
        if rows[rows[curve].split(",")[-1]].startswith("CIRCLE"):
            found.append(name)
    return found


def test_an_arc_the_long_way_round_is_turned_back(tmp_path: Path) -> None:
    text = bitten(tmp_path)
    edges = arcs(text)
    assert len(edges) == 2
    # Its sense against the circle reversed, its ends left: now it is the rest of the circle (ISO 10303-42, edge_curve).
    wrong, count = re.subn(rf"({edges[1]} = EDGE_CURVE\([^;]*)\.T\.", r"\1.F.", text)
    assert count == 1
    path = tmp_path / "long.step"
    path.write_text(wrong)

    model = kernel.read_step(path)

    assert sum("long way round" in line for line in model.healing) == 1
    assert model.findings == ()
    assert model.box == pytest.approx(np.array([[0, 0, 0], [60, 30, 20]], dtype=float), abs=1e-9)
    assert model.volume == pytest.approx(VOLUME, rel=1e-9)


def test_sound_arcs_stay(tmp_path: Path) -> None:
    bitten(tmp_path)
    model = kernel.read_step(tmp_path / "bitten.step")

    assert model.healing == () == model.findings
    assert model.volume == pytest.approx(VOLUME, rel=1e-9)


def wall_with_one_rim() -> tuple[TopoDS_Face, TopoDS_Edge]:
    """The wall of a cylinder whose one rim is missing, and the other."""
    whole = cq.Workplane().cylinder(10.0, 5.0).faces("%CYLINDER").val()
    edge = next(e for e in whole.Edges() if e.geomType() == "CIRCLE")
    rim = cq.Wire.assembleEdges([edge]).wrapped
    face = TopoDS_Face()
    builder = BRep_Builder()
    builder.MakeFace(face, Geom_CylindricalSurface(gp_Ax3(), 5.0), 1e-7)
    builder.Add(face, rim.Oriented(TopAbs_Orientation.TopAbs_FORWARD))
    ShapeFix_Edge().FixAddPCurve(edge.wrapped, face, False)
    return face, edge.wrapped


def test_an_outline_that_goes_round_and_does_not_come_back_is_told() -> None:
    # The rim that is there goes round once.
    face, _ = wall_with_one_rim()

    model = kernel.from_shape(face, walls=True)

    told = [f for f in model.findings if f.code == "outline-open"]
    assert [(f.face, f.measured, f.unit) for f in told] == [(0, 1.0, "turns")]


@pytest.mark.parametrize("place", [nan, inf])
def test_an_outline_through_what_is_no_number_is_refused_by_face(place: float) -> None:
    face, edge = wall_with_one_rim()
    line = Geom2d_Line(gp_Pnt2d(place, 0.0), gp_Dir2d(1.0, 0.0))
    BRep_Builder().UpdateEdge(edge, line, face, 1e-7)

    with pytest.raises(
        StepError, match=r"^shape: face 0 of a solid or surface: .* no numbers; .* export it again"
    ):
        kernel.from_shape(face, walls=True)


def test_a_face_without_an_outline_on_a_surface_without_end_is_refused() -> None:
    face = TopoDS_Face()
    BRep_Builder().MakeFace(face, Geom_Plane(gp_Ax3()), 1e-7)

    with pytest.raises(StepError, match="face 0 of shape: it has no outline and its surface no end"):
        kernel.from_shape(face, walls=True)
