"""A face that goes through its own axis may stand for one of two sheets: told, since a file need not say which."""

from math import pi
from pathlib import Path

import cadquery as cq
import pytest

from beadwright import kernel


def lens() -> cq.Workplane:
    """A lemon, 160 high and 80 thick: the arc, r 100 about (-60, 0), bulges to x = 40, turned about Z."""
    return (
        cq.Workplane("XZ").moveTo(0, -80).threePointArc((40, 0), (0, 80)).close().revolve(360, (0, 0), (0, 1))
    )


def test_a_lemon_whose_file_says_only_a_point_of_it_is_told(tmp_path: Path) -> None:
    cq.exporters.export(lens(), str(tmp_path / "lemon.step"))
    # the premise: the one bound of its one face is a vertex, and the profile in the file is the whole circle
    text = (tmp_path / "lemon.step").read_text()
    assert text.count("VERTEX_LOOP") == 1 == text.count("SURFACE_OF_REVOLUTION")

    model = kernel.read_step(tmp_path / "lemon.step")

    told = [f for f in model.findings if f.code == "through-axis"]
    assert [(f.face, f.level) for f in told] == [(0, "warning")]
    # the profile crosses the axis at z = +-sqrt(100^2 - 60^2), wherever the placement put the axis
    assert told[0].at_mm is not None
    assert abs(told[0].at_mm[2]) == pytest.approx(80.0, abs=0.1)
    # what came is another solid than was drawn: Pappus, 2 pi R pi r^2 with a circle about (60, 0)
    assert model.volume == pytest.approx(2 * pi * 60.0 * pi * 100.0**2, rel=1e-9)


def test_a_spindle_torus_with_both_sheets_is_told() -> None:
    whole = cq.Workplane(cq.Solid.makeTorus(50.0, 100.0))

    assert [f.code for f in kernel.from_shape(whole).findings if f.code == "through-axis"] == ["through-axis"]


@pytest.mark.parametrize(
    "sound",
    [
        lens(),
        cq.Workplane().sphere(50.0),
        cq.Workplane(cq.Solid.makeTorus(100.0, 50.0)),
        cq.Workplane(cq.Solid.makeCone(40.0, 0.0, 60.0)),
        cq.Workplane("XZ").moveTo(0, 0).spline([(60, 40), (0, 100)], includeCurrent=True).close().revolve(),
    ],
    ids=["lemon as drawn", "sphere", "ring", "cone", "spline that starts and ends on its axis"],
)
def test_profiles_that_only_touch_their_axis_are_sound(sound: cq.Workplane) -> None:
    assert [f for f in kernel.from_shape(sound).findings if f.code == "through-axis"] == []
