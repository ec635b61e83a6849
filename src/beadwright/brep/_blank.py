"""What stock adds to a part: thick faces, rods at convex edges, balls at convex corners, as one model."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.brep._extents import extents, faces_extents
from beadwright.brep._model import Coedge, Edge, Face, Model, Shell, Solid
from beadwright.brep._round import ball, rods
from beadwright.brep._thick import (
    SMOOTH,
    Body,
    Origin,
    bend,
    edge_uses,
    limited,
    patches,
    thick,
    tips,
)

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blank:
    """Stock as solids of its own.

    Attributes
    ----------
    model : Model
        A solid for each patch of thick faces, each rod and each ball; they overlap each other and the part.
    origin : tuple of Origin
        By face of `model`: the face of the part that it stems from.
    amount : mapping of int to float
        By row of the part's face, mm: as asked for, or less where it closes a hole.
    tips : tuple of int
        Rows of faces with a tip, which cannot have stock.
    off : float
        How far what had to be fitted strays, mm.
    box : (2, 3) float
        Least and greatest x, y, z of what stands out of the part, mm.
    """

    model: Model
    origin: tuple[Origin, ...]
    amount: Mapping[int, float]
    tips: tuple[int, ...]
    off: float
    box: Array


def blank_of(model: Model, amounts: Mapping[int, float], *, inwards: float) -> Blank:
    """The solids that stock adds to a placed part.

    Of points outside the part those that lie within the amount of a face with stock and have their nearest point
    on it, or on an edge or corner all of whose faces have stock. At such an edge between two amounts the
    smaller one goes round.

    Parameters
    ----------
    model : Model
        Placed.
    amounts : mapping of int to float
        By row of the face, mm.
    inwards : float
        How far thick faces reach into the part, mm, so that they overlap it.
    """
    bad = tips(model, amounts)
    given = {row: limited(model.faces[row], amount) for row, amount in amounts.items() if row not in bad}
    uses = edge_uses(model)
    bends = {
        row: bend(model, row, used[0], used[1])
        for row, used in enumerate(uses)
        if len(used) == 2 and used[0].face != used[1].face and {u.face for u in used} <= set(given)
    }
    same = {row: amounts[row] for row in given}
    bodies: list[Body] = []
    for rows in patches(same, uses, bends):
        bodies.append(thick(model, rows, min(given[row] for row in rows), inwards))
        given.update(dict.fromkeys(rows, min(given[row] for row in rows)))
    corners: dict[int, list[int]] = {}
    for row, angle in bends.items():
        if angle <= SMOOTH:
            continue
        faces = [use.face for use in uses[row]]
        bodies += rods(model.edges[row], min(given[f] for f in faces), Origin(face=faces[0]))
        for vertex in model.edges[row].vertices:
            corners.setdefault(vertex, []).extend(faces)
    touching = _at_vertices(model)
    for vertex, faces in sorted(corners.items()):
        # a rod's own end is square to it, so a corner of two edges in line needs no ball
        if touching[vertex] <= set(given) and len(set(faces)) > 2:
            radius = min(given[f] for f in touching[vertex])
            bodies.append(ball(model.vertices[vertex], radius, Origin(face=faces[0])))
    joined = _joined(model, bodies)
    origins = [origin for body in bodies for origin in body.origin]
    out = [row for row, origin in enumerate(origins) if origin.beside < 0 and not origin.inner]
    return Blank(
        model=joined,
        origin=tuple(origins),
        box=faces_extents(joined, out) if out else model.box,
        amount=given,
        tips=bad,
        off=max((body.off for body in bodies), default=0.0),
    )


def _at_vertices(model: Model) -> list[set[int]]:
    """Faces that meet at each vertex."""
    found: list[set[int]] = [set() for _ in model.vertices]
    for row, face in enumerate(model.faces):
        for wire in face.wires:
            for coedge in wire:
                for vertex in model.edges[coedge.edge].vertices:
                    found[vertex].add(row)
    return found


def _joined(part: Model, bodies: list[Body]) -> Model:
    """One model of all bodies, a solid each."""
    vertices: list[Array] = []
    edges: list[Edge] = []
    faces: list[Face] = []
    shells: list[Shell] = []
    solids: list[Solid] = []
    n_vertices = 0
    for body in bodies:
        n_edges, n_faces = len(edges), len(faces)
        edges += [
            replace(e, vertices=(e.vertices[0] + n_vertices, e.vertices[1] + n_vertices)) for e in body.edges
        ]
        faces += [_moved(face, n_faces + i, n_edges) for i, face in enumerate(body.faces)]
        shells.append(Shell(faces=tuple(range(n_faces, len(faces))), closed=True, solid=len(solids)))
        solids.append(Solid(name="", colour="", volume=0.0, shells=(len(shells) - 1,)))
        vertices.append(body.vertices)
        n_vertices += len(body.vertices)
    made = replace(
        part,
        vertices=np.concatenate(vertices).reshape(-1, 3) if vertices else np.zeros((0, 3)),
        edges=tuple(edges),
        faces=tuple(faces),
        shells=tuple(shells),
        solids=tuple(solids),
        area=0.0,
        volume=0.0,
        gap=0.0,
        healing=(),
        findings=(),
        kernel_bytes=b"",
    )
    return replace(made, box=extents(made)) if faces else made


def _moved(face: Face, row: int, edges: int) -> Face:
    """A face as row of the joint table."""
    wires = tuple(
        tuple(Coedge(edge=c.edge + edges, forward=c.forward, uv=c.uv) for c in wire) for wire in face.wires
    )
    return replace(face, id=row, wires=wires)
