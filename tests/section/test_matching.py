"""Segments that do not simply pair up: a surface that ends too soon, an edge that four faces use."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from beadwright import brep, kernel, section
from beadwright.curves import CurveKind, chain_measures

cq = pytest.importorskip("cadquery")
BUMP = 20.0


def scalloped() -> brep.Model:
    """A face whose straight lower edge bridges the bump of its surface's own border.

    S(u, v) = (100 u, 50 v, 50 v + 4 b u (1 - u)), b = 20: at z below b the section runs out over the border
    v = 0 and back in, but the edge that the file gives lies at z = 0 and is not met.
    """
    u = np.array([0.0, 50.0, 100.0])
    rise = np.array([0.0, 2.0 * BUMP, 0.0])
    poles = np.stack(
        [np.column_stack((u, np.full(3, 50.0 * v), rise + 50.0 * v)) for v in (0.0, 1.0)], axis=1
    )
    surface = brep.SplineSurface(
        degree=(2, 1),
        knots_u=np.repeat([0.0, 1.0], 3),
        knots_v=np.repeat([0.0, 1.0], 2),
        poles=poles,
        weights=np.ones((3, 2)),
    )
    corners = np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [100.0, 50.0, 50.0], [0.0, 50.0, 50.0]])
    places = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    edges, wire = [], []
    for i in range(4):
        j = (i + 1) % 4
        way = corners[j] - corners[i]
        size = float(np.linalg.norm(way))
        line = brep.Line3(origin=corners[i], direction=way / size)
        edges.append(brep.Edge(curve=line, start=0.0, end=size, vertices=(i, j)))
        wire.append(brep.Coedge(edge=i, forward=True, uv=places[[i, j]]))
    face = brep.Face(
        id=0,
        surface=surface,
        outward=True,
        wires=(tuple(wire),),
        uv_box=np.array([[0.0, 0.0], [1.0, 1.0]]),
        kind="spline",
    )
    return brep.Model(
        file="scalloped",
        sha256="",
        unit="millimetre",
        schema="",
        vertices=corners,
        edges=tuple(edges),
        faces=(face,),
        shells=(brep.Shell(faces=(0,), closed=False),),
        solids=(),
        box=np.array([[0.0, 0.0, 0.0], [100.0, 50.0, 70.0]]),
        area=0.0,
        volume=0.0,
        gap=BUMP,
    )


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("z", [10.0, 15.0])
def test_a_curve_that_leaves_its_surface_runs_on_where_it_comes_back(z: float, turned: bool) -> None:
    model = scalloped()
    if turned:  # half a turn about z: the same heights, another order of everything
        model = brep.placed(model, np.array([[-1.0, 0, 0, 0], [0, -1.0, 0, 0], [0, 0, 1.0, 0]]))

    (found,) = section.cut(section.prepare(model), [z])

    # 4 b u (1 - u) = z at u = 1/2 -+ sqrt(1 - z / b) / 2: the connector is as long as the curve is out
    gap = 100.0 * math.sqrt(1.0 - z / BUMP)
    assert found.counters == section.Counters(run_on=1)
    assert found.model == pytest.approx(gap, rel=1e-9)
    assert [int(k) for k in found.loops.kind] == [CurveKind.LEVEL, CurveKind.CONNECTOR, CurveKind.LEVEL]
    bridge = found.loops.ends[1]
    assert np.abs(np.sort(np.abs(bridge[[0, 2]])) - (50.0 - gap / 2, 50.0 + gap / 2)).max() < 1e-6
    assert np.abs(bridge[[1, 3]]).max() < 1e-6
    assert not found.loops.closed.any()


def test_above_the_bump_the_curve_stays_on_its_surface() -> None:
    (found,) = section.cut(section.prepare(scalloped()), [30.0])

    assert found.counters == section.Counters()
    assert found.model == 0.0
    assert {int(k) for k in found.loops.kind} == {CurveKind.LEVEL}


def welded(big: object, small: object) -> brep.Model:
    """Two bodies as one shell, sharing the upright edge at the origin, which four faces then use."""
    model = kernel.from_shape(cq.Compound.makeCompound([big, small]))
    upright = [
        row
        for row, edge in enumerate(model.edges)
        if edge.curve is not None and all(np.hypot(*model.vertices[v, :2]) < 1e-9 for v in edge.vertices)
    ]
    kept, gone = upright
    rises = [model.vertices[model.edges[e].vertices[1], 2] > 20.0 for e in (kept, gone)]
    faces = tuple(
        replace(
            face,
            wires=tuple(
                tuple(
                    replace(use, edge=kept, forward=use.forward == (rises[0] == rises[1]))
                    if use.edge == gone
                    else use
                    for use in wire
                )
                for wire in face.wires
            ),
        )
        for face in model.faces
    )
    shell = brep.Shell(faces=tuple(range(len(faces))), closed=True, solid=0)
    solid = replace(model.solids[0], shells=(0,))
    return replace(model, faces=faces, shells=(shell,), solids=(solid,))


def test_an_edge_that_four_faces_use_parts_the_bodies_by_angle() -> None:
    # The big body leaves the shared edge at 60 degrees along half a circle about (43.3, -25), which comes down
    # behind the small body: its chord points to -30 degrees, below the small body between 10 and 40 degrees.
    c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
    centre = np.array([50 * c, -50 * s])
    top = centre + 50 * np.array([s, c])
    big = (
        cq.Workplane()
        .moveTo(150, 150)  # neither body's first face touches the shared edge
        .lineTo(-100 * c, 150)
        .lineTo(-100 * c, 100 * s)
        .lineTo(0, 0)
        .threePointArc(tuple(top), tuple(2 * centre))
        .lineTo(150, -50)
        .close()
        .extrude(40)
        .val()
    )
    corners = [(20 * math.cos(math.radians(a)), 20 * math.sin(math.radians(a))) for a in (10, 40)]
    small = cq.Workplane().polyline([*corners, (0, 0)]).close().extrude(40).val()

    (found,) = section.cut(section.prepare(welded(big, small)), [15.0])

    # half of the circle lies inside the polygon's outline; shoelace of the polygon
    outline = np.array([(0, 0), 2 * centre, (150, -50), (150, 150), (-100 * c, 150), (-100 * c, 100 * s)])
    x, y = outline.T
    polygon = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    triangle = 0.5 * 20.0 * 20.0 * math.sin(math.radians(30))
    areas = sorted(float(a) for a in chain_measures(found.loops)[0])
    assert found.loops.closed.all()
    assert areas == pytest.approx([triangle, polygon - math.pi * 50.0**2 / 2], rel=1e-9)
