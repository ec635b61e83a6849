"""What a program makes the machine do, as flat tables."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from beadwright.verify._standard import PLANES

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moves:
    """All motions of a program in their order, in machine coordinates and mm.

    Attributes
    ----------
    line : (n,) int64
        Line of the text, counted from 1.
    kind : (n,) int8
        0 traverse, 1 straight, 2 and 3 arcs clockwise and counter-clockwise.
    start, end : (n, 3) float
    plane : (n,) int16
        170, 180 or 190: G17, G18, G19 times ten.
    centre : (n, 2) float
        Of an arc, in the two axes of its plane.
    sweep : (n,) float
        Angle that an arc turns, counter-clockwise positive, rad; 0 for a straight move.
    length : (n,) float
        Along the path, a helix included.
    feed : (n,) float
        mm/s along the path; nan of a traverse.
    flow : (n,) bool
        Whether the extruder runs.
    advance : (n,) float
        Of the extruder's own axis, in its unit; 0 without one.
    layer, bead : (n,) int32
        Structured comment that a move stands in, -1 for none; beads counted through the whole program.
    """

    line: npt.NDArray[np.int64]
    kind: npt.NDArray[np.int8]
    start: Floats
    end: Floats
    plane: npt.NDArray[np.int16]
    centre: Floats
    sweep: Floats
    length: Floats
    feed: Floats
    flow: npt.NDArray[np.bool_]
    advance: Floats
    layer: npt.NDArray[np.int32]
    bead: npt.NDArray[np.int32]

    def __len__(self) -> int:
        """Number of motions."""
        return len(self.line)

    @property
    def seconds(self) -> Floats:
        """Length by feed, s: nan of a traverse."""
        return np.asarray(self.length / self.feed)


@dataclass(slots=True)
class MoveTable:
    """Moves while they are read."""

    rows: list[tuple[float, ...]] = field(default_factory=list)

    def freeze(self) -> Moves:
        """As arrays."""
        table = np.array(self.rows, dtype=float).reshape(-1, 17)
        start, end = table[:, 2:5].copy(), table[:, 5:8].copy()
        plane, centre, sweep = table[:, 8].astype(np.int16), table[:, 9:11].copy(), table[:, 11].copy()
        return Moves(
            line=table[:, 0].astype(np.int64),
            kind=table[:, 1].astype(np.int8),
            start=start,
            end=end,
            plane=plane,
            centre=centre,
            sweep=sweep,
            length=path_lengths(start, end, plane, centre, sweep),
            feed=self._feeds(table, path_lengths(start, end, plane, centre, sweep)),
            flow=table[:, 13] > 0,
            advance=table[:, 14].copy(),
            layer=table[:, 15].astype(np.int32),
            bead=table[:, 16].astype(np.int32),
        )

    @staticmethod
    def _feeds(table: Floats, length: Floats) -> Floats:
        """Feeds in mm/s; those of inverse time, told as negative seconds, by the length."""
        told = table[:, 12]
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(np.where(told < 0, length / -told, told))


def path_lengths(
    start: Floats, end: Floats, plane: npt.NDArray[np.int16], centre: Floats, sweep: Floats
) -> Floats:
    """Length of each move: of a helix the root of the sum of squares of arc and rise (NISTIR 6556, 3.5.3)."""
    straight = np.linalg.norm(end - start, axis=1)
    out = straight.copy()
    for code, (first, second, normal) in PLANES.items():
        arc = (sweep != 0) & (plane == code)
        if arc.any():
            radius = np.hypot(start[arc, first] - centre[arc, 0], start[arc, second] - centre[arc, 1])
            last = np.hypot(end[arc, first] - centre[arc, 0], end[arc, second] - centre[arc, 1])
            along = np.abs(sweep[arc]) * (radius + last) / 2
            out[arc] = np.hypot(along, end[arc, normal] - start[arc, normal])
    return np.asarray(out)


class MovesOfBeads:
    """Rows of the moves of each told bead with the extruder on, in their order; grouped once."""

    def __init__(self, moves: Moves) -> None:
        flowing = np.flatnonzero(moves.flow & (moves.kind > 0))
        order = np.argsort(moves.bead[flowing], kind="stable")
        self._owner, self._rows = moves.bead[flowing][order], flowing[order]

    def __getitem__(self, bead: int) -> npt.NDArray[np.int64]:
        """Those of a bead, by its place among the told ones; of -1 those in none."""
        first, end = np.searchsorted(self._owner, bead), np.searchsorted(self._owner, bead, side="right")
        return self._rows[first:end]


def points_along(
    moves: Moves, rows: npt.NDArray[np.int64], step: float | Floats
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Points of some moves in the machine's x and y, at most a step apart (or each move's own), with the row of each.

    Ends and middles are always among them. Arcs of G18 and G19 are taken by their ends.

    Returns
    -------
    points : (k, 2) float
    row : (k,) int64
    """
    count = np.maximum(2, np.ceil(moves.length[rows] / step)).astype(np.int64)
    owner = np.repeat(np.arange(len(rows)), count + 1)
    first = np.concatenate([[0], np.cumsum(count + 1)[:-1]])
    t = (np.arange(len(owner)) - first[owner]) / count[owner]
    row = rows[owner]
    return at_parameter(moves, row, t), row


def at_parameter(moves: Moves, row: npt.NDArray[np.int64], t: Floats) -> Floats:
    """Place in x and y of moves at shares t of their way: (k, 2).

    The radius of an arc runs evenly from that at its start to that at its end.
    """
    a, b = moves.start[row, :2], moves.end[row, :2]
    out = a + t[:, None] * (b - a)
    arc = (moves.sweep[row] != 0) & (moves.plane[row] == 170)
    if arc.any():
        rows, u = row[arc], t[arc]
        c = moves.centre[rows]
        from_start, from_end = a[arc] - c, b[arc] - c
        angle = np.arctan2(from_start[:, 1], from_start[:, 0]) + u * moves.sweep[rows]
        radius = np.hypot(*from_start.T) * (1 - u) + np.hypot(*from_end.T) * u
        out[arc] = c + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    return out


def extents_of(moves: Moves) -> Floats:
    """Least and greatest x, y, z of each move, arcs included: (n, 2, 3)."""
    low, high = np.minimum(moves.start, moves.end), np.maximum(moves.start, moves.end)
    for code, (first, second, _) in PLANES.items():
        arc = np.flatnonzero((moves.sweep != 0) & (moves.plane == code))
        if not len(arc):
            continue
        c = moves.centre[arc]
        p = moves.start[arc][:, [first, second]] - c
        radius = np.hypot(*p.T)
        begin = np.arctan2(p[:, 1], p[:, 0])
        for quarter in range(4):
            direction = quarter * np.pi / 2
            turned = np.mod((direction - begin) * np.sign(moves.sweep[arc]), 2 * np.pi)
            on = turned <= np.abs(moves.sweep[arc])
            axis, column = (first, 0) if quarter % 2 == 0 else (second, 1)
            value = c[:, column] + (radius if quarter < 2 else -radius)
            high[arc[on], axis] = np.maximum(high[arc[on], axis], value[on])
            low[arc[on], axis] = np.minimum(low[arc[on], axis], value[on])
    return np.stack([low, high], axis=1)
