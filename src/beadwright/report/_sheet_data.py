"""What the sheet holds, and how it travels: a JSON head and one packed block of arrays a layer.

The page decodes a block when its layer is shown; `unpacked` is its inverse, for pictures and exports.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.brep import Triangles
from beadwright.curves import ArcPath, bounding_box, signed_area
from beadwright.report._program_moves import LayerMoves, Run

FORMAT = "beadwright sheet 1"
QUANTUM = 1e-5
"""Unit of packed coordinates, mm: 32 bits then reach 21 m to each side."""
NO_FACE = 65535
"""Face of a move that follows none, and of faces beyond what 16 bits count."""
LONGEST_JUMP = 65535
CAD, FITTED, NOT_TOLD = 0, 1, 2
"""Where a move's curve comes from: the CAD's own line or circle, a fit, or nobody says."""

LAYOUT: tuple[tuple[str, str, str], ...] = (
    ("x", "<i4", "moves"),
    ("y", "<i4", "moves"),
    ("bulge", "<f4", "moves"),
    ("z", "<i4", "z"),
    ("deviation", "<f4", "deviation"),
    ("run_first", "<u4", "runs"),
    ("run_line", "<u4", "runs"),
    ("run_bead", "<i4", "runs"),
    ("run_x", "<i4", "runs"),
    ("run_y", "<i4", "runs"),
    ("run_feed", "<f4", "runs"),
    ("run_width", "<f4", "runs"),
    ("run_height", "<f4", "runs"),
    ("run_offset", "<f4", "runs"),
    ("loop_first", "<u4", "loops"),
    ("loop_x", "<i4", "points"),
    ("loop_y", "<i4", "points"),
    ("loop_bulge", "<f4", "points"),
    ("lost_x", "<i4", "lost"),
    ("lost_y", "<i4", "lost"),
    ("lost_length", "<f4", "lost"),
    ("lost_width", "<f4", "lost"),
    ("face", "<u2", "moves"),
    ("jump", "<u2", "moves"),
    ("run_rank", "<u2", "runs"),
    ("source", "<u1", "moves"),
    ("run_role", "<u1", "runs"),
    ("run_hole", "<u1", "runs"),
    ("loop_part", "<u1", "loops"),
)
"""Arrays of a block in their order: name, type, what they count. Wide types come first, so all are aligned."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetLayer:
    """One layer of the sheet.

    Attributes
    ----------
    row : mapping
        As in plan.json, without its list of places that no bead covers.
    moves : LayerMoves
    loops : tuple of ArcPath
        Boundary of the layer's region, stock included; empty where it is not known.
    part : tuple of ArcPath
        Boundary of the part alone, where the region has stock as well; else empty.
    face, source : (n,) int
        Face (-1: none) and origin of each move's curve; empty where they are not known.
    lost : (k, 4) float
        x, y, length, width of each place as wide as a bead, mm.
    deviation : (n,) float
        Greatest in size along each move, signed, mm, nan where none was measured; empty without measurement.
    """

    row: Mapping[str, Any]
    moves: LayerMoves
    loops: tuple[ArcPath, ...] = ()
    part: tuple[ArcPath, ...] = ()
    face: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    source: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    lost: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 4)))
    deviation: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetData:
    """All that the sheet shows.

    Attributes
    ----------
    head : mapping
        What is not by move: plan.json without its layers, settings as rows, the program's marks.
    layers : sequence of SheetLayer
    edges : tuple of (k, 3) float
        The part's edges as chains of points, machine coordinates, mm: for the picture only.
    triangles : Triangles or None
        The part's faces for the shaded picture only; None where the CAD kernel gave none.
    """

    head: Mapping[str, Any]
    layers: Sequence[SheetLayer]
    edges: tuple[npt.NDArray[np.float64], ...] = ()
    triangles: Triangles | None = None


def spans(loops: Sequence[ArcPath], axis: int) -> list[list[float]]:
    """Projection of a region on x (axis 0) or y (1): disjoint intervals, exact, mm.

    A loop hangs together, so its projection is one interval; holes lie inside an outer loop's.
    """
    boxes = [bounding_box(loop) for loop in loops if signed_area(loop) > 0]
    return _joined((float(low[axis]), float(high[axis])) for low, high in boxes)


def counted_block(layer: SheetLayer) -> dict[str, int]:
    """How long the arrays of a layer are, by what they count."""
    moves = layer.moves
    laid = np.concatenate([moves.z[:0], *(moves.z[r] for r in _bead_rows(moves))])
    climbs = len(laid) > 0 and bool(np.ptp(laid) > 0)
    loops = (*layer.loops, *layer.part)
    return {
        "moves": len(moves.x),
        "z": len(moves.z) if climbs else 0,
        "deviation": len(layer.deviation),
        "runs": len(moves.runs),
        "loops": len(loops),
        "points": sum(len(loop.points) for loop in loops),
        "lost": len(layer.lost),
    }


def packed(layer: SheetLayer, roles: Sequence[str]) -> str:
    """The arrays of a layer as base64.

    Parameters
    ----------
    layer : SheetLayer
    roles : sequence of str
        All roles of the sheet; a run is packed with its row.
    """
    moves, count = layer.moves, len(layer.moves.x)
    runs, jump = _jumps(moves)
    counts = counted_block(layer)
    loops = (*layer.loops, *layer.part)
    points = [loop.points for loop in loops]
    face = layer.face if len(layer.face) == count else np.full(count, -1)
    source = layer.source if len(layer.source) == count else np.full(count, NOT_TOLD)
    values: dict[str, npt.ArrayLike] = {
        "x": _whole(moves.x),
        "y": _whole(moves.y),
        "bulge": moves.bulge,
        "z": _whole(moves.z) if counts["z"] else (),
        "deviation": layer.deviation,
        "run_first": [run.first for run in runs],
        "run_line": [run.line for run in runs],
        "run_bead": [run.bead for run in runs],
        "run_x": _whole([run.x for run in runs]),
        "run_y": _whole([run.y for run in runs]),
        "run_feed": [run.feed for run in runs],
        "run_width": [run.width for run in runs],
        "run_height": [run.height for run in runs],
        "run_offset": [run.offset for run in runs],
        "loop_first": np.cumsum([0, *map(len, points)])[:-1],
        "loop_x": _whole(np.concatenate([p[:, 0] for p in points]) if points else []),
        "loop_y": _whole(np.concatenate([p[:, 1] for p in points]) if points else []),
        "loop_bulge": np.concatenate([loop.bulge for loop in loops]) if points else (),
        "lost_x": _whole(layer.lost[:, 0]),
        "lost_y": _whole(layer.lost[:, 1]),
        "lost_length": layer.lost[:, 2],
        "lost_width": layer.lost[:, 3],
        "face": np.where((face < 0) | (face >= NO_FACE), NO_FACE, face),
        "jump": jump,
        "run_rank": [min(run.rank, NO_FACE) for run in runs],
        "source": source,
        "run_role": [roles.index(run.role) for run in runs],
        "run_hole": [run.hole for run in runs],
        "loop_part": [0] * len(layer.loops) + [1] * len(layer.part),
    }
    parts = [np.ascontiguousarray(values[name], dtype=kind).tobytes() for name, kind, _ in LAYOUT]
    return base64.b64encode(b"".join(parts)).decode("ascii")


def unpacked(counts: Mapping[str, int], text: str) -> dict[str, npt.NDArray[Any]]:
    """The arrays of a block, by name.

    Raises
    ------
    ValueError
        The block is shorter or longer than its counts say.
    """
    data = base64.b64decode(text)
    arrays: dict[str, npt.NDArray[Any]] = {}
    place = 0
    for name, kind, what in LAYOUT:
        arrays[name] = np.frombuffer(data, dtype=kind, count=counts[what], offset=place)
        place += arrays[name].nbytes
    if place != len(data):
        raise ValueError(f"a block of {len(data)} bytes where {place} are due")
    return arrays


def _whole(values: npt.ArrayLike) -> npt.NDArray[np.int64]:
    """Lengths in units of `QUANTUM`, within 32 bits."""
    limit = np.iinfo(np.int32).max
    return np.asarray(
        np.clip(np.rint(np.asarray(values, dtype=float) / QUANTUM), -limit, limit).astype(np.int64)
    )


def _bead_rows(moves: LayerMoves) -> list[slice]:
    """Rows of each run of a bead."""
    ends = [run.first for run in moves.runs[1:]] + [len(moves.x)]
    return [slice(run.first, end) for run, end in zip(moves.runs, ends, strict=False) if run.bead >= 0]


def _jumps(moves: LayerMoves) -> tuple[list[Run], npt.NDArray[np.int64]]:
    """Lines from each move to the one before it in its run, or to the run's own line."""
    runs = list(moves.runs)
    before = np.concatenate([moves.line[:1], moves.line[:-1]])
    for run in runs:
        before[run.first] = run.line
    return runs, np.minimum(moves.line - before, LONGEST_JUMP)


def run_paths(layer: SheetLayer) -> list[tuple[Run, ArcPath]]:
    """The beads of a layer as paths, each with its run; at the programmed ends, open."""
    moves, runs = layer.moves, layer.moves.runs
    ends = np.column_stack([moves.x, moves.y])
    found = []
    last = [run.first for run in runs[1:]] + [len(ends)]
    for run, after in zip(runs, last[: len(runs)], strict=True):
        if run.bead < 0 or after <= run.first:
            continue
        rows = slice(run.first, after)
        count = after - run.first
        none = np.full(count, -1, np.int32)
        points = np.vstack([[[run.x, run.y]], ends[rows]])
        face = layer.face[rows].astype(np.int32) if len(layer.face) else none
        found.append(
            (run, ArcPath(points=points, bulge=moves.bulge[rows], face=face, support=none, closed=False))
        )
    return found


def layer_spans(layer: SheetLayer) -> tuple[list[list[float]], list[list[float]]]:
    """What a layer covers, seen along y and along x: intervals of x and of y, mm.

    Of its region, which is exact; without a region, of its beads with their half widths.
    """
    if layer.loops:
        return spans(layer.loops, 0), spans(layer.loops, 1)
    boxes = [(bounding_box(path), np.nan_to_num(run.width) / 2) for run, path in run_paths(layer)]
    return (
        _joined((float(a[0] - half), float(b[0] + half)) for (a, b), half in boxes),
        _joined((float(a[1] - half), float(b[1] + half)) for (a, b), half in boxes),
    )


def _joined(pairs: Iterable[tuple[float, float]]) -> list[list[float]]:
    """Disjoint intervals that cover the same."""
    found: list[list[float]] = []
    for low, high in sorted(pairs):
        if found and low <= found[-1][1]:
            found[-1][1] = max(found[-1][1], high)
        else:
            found.append([low, high])
    return found
