"""A face that cannot be cut: an error by name, or somebody else's curve, counted and bounded."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from beadwright import brep, kernel, section
from beadwright.curves import CurveKind, chain_measures
from beadwright.errors import GeometryError
from beadwright.section import _cut
from beadwright.section._free_branches import FreeFaceError

cq = pytest.importorskip("cadquery")
RADIUS, HALF = 50.0, 40.0


@pytest.fixture(scope="module")
def rod() -> brep.Model:
    """Half a rod along x as exact splines, so that its round side is a free-form face."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

    shape = cq.Workplane("YZ").circle(RADIUS).extrude(HALF, both=True).val()
    return kernel.from_shape(cq.Shape.cast(BRepBuilderAPI_NurbsConvert(shape.wrapped).Shape()))


@pytest.fixture
def refusing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every free-form face refuses planes above 10."""
    real = _cut.free_branches

    def refuse(packed: object, heights: np.ndarray) -> object:
        if (np.asarray(heights) > 10.0).any():
            raise FreeFaceError("refused on purpose")
        return real(packed, heights)  # type: ignore[arg-type]

    monkeypatch.setattr(_cut, "free_branches", refuse)


def test_without_a_fallback_the_face_is_named(rod: brep.Model, refusing: None) -> None:
    cutter = section.prepare(rod)
    assert cutter.free

    with pytest.raises(GeometryError, match=r"face \d+ \(.*\) cannot be cut at z = 20\.000000 mm"):
        section.cut(cutter, [0.5, 20.0])


def test_the_kernels_curve_takes_its_place(rod: brep.Model, refusing: None) -> None:
    cutter = section.prepare(rod)

    low, high = section.cut(
        cutter, [0.5, 20.0], fallback=lambda face, z: kernel.face_section(rod, cutter.outline[face].id, z)
    )

    assert low.fallbacks == 0
    assert not low.notes
    assert high.fallbacks >= 1
    assert len(high.notes) == high.fallbacks
    for found, z in ((low, 0.5), (high, 20.0)):
        areas, lengths = chain_measures(found.loops)
        assert found.loops.closed.all()
        assert found.counters.unmatched == 0
        # a rectangle, 2 sqrt(R^2 - z^2) wide
        expected = 2.0 * HALF * 2.0 * math.sqrt(RADIUS**2 - z * z)
        room = (found.bound + found.model) * float(lengths.sum()) + 1e-9 * expected
        assert abs(float(areas.sum()) - expected) <= room
        assert found.bound <= 2e-3
    assert CurveKind.LINE in set(high.loops.kind.tolist())


def test_whole_rings_keep_material_on_the_left(refusing: None) -> None:
    """A vertical spline tube: two closed curves; the bore's runs clockwise."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

    shape = cq.Workplane().circle(RADIUS).circle(20.0).extrude(HALF).val()
    tube = kernel.from_shape(cq.Shape.cast(BRepBuilderAPI_NurbsConvert(shape.wrapped).Shape()))
    cutter = section.prepare(tube)

    (found,) = section.cut(
        cutter, [20.0], fallback=lambda face, z: kernel.face_section(tube, cutter.outline[face].id, z)
    )

    areas, lengths = chain_measures(found.loops)
    assert found.fallbacks == 2
    assert sorted(np.sign(areas)) == [-1.0, 1.0]
    # an annulus; chords lie inside both circles by at most the bound
    assert float(areas.sum()) == pytest.approx(
        math.pi * (RADIUS**2 - 20.0**2), abs=(found.bound + found.model) * float(lengths.sum())
    )


def test_planes_without_any_node() -> None:
    """A sphere as one face without edges: no edge meets any plane."""
    frame = brep.Frame(origin=np.zeros(3), axes=np.eye(3))
    face = brep.Face(
        id=0,
        surface=brep.SphereSurface(frame=frame, radius=100.0),
        outward=True,
        wires=(),
        uv_box=np.array([[0.0, -0.5 * math.pi], [2.0 * math.pi, 0.5 * math.pi]]),
        kind="sphere",
    )
    ball = brep.Model(
        file="ball",
        sha256="",
        unit="mm",
        schema="",
        vertices=np.zeros((0, 3)),
        edges=(),
        faces=(face,),
        shells=(brep.Shell(faces=(0,), closed=True, solid=0),),
        solids=(brep.Solid(name="", colour="", volume=0.0, shells=(0,)),),
        box=np.array([[-100.0] * 3, [100.0] * 3]),
        area=0.0,
        volume=0.0,
        gap=0.0,
    )

    found = section.cut(section.prepare(ball), [0.0, 60.0, 150.0])

    # pi (R^2 - z^2), nothing beside the ball
    assert [float(chain_measures(s.loops)[0].sum()) for s in found] == pytest.approx(
        [math.pi * 1e4, math.pi * 6400.0, 0.0], rel=1e-9
    )


def test_the_hull_of_the_examples_closes_everywhere() -> None:
    path = Path(__file__).resolve().parents[2] / "step_examples" / "tender_hull.step"
    cutter = section.prepare(kernel.read_step(path))
    low, high = cutter.z_range

    for found in section.cut(cutter, np.linspace(low, high, 13)[1:-1]):
        assert found.loops.closed.all()
        assert found.loops.n_chains >= 1
        assert found.counters.unmatched == 0
