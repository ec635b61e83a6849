"""The shapes of the examples: each a function of nothing, in mm."""

from math import cos, pi, sin

import cadquery as cq
import numpy as np
from OCP.BRep import BRep_Builder
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakeWire,
    BRepBuilderAPI_Sewing,
)
from OCP.BRepLib import BRepLib
from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
from OCP.Geom import Geom_BSplineCurve, Geom_BSplineSurface
from OCP.gp import gp_Ax1, gp_Dir, gp_Pln, gp_Pnt
from OCP.TColgp import TColgp_Array1OfPnt, TColgp_Array2OfPnt
from OCP.TColStd import TColStd_Array1OfInteger, TColStd_Array1OfReal
from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

DEGREE = 3

BOLLARD_PROFILE = (
    (160.0, 0.0),
    (165.0, 60.0),
    (120.0, 150.0),
    (70.0, 330.0),
    (85.0, 560.0),
    (150.0, 700.0),
    (175.0, 790.0),
    (140.0, 880.0),
    (90.0, 900.0),
)
"""Poles (radius, height) of the bollard's clamped cubic profile with evenly spaced knots, mm."""


def even_knots(n_poles):
    """Knots and multiplicities of a clamped cubic with evenly spaced knots from 0 to 1."""
    spans = n_poles - DEGREE
    knots = [k / spans for k in range(spans + 1)]
    return knots, [DEGREE + 1] + [1] * (spans - 1) + [DEGREE + 1]


def greville(n_poles):
    """Where the poles of such a spline stand, so that a coordinate with them as poles runs evenly."""
    knots, counts = even_knots(n_poles)
    flat = np.repeat(knots, counts)
    return [float(flat[i + 1 : i + 1 + DEGREE].mean()) for i in range(n_poles)]


def _reals(values):
    array = TColStd_Array1OfReal(1, len(values))
    for i, value in enumerate(values, 1):
        array.SetValue(i, value)
    return array


def _integers(values):
    array = TColStd_Array1OfInteger(1, len(values))
    for i, value in enumerate(values, 1):
        array.SetValue(i, value)
    return array


def spline_surface(poles):
    """Bicubic B-spline surface of a grid of poles (n, m, 3)."""
    n, m = len(poles), len(poles[0])
    grid = TColgp_Array2OfPnt(1, n, 1, m)
    for i in range(n):
        for j in range(m):
            grid.SetValue(i + 1, j + 1, gp_Pnt(*(float(c) for c in poles[i][j])))
    (ku, mu), (kv, mv) = even_knots(n), even_knots(m)
    return Geom_BSplineSurface(
        grid, _reals(ku), _reals(kv), _integers(mu), _integers(mv), DEGREE, DEGREE, False, False
    )


def _edge(curve):
    return BRepBuilderAPI_MakeEdge(curve).Edge()


def _line(a, b):
    return BRepBuilderAPI_MakeEdge(gp_Pnt(*a), gp_Pnt(*b)).Edge()


def _wire(edges):
    make = BRepBuilderAPI_MakeWire()
    for edge in edges:
        make.Add(edge)
    return make.Wire()


def _spline_face(surface):
    return BRepBuilderAPI_MakeFace(surface, 1e-7).Face()


def _flat_face(origin, normal, *loops):
    """Plane face with loops of edges, the first of them the outer one."""
    face = cq.Wire(_wire(loops[0]))
    inner = [cq.Wire(_wire(edges)) for edges in loops[1:]]
    made = BRepBuilderAPI_MakeFace(gp_Pln(gp_Pnt(*origin), gp_Dir(*normal)), face.wrapped, True)
    for wire in inner:
        made.Add(wire.wrapped)
    fixed = cq.Face(made.Face()).fix()
    return fixed.wrapped


def _sewn(faces):
    """One shell of faces whose edges lie on each other."""
    sewing = BRepBuilderAPI_Sewing(1e-4)
    for face in faces:
        sewing.Add(face)
    sewing.Perform()
    shape = sewing.SewedShape()
    if not isinstance(shape, TopoDS_Shell):
        shape = cq.Shape.cast(shape).Shells()[0].wrapped
    return shape


def _solid(faces):
    solid = TopoDS_Solid()
    builder = BRep_Builder()
    builder.MakeSolid(solid)
    builder.Add(solid, _sewn(faces))
    BRepLib.OrientClosedSolid_s(solid)
    return cq.Solid(solid)


def hatch_cover_mould():
    """Hollow block, 1600 x 900 x about 450, with a doubly curved face on top in two patches."""
    length, width = 1600.0, 900.0
    us, vs = greville(11), greville(8)

    def height(u, v):
        crown = 55.0 * sin(pi * u) * sin(pi * v)
        sheer = 45.0 * (u - 0.4) ** 2 / 0.36
        swell = 14.0 * sin(2.0 * pi * u + 0.6) * cos(pi * (v - 0.35))
        return 378.0 + crown + sheer + swell

    poles = [[(length * (u - 0.5), width * (v - 0.5), height(u, v)) for v in vs] for u in us]
    aft, fore = spline_surface(poles), spline_surface(poles)
    aft.Segment(0.0, 0.5, 0.0, 1.0)
    fore.Segment(0.5, 1.0, 0.0, 1.0)
    x, y = length / 2, width / 2

    def top(surface, u, v):
        p = surface.Value(u, v)
        return p.X(), p.Y(), p.Z()

    corners = {
        (-x, -y): top(aft, 0, 0),
        (-x, y): top(aft, 0, 1),
        (x, -y): top(fore, 1, 0),
        (x, y): top(fore, 1, 1),
    }
    up = {key: _line((*key, 0.0), value) for key, value in corners.items()}
    bottom = {
        "port": _line((-x, y, 0), (x, y, 0)),
        "starboard": _line((-x, -y, 0), (x, -y, 0)),
        "aft": _line((-x, -y, 0), (-x, y, 0)),
        "fore": _line((x, -y, 0), (x, y, 0)),
    }
    faces = [
        _spline_face(aft),
        _spline_face(fore),
        _flat_face(
            (0, -y, 0),
            (0, -1, 0),
            [bottom["starboard"], up[x, -y], _edge(fore.VIso(0.0)), _edge(aft.VIso(0.0)), up[-x, -y]],
        ),
        _flat_face(
            (0, y, 0),
            (0, 1, 0),
            [bottom["port"], up[x, y], _edge(fore.VIso(1.0)), _edge(aft.VIso(1.0)), up[-x, y]],
        ),
        _flat_face((-x, 0, 0), (-1, 0, 0), [bottom["aft"], up[-x, y], _edge(aft.UIso(0.0)), up[-x, -y]]),
        _flat_face((x, 0, 0), (1, 0, 0), [bottom["fore"], up[x, y], _edge(fore.UIso(1.0)), up[x, -y]]),
        _flat_face(
            (0, 0, 0), (0, 0, -1), [bottom["starboard"], bottom["fore"], bottom["port"], bottom["aft"]]
        ),
    ]
    block = _solid(faces)
    pocket = cq.Workplane(
        obj=cq.Solid.makeBox(length - 200, width - 200, 280, cq.Vector(-x + 100, -y + 100, 0))
    )
    pocket = pocket.edges("|Z").fillet(60.0)
    return block.cut(pocket.val()).Solids()[0]


def _hull_poles(length, beam, depth, wall):
    """Poles of one hull surface from transom to transom, drawn in by ``wall`` on every side."""
    grid = []
    for u in greville(9):
        station = (length - 2 * wall) * (u - 0.5)
        half = 0.5 * beam * (0.50 + 0.50 * sin(pi * (0.16 + 0.60 * (1 - u)))) - wall
        keel = depth * (0.70 + 0.30 * sin(pi * (0.10 + 0.80 * (1 - u)))) - wall
        row = []
        for v in greville(11):
            angle = pi * (v - 0.5)
            y = half * (abs(sin(angle)) ** 0.8) * (1 if angle >= 0 else -1)
            row.append((station, y, depth - keel * abs(cos(angle)) ** 0.7 if 0 < v < 1 else depth))
        grid.append(row)
    return grid


def _hull_faces(length, beam, depth, wall, outward):
    """Spline skin and its two flat ends; the edges along the top, open."""
    surface = spline_surface(_hull_poles(length, beam, depth, wall))
    x = length / 2 - wall

    def at(u, v):
        p = surface.Value(u, v)
        return p.X(), p.Y(), p.Z()

    aft_top, fore_top = _line(at(0, 0), at(0, 1)), _line(at(1, 0), at(1, 1))
    faces = [
        _spline_face(surface),
        _flat_face((-x, 0, 0), (-outward, 0, 0), [_edge(surface.UIso(0.0)), aft_top]),
        _flat_face((x, 0, 0), (outward, 0, 0), [_edge(surface.UIso(1.0)), fore_top]),
    ]
    rim = [_edge(surface.VIso(0.0)), fore_top, _edge(surface.VIso(1.0)), aft_top]
    return faces, rim


def tender_hull():
    """Open pram hull, 4000 x 1500 x 560, walls about 25, between two bicubic surfaces."""
    outer, rim = _hull_faces(4000.0, 1500.0, 560.0, 0.0, 1)
    inner, hole = _hull_faces(4000.0, 1500.0, 560.0, 25.0, -1)
    return _solid([*outer, *inner, _flat_face((0, 0, 560.0), (0, 0, 1), rim, hole)])


def tender_hull_surface():
    """Surface of a smaller hull of this kind, 2400 long, without thickness: one open shell."""
    faces, _ = _hull_faces(2400.0, 1050.0, 420.0, 0.0, 1)
    return cq.Shell(_sewn(faces))


def turned_bollard():
    """Solid of revolution, 900 tall, whose profile is one cubic spline."""
    poles = TColgp_Array1OfPnt(1, len(BOLLARD_PROFILE))
    for i, (r, z) in enumerate(BOLLARD_PROFILE, 1):
        poles.SetValue(i, gp_Pnt(r, 0.0, z))
    knots, counts = even_knots(len(BOLLARD_PROFILE))
    curve = Geom_BSplineCurve(poles, _reals(knots), _integers(counts), DEGREE)
    (r0, z0), (r1, z1) = BOLLARD_PROFILE[0], BOLLARD_PROFILE[-1]
    edges = [
        _line((0, 0, z0), (r0, 0, z0)),
        _edge(curve),
        _line((r1, 0, z1), (0, 0, z1)),
        _line((0, 0, z1), (0, 0, z0)),
    ]
    face = BRepBuilderAPI_MakeFace(gp_Pln(gp_Pnt(0, 0, 0), gp_Dir(0, -1, 0)), _wire(edges), True).Face()
    turned = BRepPrimAPI_MakeRevol(face, gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1)), 2 * pi).Shape()
    solid = cq.Shape.cast(turned).Solids()[0]
    BRepLib.OrientClosedSolid_s(solid.wrapped)
    return solid


def _rounded(shape, edges, radius):
    """Fillet with the edges in an order of place: the result's own order hangs on it."""
    return shape.fillet(radius, sorted(edges, key=lambda e: e.Center().toTuple()))


def planing_fixture():
    """Block of 1200 x 600 x 300 with fillets, steps, slots, counterbores, countersinks and a ball seat."""
    block = cq.Workplane().box(1200, 600, 300, centered=(True, True, False))
    body = cq.Workplane(obj=_rounded(block.val(), block.edges("|Z").vals(), 40))
    pocket = cq.Workplane(obj=cq.Solid.makeBox(700, 240, 120, cq.Vector(-350, -60, 180)))
    pocket = cq.Workplane(obj=_rounded(pocket.val(), pocket.edges("|Z").vals(), 30))
    pocket = cq.Workplane(obj=_rounded(pocket.val(), pocket.faces("<Z").edges().vals(), 15))
    body = body.cut(pocket)
    body = cq.Workplane(obj=_rounded(body.val(), body.faces(">Z").edges("|X").edges("<Y or >Y").vals(), 12))
    for x, y in ((-500, -220), (500, -220), (-500, 220), (500, 220)):
        hole = (
            cq.Workplane()
            .circle(22)
            .extrude(300)
            .union(cq.Workplane().circle(42).extrude(60).translate((0, 0, 240)))
        )
        body = body.cut(hole.translate((x, y, 0)))
    for x in (-250, 0, 250):
        sink = cq.Workplane().circle(14).extrude(300)
        cone = cq.Workplane(obj=cq.Solid.makeCone(14, 44, 30)).translate((0, 0, 270))
        body = body.cut(sink.union(cone).translate((x, -225, 0)))
    for x in (-260, 260):
        slot = cq.Workplane().slot2D(180, 50, 90).extrude(180).translate((x, 60, 0))
        body = body.cut(slot)
    body = body.cut(cq.Workplane("YZ").circle(30).extrude(1200).translate((-600, -130, 90)))
    body = body.cut(cq.Workplane("YZ").slot2D(80, 40).extrude(150).translate((-600, 60, 90)))
    body = body.cut(cq.Workplane("XZ").circle(25).extrude(80).translate((0, 300, 90)))
    post = cq.Workplane().circle(60).extrude(70).translate((0, 60, 180))
    body = body.union(post)
    top = body.faces(cq.selectors.NearestToPointSelector((0, 60, 250))).edges().vals()
    body = cq.Workplane(obj=_rounded(body.val(), top, 14))
    body = body.cut(
        cq.Workplane(
            obj=cq.Solid.makeSphere(30, cq.Vector(0, 0, 0), cq.Vector(0, 0, 1), -90, 90, 360)
        ).translate((0, 60, 262))
    )
    return body.val().Solids()[0]


BENCH_BOARDS = {
    "seat": ((1300.0, 360.0, 25.2), (0.0, 0.0, 420.0)),
    "end_left": ((25.2, 360.0, 420.0), (-600.0, 0.0, 0.0)),
    "end_right": ((25.2, 360.0, 420.0), (600.0, 0.0, 0.0)),
    "shelf": ((1174.8, 330.0, 16.8), (0.0, 0.0, 120.0)),
    "back_rail": ((1174.8, 8.4, 110.0), (0.0, 160.0, 310.0)),
    "divider": ((16.8, 330.0, 283.2), (0.0, -9.2, 136.8)),
}
"""Boards of the bench: size, and middle of the underside, mm. One, two or three beads of 8.4 mm thick."""


def quay_bench():
    """Boards that touch on their faces: a bench of 1300 x 360 x 445.2."""
    return {
        name: cq.Solid.makeBox(*size, cq.Vector(at[0] - size[0] / 2, at[1] - size[1] / 2, at[2]))
        for name, (size, at) in BENCH_BOARDS.items()
    }


def saw_jig():
    """Angle bracket of 24 x 12 x 16 inch, plates of 3/4 and 1 inch, with dowel holes."""
    inch = 25.4
    base = cq.Workplane().box(24 * inch, 12 * inch, 1 * inch, centered=(True, True, False))
    fence = cq.Workplane().box(24 * inch, 0.75 * inch, 15 * inch, centered=(True, True, False))
    body = base.union(fence.translate((0, 3 * inch, 1 * inch)))
    for x in (-10, -5, 5, 10):
        body = body.cut(cq.Workplane().circle(0.5 * inch).extrude(inch).translate((x * inch, -3 * inch, 0)))
    for x in (-8, 0, 8):
        hole = cq.Workplane("XZ").circle(1.0 * inch).extrude(-0.75 * inch)
        body = body.cut(hole.translate((x * inch, 2.625 * inch, 9 * inch)))
    return body.val().Solids()[0]


def cradle_chocks():
    """Two chocks of 500 x 140 x 260 that hold a keel, 900 apart, with round saddles."""
    chocks = {}
    for name, y in (("chock_fore", -450.0), ("chock_aft", 450.0)):
        block = cq.Solid.makeBox(500, 140, 260, cq.Vector(-250, y - 70, 0))
        saddle = cq.Solid.makeCylinder(180, 160, cq.Vector(0, y - 80, 330), cq.Vector(0, 1, 0))
        chocks[name] = block.cut(saddle).Solids()[0]
    return chocks


def mast_plug():
    """Half a tapered mast on its board, 6000 long: half a cone on a plate of 320 x 30."""
    plate = cq.Solid.makeBox(6000, 320, 30, cq.Vector(-3000, -160, 0))
    corners = [(-3000, 0, 30), (3000, 0, 30), (3000, 60, 30), (-3000, 110, 30)]
    edges = [_line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    face = BRepBuilderAPI_MakeFace(gp_Pln(gp_Pnt(0, 0, 30), gp_Dir(0, 0, 1)), _wire(edges), True).Face()
    half = BRepPrimAPI_MakeRevol(face, gp_Ax1(gp_Pnt(0, 0, 30), gp_Dir(1, 0, 0)), pi).Shape()
    return plate.fuse(cq.Shape.cast(half)).Solids()[0]
