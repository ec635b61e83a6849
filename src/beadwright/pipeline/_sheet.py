"""The sheet of a plan: from what was planned and the text that was written."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.beads import Bead
from beadwright.brep import Conic3, Edge, Line3, Model, PlaneSurface, Triangles, curve_points
from beadwright.pipeline._document import FOR_READERS, Laid
from beadwright.pipeline._kept import Aside, Kept
from beadwright.pipeline._set_up import SetUp, composed, inverted
from beadwright.post import ProgramText
from beadwright.report import (
    CAD,
    FITTED,
    NOT_TOLD,
    LayerMoves,
    ProgramReader,
    SheetData,
    SheetLayer,
    layer_spans,
    sheet_head,
    sheet_parts,
)
from beadwright.settings import Resolved, setting_rows

Floats = npt.NDArray[np.float64]

NO_PICTURE = "the CAD kernel gave no picture of this part"
# Points of an edge for a picture: of a whole circle, and of a piece of a spline between two knots.
ROUND, OF_A_PIECE = 64, 8
# Chains of edges that a picture can use; more are a grey field.
MAX_EDGES = 20_000
# What an object of a sheet takes of memory beside its arrays, bytes.
OF_A_RUN = 1_000
# Edges of a mesh that bend by no more are its division, not the part's: cosine of 30 degrees, for a picture only.
SMOOTH = math.cos(math.pi / 6)


def plan_sheet(
    source: SetUp,
    program: ProgramText,
    laid: Sequence[Laid],
    document: Mapping[str, Any],
    resolved: Resolved,
    aside: Aside,
) -> Iterator[str]:
    """The page of a plan, in parts.

    Parameters
    ----------
    source : SetUp
        The part as read, or the copies as they stand, with triangles of the faces.
    program : ProgramText
    laid : sequence of Laid
        Its layers in their order.
    document : mapping
        What plan.json holds.
    resolved : Resolved
        Settings.
    aside : Aside
        Where layers go for which there is no room.
    """
    reader, digest = ProgramReader(), hashlib.sha256()
    layers: Kept[SheetLayer] = Kept(aside, _room)
    for moves, each, row in zip(_layers(reader, program, digest), laid, document["layers"], strict=True):
        layers.append(_layer(moves, each, row))
    matrix = reader.matrix()
    if matrix is None:
        matrix = np.asarray(document["placement"], dtype=float)
    if source.copies:
        # the program places the first copy's file, the model is the whole that stands already
        matrix = composed(matrix, inverted(source.copies[0].matrix))
    model, triangles = source.model, source.triangles
    volume = resolved.machine.volume
    head = sheet_head(
        {**document, "volume_mm": [list(volume.low()), list(volume.high())]},
        layers,
        kind="plan",
        settings=[row.as_dict() for row in setting_rows(resolved)],
        program={"sha256": digest.hexdigest(), "moves": reader.moves},
        part_missing="" if triangles is not None else NO_PICTURE,
    )
    return sheet_parts(
        SheetData(
            head=head, layers=layers, edges=edge_chains(model, matrix), triangles=moved(triangles, matrix)
        )
    )


def _layers(reader: ProgramReader, program: ProgramText, digest: hashlib._Hash) -> Iterator[LayerMoves]:
    """Layers of a program, whose bytes are hashed in passing."""
    for part in program:
        digest.update(part.encode())
        yield from reader.read(part)


def _room(layer: SheetLayer) -> int:
    """About what a layer takes of memory, bytes."""
    moves = layer.moves
    arrays = [moves.x, moves.y, moves.z, moves.bulge, moves.line, layer.face, layer.source, layer.lost]
    arrays += [array for loop in (*layer.loops, *layer.part) for array in (loop.points, loop.bulge)]
    return sum(array.nbytes for array in arrays) + OF_A_RUN * (1 + len(moves.runs))


def _layer(moves: LayerMoves, laid: Laid, row: Mapping[str, Any]) -> SheetLayer:
    work = laid.work
    face, source = _origins(moves, work.beads)
    lost = [
        (*place["at_mm"][:2], place["length_mm"], place["width_mm"])
        for place in row["lost"]
        if place["why"] not in FOR_READERS
    ]
    layer = SheetLayer(
        row={key: value for key, value in row.items() if key != "lost"},
        moves=moves,
        loops=work.layer.region.loops,
        part=work.layer.part,
        face=face,
        source=source,
        lost=np.array(lost, dtype=float).reshape(-1, 4),
    )
    front, side = layer_spans(layer)
    return replace(layer, row={**layer.row, "front": front, "side": side})


def _origins(moves: LayerMoves, beads: Sequence[Bead]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Face and origin of each move: those of the bead's move with the same ends, as far as printing kept it."""
    count = len(moves.x)
    face, source = np.full(count, -1), np.full(count, NOT_TOLD)
    paths = [bead.path for bead in beads if len(bead.path.bulge)]
    if not count or not paths:
        return face, source
    starts = [path.points[: len(path.bulge)] for path in paths]
    ends = [np.roll(p.points, -1, axis=0) if p.closed else p.points[1:] for p in paths]
    keys = _keys(np.concatenate(starts), np.concatenate(ends))
    order = np.argsort(keys, kind="stable")
    asked = _keys(moves.starts, np.column_stack([moves.x, moves.y]))
    at = order[np.minimum(np.searchsorted(keys[order], asked), len(order) - 1)]
    same = keys[at] == asked
    face[same] = np.concatenate([path.face for path in paths])[at[same]]
    support = np.concatenate([path.support for path in paths])
    source[same] = np.where(support[at[same]] >= 0, CAD, FITTED)
    return face, source


# Ends that are nearer than this are taken for the same, mm: far above the rounding of any program.
SAME_END = 0.01


def _keys(starts: Floats, ends: Floats) -> npt.NDArray[np.int64]:
    """One number for the two ends of a move, on a grid that rounding does not leave often.

    Two moves of a layer may share a number by chance, once in millions: a picture can stand that.
    """
    whole = np.rint(np.hstack([starts, ends]) / SAME_END).astype(np.int64)
    mixed = np.zeros(len(whole), np.int64)
    with np.errstate(over="ignore"):
        for column in whole.T:
            mixed = (mixed ^ column) * np.int64(0x9E3779B97F4A7C1 | 1)
    return mixed


def edge_chains(model: Model, matrix: Floats) -> tuple[Floats, ...]:
    """The edges of a part as chains of points in machine coordinates, mm, for a picture only.

    Of a mesh those at which it bends.
    """
    shown = _bent(model) if model.schema == "mesh" else model.edges
    chains = [_chain(edge) for edge in shown[:MAX_EDGES] if edge.curve is not None]
    return tuple(chain @ matrix[:, :3].T + matrix[:, 3] for chain in chains)


def _bent(model: Model) -> tuple[Edge, ...]:
    """Edges of faces, without those between plane ones that turn by no more than `SMOOTH` says."""
    sides: dict[int, list[Floats]] = {}
    for face in model.faces:
        normal = face.surface.frame.axes[2] if isinstance(face.surface, PlaneSurface) else np.full(3, np.nan)
        for wire in face.wires:
            for use in wire:
                sides.setdefault(use.edge, []).append(normal)
    return tuple(
        model.edges[row]
        for row, normals in sorted(sides.items())
        if len(normals) < 2 or not all(float(n @ normals[0]) >= SMOOTH for n in normals[1:])
    )


def _chain(edge: Edge) -> Floats:
    curve = edge.curve
    assert curve is not None
    if isinstance(curve, Line3):
        t = np.array([edge.start, edge.end])
    elif isinstance(curve, Conic3):
        turns = abs(edge.end - edge.start) / (2 * np.pi)
        t = np.linspace(edge.start, edge.end, max(3, int(np.ceil(ROUND * turns)) + 1))
    else:
        knots = np.unique(curve.knots)
        inner = knots[(knots > edge.start) & (knots < edge.end)]
        ends = np.concatenate([[edge.start], inner, [edge.end]])
        parts = np.linspace(ends[:-1], ends[1:], OF_A_PIECE, endpoint=False).T
        t = np.append(parts.ravel(), edge.end)
    return curve_points(curve, t)


def moved(triangles: Triangles | None, matrix: Floats) -> Triangles | None:
    """Triangles in machine coordinates."""
    if triangles is None:
        return None
    return replace(triangles, points=triangles.points @ matrix[:, :3].T + matrix[:, 3])
