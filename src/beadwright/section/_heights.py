"""Heights at which a plane must not lie: flats, vertices, turning points of edges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model, OffsetSurface, SplineSurface, surface_points
from beadwright.section._pieces import Pieces

Array = npt.NDArray[np.float64]

CLEAR = 1e-6
"""Distance that a plane keeps from every interval, mm."""
WIDEST = 0.02
"""Intervals wider than this are the file's gaps: the plane stays and connectors are taken, mm."""
AGAIN = 64
"""Places on each chord of a trace at which a surface beside a flat face is looked at."""
_STEP = CLEAR * (1.0 + 1e-3)  # more than the rounding of a height of some metres

Side = Literal["above", "below"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Intervals:
    """Closed intervals of z (n), ascending, more than 2e-6 apart.

    Attributes
    ----------
    low, high : (n,) float
        mm.
    flat : (n,) bool
        Whether a horizontal face lies in it.
    """

    low: Array
    high: Array
    flat: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenPlane:
    """A plane's height as asked for and as used, mm, and why it was moved ("" if it was not)."""

    asked: float
    taken: float
    why: str = ""


def find_intervals(model: Model, pieces: Pieces, flat_faces: list[int]) -> Intervals:
    """Merge the heights of vertices, turning points, horizontal edges and horizontal faces."""
    z = model.vertices[:, 2]
    low, high = z.copy(), z.copy()
    starts, stops = pieces.first[:-1], pieces.first[1:]
    edge_low, edge_high = np.full(len(starts), np.inf), np.full(len(starts), -np.inf)
    for i, edge in enumerate(model.edges):
        a, b = starts[i], stops[i]
        if b == a:
            continue
        for vertex, end in (
            (edge.vertices[0], pieces.end_z[a, 0]),
            (edge.vertices[1], pieces.end_z[b - 1, 1]),
        ):
            if abs(end - z[vertex]) <= WIDEST:
                low[vertex], high[vertex] = min(low[vertex], end), max(high[vertex], end)
        every = np.concatenate((pieces.end_z[a:b].ravel(), z[list(edge.vertices)]))
        edge_low[i], edge_high[i] = every.min(), every.max()
    rows = [np.stack((low, high, np.zeros(len(low))), axis=1)]
    inner = pieces.sign_z[1:, 0]
    rows.append(np.stack((inner, inner, np.zeros(len(inner))), axis=1))
    level = (edge_high >= edge_low) & (edge_high - edge_low < CLEAR)  # edges without a curve have neither
    rows.append(np.stack((edge_low[level], edge_high[level], np.zeros(int(level.sum()))), axis=1))
    flats, near = [], _beside(model, flat_faces)
    for f in flat_faces:
        edges = [c.edge for wire in model.faces[f].wires for c in wire]
        used = [e for e in edges if stops[e] > starts[e]]
        if used:
            bottom, top = float(edge_low[used].min()), float(edge_high[used].max())
            beside = np.concatenate([near.get(e, np.zeros(0)) for e in used])
            beside = beside[(beside > bottom - WIDEST) & (beside < top + WIDEST)]
            flats.append((beside.min(initial=bottom), beside.max(initial=top), 1.0))
    flat = np.array(flats).reshape(-1, 3)
    merged = _merge(np.concatenate([*rows, flat]))
    wide = merged[:, 1] - merged[:, 0] > WIDEST
    if wide.any():
        kept = _merge(flat) if len(flat) else flat
        merged = _merge(np.concatenate((merged[~wide], kept)))
    return Intervals(low=merged[:, 0], high=merged[:, 1], flat=merged[:, 2] > 0.0)


def _beside(model: Model, flat_faces: list[int]) -> dict[int, Array]:
    """Heights of free-form faces along the edges that they share with horizontal ones, mm, by edge.

    Such a surface misses the edge by the file's gap. Where it starts level, as a fillet does, a plane between
    edge and surface would meet it millimetres beside the edge, or not at all.
    """
    edges = {c.edge for f in flat_faces for wire in model.faces[f].wires for c in wire}
    found: dict[int, Array] = {}
    for face in model.faces:
        if not isinstance(face.surface, SplineSurface | OffsetSurface):
            continue
        for coedge in (c for wire in face.wires for c in wire if c.edge in edges):
            k = np.arange(len(coedge.uv))
            t = np.linspace(0.0, float(k[-1]), AGAIN * int(k[-1]) + 1)
            uv = np.column_stack([np.interp(t, k, coedge.uv[:, i]) for i in (0, 1)])
            z = surface_points(face.surface, uv)[:, 2]
            found[coedge.edge] = np.append(found.get(coedge.edge, z), z)
    return found


def _merge(rows: Array) -> Array:
    if len(rows) == 0:
        return rows.reshape(0, 3)
    rows = rows[np.lexsort((rows[:, 1], rows[:, 0]))]
    reach = np.maximum.accumulate(rows[:, 1])
    new = np.concatenate(([True], rows[1:, 0] > reach[:-1] + 2.5 * CLEAR))
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(rows)) - 1
    return np.stack((rows[first, 0], reach[last], np.maximum.reduceat(rows[:, 2], first)), axis=1)


def take(intervals: Intervals, asked: float, side: Side) -> TakenPlane:
    """Move a plane out of the interval that it lies in (or within 1e-6 of), to one side."""
    row = int(np.searchsorted(intervals.low, asked + CLEAR, side="right")) - 1
    if row < 0 or asked > intervals.high[row] + CLEAR:
        return TakenPlane(asked=asked, taken=asked)
    low, high = float(intervals.low[row]), float(intervals.high[row])
    taken = high + _STEP if side == "above" else low - _STEP
    what = "a horizontal face" if intervals.flat[row] else "a vertex or the turn of an edge"
    return TakenPlane(asked=asked, taken=taken, why=f"{what} at {0.5 * (low + high):.6f}: moved {side} it")
