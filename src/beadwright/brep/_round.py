"""Rods along edges and balls round corners: what a ball adds where thick faces part at a convex edge."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.brep._curves import Conic3, Line3
from beadwright.brep._evaluate import curve_derivatives, curve_points
from beadwright.brep._model import Coedge, Edge, Face
from beadwright.brep._surfaces import (
    CircleProfile,
    Frame,
    LineProfile,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    Surface,
)
from beadwright.brep._thick import Body, Origin

Array = npt.NDArray[np.float64]

TURN = 2.0 * np.pi
ROUND = 1e-9
"""Share of its radius by which an arc may fail to be round."""
SAG = 0.02
"""How far the chords of an edge that is no line or circle may stray from it, mm."""
MOST_CHORDS = 2000


def ball(centre: Array, radius: float, origin: Origin) -> Body:
    """A ball."""
    frame = Frame(origin=centre, axes=np.eye(3))
    box = np.array([[0.0, -np.pi / 2], [TURN, np.pi / 2]])
    face = Face(
        id=0,
        surface=SphereSurface(frame=frame, radius=radius),
        outward=True,
        wires=(),
        uv_box=box,
        kind="sphere",
    )
    return Body(vertices=np.zeros((0, 3)), edges=(), faces=(face,), origin=(origin,))


def rods(edge: Edge, radius: float, origin: Origin) -> Iterator[Body]:
    """What a disc square to an edge sweeps along it, as bodies that overlap.

    Exact on lines and on circles that are larger than the disc; other edges are followed by chords within `SAG`,
    which `Body.off` tells.
    """
    curve = edge.curve
    match curve:
        case Line3():
            p = curve_points(curve, np.array([edge.start, edge.end]))
            yield _cylinder(p[0], p[1], radius, origin)
        case Conic3() if _circle(curve) > radius:
            yield _bent(edge, curve, radius, origin)
        case None:
            return
        case _:
            points, off = _chords(edge)
            ways = [(b - a) / np.linalg.norm(b - a) for a, b in pairwise(points)]
            for i, (a, b) in enumerate(pairwise(points)):
                # long enough that neighbours overlap at the outside of the bend
                before = _reach(ways[i - 1], ways[i], radius) if i else 0.0
                after = _reach(ways[i], ways[i + 1], radius) if i + 1 < len(ways) else 0.0
                rod = _cylinder(a - before * ways[i], b + after * ways[i], radius, origin)
                yield replace(rod, off=off)


def _reach(one: Array, other: Array, radius: float) -> float:
    cosine = float(np.clip(one @ other, -1.0, 1.0))
    return radius * float(np.tan(0.5 * np.arccos(cosine)))


def _circle(curve: Conic3) -> float:
    """Radius; 0 for an ellipse."""
    a, b = float(np.linalg.norm(curve.major)), float(np.linalg.norm(curve.minor))
    return a if abs(a - b) <= ROUND * a and abs(float(curve.major @ curve.minor)) <= ROUND * a * a else 0.0


def _chords(edge: Edge) -> tuple[Array, float]:
    """Points on an edge whose chords stay within `SAG` of it, and how far they stray, by their middles."""
    assert edge.curve is not None
    n = 8
    while True:
        t = np.linspace(edge.start, edge.end, 2 * n + 1)
        p = curve_points(edge.curve, t)
        off = float(np.linalg.norm(p[1::2] - 0.5 * (p[:-1:2] + p[2::2]), axis=1).max())
        if off <= SAG or n >= MOST_CHORDS:
            return p[::2], off
        n *= 2


def _across(way: Array) -> Array:
    """A unit vector square to another."""
    x = np.cross(way, np.eye(3)[int(np.argmin(np.abs(way)))])
    return np.asarray(x / np.linalg.norm(x))


def _cylinder(a: Array, b: Array, radius: float, origin: Origin) -> Body:
    size = float(np.linalg.norm(b - a))
    z = (b - a) / size
    x = _across(z)
    y = np.cross(z, x)
    ends = tuple(Conic3(centre=p, major=radius * x, minor=radius * y) for p in (a, b))
    surface = RevolutionSurface(
        frame=Frame(origin=a, axes=np.array([x, y, z])),
        profile=LineProfile(r0=radius, w0=0.0, dr=0.0, dw=1.0),
    )
    seam = Line3(origin=a + radius * x, direction=z)
    vertices = np.array([a + radius * x, b + radius * x])
    edges = (
        Edge(curve=ends[0], start=0.0, end=TURN, vertices=(0, 0)),
        Edge(curve=ends[1], start=0.0, end=TURN, vertices=(1, 1)),
        Edge(curve=seam, start=0.0, end=size, vertices=(0, 1)),
    )
    side = _rectangle(surface, (0, 1, 2), TURN, size)
    caps = (_cap(a, x, y, radius, 0, outward=False), _cap(b, x, y, radius, 1, outward=True))
    return Body(vertices=vertices, edges=edges, faces=(side, *caps), origin=(origin,) * 3)


def _bent(edge: Edge, curve: Conic3, radius: float, origin: Origin) -> Body:
    """A rod along a circle: a ring, or a part of one."""
    major = _circle(curve)
    x, y = curve.major / major, curve.minor / major
    z = np.cross(x, y)
    frame = Frame(origin=curve.centre, axes=np.array([x, y, z]))
    surface = RevolutionSurface(frame=frame, profile=CircleProfile(major=major, minor=radius))
    sweep = edge.end - edge.start
    if sweep >= TURN * (1 - ROUND):
        box = np.array([[0.0, 0.0], [TURN, TURN]])
        face = Face(id=0, surface=surface, outward=True, wires=(), uv_box=box, kind="torus")
        return Body(vertices=np.zeros((0, 3)), edges=(), faces=(face,), origin=(origin,))
    t = np.array([edge.start, edge.end])
    points, ways = curve_derivatives(curve, t, 1)
    out = (points - curve.centre) / major
    vertices = points + radius * out
    seam = Conic3(
        centre=curve.centre,
        major=curve.major * (1 + radius / major),
        minor=curve.minor * (1 + radius / major),
    )
    edges = (
        # v of the ring runs from outwards to up, so that its ends are circles from out to z
        Edge(
            curve=Conic3(centre=points[0], major=radius * out[0], minor=radius * z),
            start=0.0,
            end=TURN,
            vertices=(0, 0),
        ),
        Edge(
            curve=Conic3(centre=points[1], major=radius * out[1], minor=radius * z),
            start=0.0,
            end=TURN,
            vertices=(1, 1),
        ),
        Edge(curve=seam, start=edge.start, end=edge.end, vertices=(0, 1)),
    )
    a, b = edge.start, edge.end
    corner = np.array([[a, 0.0], [b, 0.0], [b, TURN], [a, TURN]])
    side = Face(
        id=0,
        surface=surface,
        outward=True,
        wires=(
            (
                Coedge(edge=2, forward=True, uv=corner[[0, 1]]),
                Coedge(edge=1, forward=True, uv=corner[[1, 2]]),
                Coedge(edge=2, forward=False, uv=corner[[2, 3]]),
                Coedge(edge=0, forward=False, uv=corner[[3, 0]]),
            ),
        ),
        uv_box=np.array([[a, 0.0], [b, TURN]]),
        kind="torus",
    )
    # out x z points against the walk round the circle
    caps = (
        _cap(points[0], out[0], z, radius, 0, outward=True),
        _cap(points[1], out[1], z, radius, 1, outward=False),
    )
    assert float(np.cross(out[0], z) @ ways[0]) < 0.0
    return Body(vertices=vertices, edges=edges, faces=(side, *caps), origin=(origin,) * 3)


def _rectangle(surface: Surface, rows: Sequence[int], around: float, size: float) -> Face:
    """The side of a cylinder: bottom circle, top circle, seam."""
    corner = np.array([[0.0, 0.0], [around, 0.0], [around, size], [0.0, size]])
    low, high, seam = rows
    wire = (
        Coedge(edge=low, forward=True, uv=corner[[0, 1]]),
        Coedge(edge=seam, forward=True, uv=corner[[1, 2]]),
        Coedge(edge=high, forward=False, uv=corner[[2, 3]]),
        Coedge(edge=seam, forward=False, uv=corner[[3, 0]]),
    )
    box = np.array([[0.0, 0.0], [around, size]])
    return Face(id=0, surface=surface, outward=True, wires=(wire,), uv_box=box, kind="cylinder")


def _cap(centre: Array, x: Array, y: Array, radius: float, edge: int, *, outward: bool) -> Face:
    """A disc bounded by a circle that runs from x to y; `outward`: it is seen from the side of x cross y."""
    surface = PlaneSurface(frame=Frame(origin=centre, axes=np.array([x, y, np.cross(x, y)])))
    t = np.linspace(0.0, TURN, 65)
    uv = radius * np.stack((np.cos(t), np.sin(t)), axis=1)
    coedge = Coedge(edge=edge, forward=outward, uv=uv if outward else uv[::-1].copy())
    box = np.array([[-radius, -radius], [radius, radius]])
    return Face(id=0, surface=surface, outward=outward, wires=((coedge,),), uv_box=box, kind="plane")
