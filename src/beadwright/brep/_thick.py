"""Faces made thick: a patch of smoothly joined faces, the same moved outwards, and the walls between.

What lies within an amount of a face and has its nearest point on it is a solid of its own. Its surfaces are the
face moved a little inwards and turned round, the face moved outwards by the amount, and ruled walls along
the normals at its outline. So stock needs no other section than that of a part.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.brep._curves import Conic3, Curve3, Line3, Spline3
from beadwright.brep._evaluate import curve_derivatives, curve_points
from beadwright.brep._model import Coedge, Edge, Face, Model
from beadwright.brep._parallel import (
    SAME_WAY,
    edge_normals,
    normals_at,
    parallel_edges,
    parallel_surface,
    room,
)
from beadwright.brep._surfaces import (
    ExtrusionSurface,
    Frame,
    LineProfile,
    PlaneSurface,
    RevolutionSurface,
    SplineSurface,
    Surface,
)
from beadwright.numeric import gathered

Array = npt.NDArray[np.float64]

SMOOTH = 1e-4
"""Faces whose normals differ by less along an edge are joined smoothly there, rad."""
HAIR = 5e-4
"""Radius of what is left open where stock closes a hole, mm: no bead knows it from nothing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Use:
    """The use of an edge by a face: rows of both, and how."""

    face: int
    coedge: Coedge


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """What a face of a body stems from.

    Attributes
    ----------
    face : int
        Row of the part's face.
    beside : int
        Row of the part's face across the edge that a wall stands on, or its own row; -1 for what is no wall.
    inner : bool
        Whether it lies inside the part.
    """

    face: int
    beside: int = -1
    inner: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """A closed solid: tables that refer to each other by row, as in `Model`.

    Attributes
    ----------
    vertices : (n, 3) float
    edges : tuple of Edge
    faces : tuple of Face
    origin : tuple of Origin
        By face.
    off : float
        How far edges that had to be fitted stray, mm.
    """

    vertices: Array
    edges: tuple[Edge, ...]
    faces: tuple[Face, ...]
    origin: tuple[Origin, ...]
    off: float = 0.0


def edge_uses(model: Model) -> list[list[Use]]:
    """Uses of every edge by the faces of a model."""
    uses: list[list[Use]] = [[] for _ in model.edges]
    for row, face in enumerate(model.faces):
        for wire in face.wires:
            for coedge in wire:
                uses[coedge.edge].append(Use(face=row, coedge=coedge))
    return uses


def bend(model: Model, edge: int, first: Use, second: Use) -> float:
    """Angle between the normals of two faces along their edge, rad: above 0 convex, below 0 concave."""
    each = model.edges[edge]
    if each.curve is None:
        return 0.0
    t = each.start + (each.end - each.start) * np.array([0.25, 0.5, 0.75])
    a, b = (edge_normals(model.faces[use.face], use.coedge, each, t) for use in (first, second))
    tangent = curve_derivatives(each.curve, t, 1)[1]
    tangent = tangent if first.coedge.forward else -tangent
    size = np.linalg.norm(tangent, axis=1)
    sine = np.sum(np.cross(a, b) * tangent, axis=1) / np.where(size > 0.0, size, 1.0)
    angle = np.arctan2(sine, np.sum(a * b, axis=1))
    return float(angle[np.argmax(np.abs(angle))])


def patches(
    amounts: Mapping[int, float], uses: Sequence[Sequence[Use]], bends: Mapping[int, float]
) -> list[tuple[int, ...]]:
    """Faces of one amount that are joined smoothly, gathered: rows, ascending."""
    beside: dict[int, set[int]] = {row: set() for row in amounts}
    for row, used in enumerate(uses):
        if len(used) == 2 and abs(bends.get(row, np.inf)) <= SMOOTH:
            a, b = used[0].face, used[1].face
            if a in amounts and b in amounts and amounts[a] == amounts[b]:
                beside[a].add(b)
                beside[b].add(a)
    return gathered(beside)


def limited(face: Face, amount: float) -> float:
    """How thick a face can be made: the amount, or less where it would meet its own axis or centre."""
    return min(amount, room(face, True) - HAIR)


def thick(model: Model, rows: Sequence[int], amount: float, inwards: float) -> Body:
    """The body of a patch of faces.

    Parameters
    ----------
    model : Model
        Placed.
    rows : sequence of int
        Its faces; they are joined smoothly.
    amount, inwards : float
        How far it reaches out of the part and into it, mm.
    """
    return _Builder(model, rows, amount, inwards).body()


class _Builder:
    """Collects the rows of one body."""

    def __init__(self, model: Model, rows: Sequence[int], amount: float, inwards: float) -> None:
        self.model, self.rows = model, rows
        deep = min((0.5 * room(model.faces[row], False) for row in rows), default=inwards)
        self.levels = (-min(inwards, deep), amount)
        self.vertices: list[Array] = []
        self.edges: list[Edge] = []
        self.faces: list[Face] = []
        self.origin: list[Origin] = []
        self.off = 0.0
        self.ends: dict[int, tuple[int, int, int]] = {}
        self.moved: dict[int, tuple[int, int]] = {}

    def body(self) -> Body:
        own = set(self.rows)
        uses = edge_uses(self.model)
        for row in self.rows:
            self._sheets(row)
        for edge, used in enumerate(uses):
            inside = [use for use in used if use.face in own]
            if len(inside) == 1 and self.model.edges[edge].curve is not None:
                others = [use.face for use in used if use.face not in own]
                self._wall(edge, inside[0], others[0] if others else inside[0].face)
        return Body(
            vertices=np.array(self.vertices),
            edges=tuple(self.edges),
            faces=tuple(self.faces),
            origin=tuple(self.origin),
            off=self.off,
        )

    def _add(self, face: Face, origin: Origin) -> None:
        self.faces.append(face)
        self.origin.append(origin)

    def _sheets(self, row: int) -> None:
        """A face moved outwards, and moved inwards and turned round."""
        face = self.model.faces[row]
        for level, distance in enumerate(self.levels):
            wires = []
            for wire in face.wires:
                mapped = [replace(coedge, edge=self._edge(row, coedge)[level]) for coedge in wire]
                if level == 0:
                    mapped = [
                        replace(coedge, forward=not coedge.forward, uv=coedge.uv[::-1].copy())
                        for coedge in reversed(mapped)
                    ]
                wires.append(tuple(mapped))
            moved = replace(
                face,
                surface=parallel_surface(face, distance),
                outward=face.outward == (level == 1),
                wires=tuple(wires),
            )
            self._add(moved, Origin(face=row, inner=level == 0))

    def _edge(self, row: int, coedge: Coedge) -> tuple[int, int]:
        """Rows of an edge moved to both levels."""
        known = self.moved.get(coedge.edge)
        if known is not None:
            return known
        face, edge = self.model.faces[row], self.model.edges[coedge.edge]
        first, last = edge.vertices if coedge.forward else edge.vertices[::-1]
        self._corner(face, first, coedge.uv[0])
        self._corner(face, last, coedge.uv[-1])
        curves: tuple[Curve3 | None, ...] = (None, None)
        if edge.curve is not None:
            curves, _, off = parallel_edges(face, coedge, edge, self.levels)
            self.off = max(self.off, off)
        rows = []
        for level, curve in enumerate(curves):
            a, b = (self.ends[vertex][level] for vertex in edge.vertices)
            rows.append(len(self.edges))
            self.edges.append(Edge(curve=curve, start=edge.start, end=edge.end, vertices=(a, b)))
        self.moved[coedge.edge] = (rows[0], rows[1])
        return self.moved[coedge.edge]

    def _corner(self, face: Face, vertex: int, uv: Array) -> None:
        """A vertex moved to both levels, and the line between."""
        if vertex in self.ends:
            return
        point, normal = self.model.vertices[vertex], normals_at(face, uv[None])[0]
        low, high = len(self.vertices), len(self.vertices) + 1
        self.vertices += [point + distance * normal for distance in self.levels]
        line = Line3(origin=self.vertices[low], direction=normal)
        self.ends[vertex] = (low, high, len(self.edges))
        self.edges.append(
            Edge(curve=line, start=0.0, end=self.levels[1] - self.levels[0], vertices=(low, high))
        )

    def _wall(self, row: int, use: Use, beside: int) -> None:
        """The ruled wall on an edge of the patch's outline."""
        face, edge, coedge = self.model.faces[use.face], self.model.edges[row], use.coedge
        curves, direction, _ = parallel_edges(face, coedge, edge, self.levels)
        size = self.levels[1] - self.levels[0]
        surface, height = _ruled(curves, direction, size)
        low, high = self.moved[row]
        first, last = (self.ends[vertex][2] for vertex in edge.vertices)
        a, b = edge.start, edge.end
        low_uv, high_uv = np.array([[a, 0.0], [b, 0.0]]), np.array([[a, height], [b, height]])
        outward = coedge.forward
        if isinstance(surface, PlaneSurface):
            t = np.linspace(a, b, 65)
            low_uv, high_uv = (_in_plane(surface, curve_points(curve, t)) for curve in curves)
            normal = np.cross(surface.frame.axes[0], surface.frame.axes[1])
            point, tangent = curve_derivatives(curves[0], np.array([a]), 1)
            up = curve_points(curves[1], np.array([a])) - point
            outward = (float(np.cross(tangent[0], up[0]) @ normal) > 0.0) == coedge.forward
        sides = [
            Coedge(edge=low, forward=True, uv=low_uv),
            Coedge(edge=last, forward=True, uv=np.array([low_uv[-1], high_uv[-1]])),
            Coedge(edge=high, forward=False, uv=high_uv[::-1].copy()),
            Coedge(edge=first, forward=False, uv=np.array([high_uv[0], low_uv[0]])),
        ]
        if not coedge.forward:
            sides = [replace(c, forward=not c.forward, uv=c.uv[::-1].copy()) for c in reversed(sides)]
        every = np.concatenate([c.uv for c in sides])
        self._add(
            Face(
                id=0,
                surface=surface,
                outward=outward,
                wires=_wires(sides, surface, edge),
                uv_box=np.stack((every.min(axis=0), every.max(axis=0))),
                kind="extrusion",
            ),
            Origin(face=use.face, beside=beside),
        )


def _wires(sides: Sequence[Coedge], surface: Surface, edge: Edge) -> tuple[tuple[Coedge, ...], ...]:
    """One wire round a wall; of a plane ring, whose seam would be an edge inside it, two."""
    if isinstance(surface, PlaneSurface) and edge.vertices[0] == edge.vertices[1]:
        seam = {side.edge for side in sides if sum(s.edge == side.edge for s in sides) == 2}
        return tuple((side,) for side in sides if side.edge not in seam)
    return (tuple(sides),)


def _in_plane(surface: PlaneSurface, points: Array) -> Array:
    return np.asarray((points - surface.frame.origin) @ surface.frame.axes[:2].T)


def _ruled(curves: Sequence[Curve3], direction: Array | None, size: float) -> tuple[Surface, float]:
    """The surface of straight lines between two curves, u along them, v from the first; its greatest v."""
    low, high = curves
    match low:
        case Line3() if direction is not None:
            along = low.direction
            y = direction - (direction @ along) * along
            y /= np.linalg.norm(y)
            axes = np.array([along, y, np.cross(along, y)])
            return PlaneSurface(frame=Frame(origin=low.origin, axes=axes)), size
        case Conic3() | Spline3() if direction is not None:
            return ExtrusionSurface(directrix=low, direction=direction), size
        case Conic3(centre=centre, major=major, minor=minor):
            assert isinstance(high, Conic3)
            x, y = major / np.linalg.norm(major), minor / np.linalg.norm(minor)
            frame = Frame(origin=centre, axes=np.array([x, y, np.cross(x, y)]))
            r0, r1 = float(major @ x), float(high.major @ x)
            rise = float((high.centre - centre) @ frame.axes[2])
            run = float(np.hypot(r1 - r0, rise))
            if abs(rise) < SAME_WAY * run:
                return PlaneSurface(frame=frame), size
            profile = LineProfile(r0=r0, w0=0.0, dr=(r1 - r0) / run, dw=rise / run)
            return RevolutionSurface(frame=frame, profile=profile), run
        case Spline3():
            assert isinstance(high, Spline3)
            return (
                SplineSurface(
                    degree=(low.degree, 1),
                    knots_u=low.knots,
                    knots_v=np.array([0.0, 0.0, 1.0, 1.0]),
                    poles=np.ascontiguousarray(np.stack((low.poles, high.poles), axis=1)),
                    weights=np.ascontiguousarray(np.stack((low.weights, high.weights), axis=1)),
                ),
                1.0,
            )
        case _:
            raise AssertionError(low)


def tips(model: Model, rows: Iterable[int]) -> tuple[int, ...]:
    """Faces with a tip, as a cone has: their normal differs round one point, so they cannot be made thick."""
    found = []
    for row in rows:
        face = model.faces[row]
        for wire in face.wires:
            for coedge in wire:
                if model.edges[coedge.edge].curve is None:
                    normals = normals_at(face, coedge.uv)
                    spread = normals_at(face, 0.5 * (coedge.uv[:-1] + coedge.uv[1:]))
                    every = np.concatenate((normals, spread))
                    if np.linalg.norm(every - every[0], axis=1).max() > SMOOTH:
                        found.append(row)
    return tuple(sorted(set(found)))
