"""Deviation of contour beads as profile of a line (ISO 1101): each centreline against the section.

At a point of a centreline the deposit's outer boundary lies ``offset`` away; the section lies ``depth`` away. The
deviation is ``offset - depth``, positive where the deposit stands out of the section.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.numeric import Finding
from beadwright.verify._cut import Cut
from beadwright.verify._deposit import Bead, DepositLayer
from beadwright.verify._moves import Moves, at_parameter, points_along
from beadwright.verify._result import Notes, Spread
from beadwright.verify._told import INSIDE

Floats = npt.NDArray[np.float64]

# How far to the side the direction of a bead is felt for, mm.
ASIDE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Deviations:
    """Samples of deviation: value (mm), length that each stands for (mm), face and row of its move (-1: not told)."""

    value: Floats
    weight: Floats
    face: npt.NDArray[np.int32]
    row: npt.NDArray[np.int64]

    def spread(self, face: int | None = None) -> Spread | None:
        """Greatest, mean and 95th percentile, of one face or of all; None without samples."""
        own = np.ones(len(self.value), bool) if face is None else self.face == face
        value, weight = self.value[own], self.weight[own]
        total = float(weight.sum())
        if total == 0.0:
            return None
        size = np.abs(value)
        order = np.argsort(size)
        share = np.cumsum(weight[order]) / total
        at = min(int(np.searchsorted(share, 0.95)), len(order) - 1)
        return Spread(
            greatest=float(value[size.argmax()]),
            mean=float((value * weight).sum() / total),
            p95=float(size[order[at]]),
            length=total,
        )


def gathered(parts: list[Deviations]) -> Deviations:
    """Samples of several layers together."""
    none = [np.zeros(0)]
    return Deviations(
        value=np.concatenate(none + [d.value for d in parts]),
        weight=np.concatenate(none + [d.weight for d in parts]),
        face=np.concatenate([np.zeros(0, np.int32)] + [d.face for d in parts]),
        row=np.concatenate([np.zeros(0, np.int64)] + [d.row for d in parts]),
    )


Span = Callable[[Floats, float], tuple[Floats, Floats]]


def measure_beads(
    moves: Moves,
    layer: DepositLayer,
    cut: Cut,
    *,
    allowed: float,
    step: float,
    notes: Notes,
    side: int = 0,
    span: Span | None = None,
) -> Deviations:
    """Deviations of the contour beads (and walls) of a layer; findings where a bead exceeds what is allowed.

    Parameters
    ----------
    moves : Moves
    layer : DepositLayer
    cut : Cut
        Of the layer.
    allowed : float
        mm, the referee's accuracy included. What rounded corners take of it is allowed inwards only.
    step : float
        Greatest distance of samples, mm.
    notes : Notes
        Findings are added here: the worst place of each bead.
    span : callable, optional
        From places and a bead's offset to the least and the greatest depth allowed there, where that is not the
        depth in the section.
    side : {0, -1, 1}
        0: the section is the layer's region, so both sides are judged. -1: the region is that or more, so only beads
        too far in are at fault; 1: that or less, so only those too far out.

    Returns
    -------
    Deviations
        Of the beads of greatest interest, those at the boundary: rank 1, or walls.
    """
    parts = []
    for bead in layer.beads:
        if not len(bead.rows):
            continue
        points, row = points_along(moves, bead.rows, step)
        around = abs(bead.offset - layer.stock) if np.isfinite(bead.offset - layer.stock) else None
        if cut.closed and (bead.role in INSIDE or not bead.role):
            depth = cut.depth(points, around) + layer.stock
            least, depth = (depth, depth) if span is None else span(points, bead.offset)
            _outside(moves, layer, bead, points, row, depth, allowed - layer.corner, notes)
        elif bead.role == "wall":
            least = depth = cut.distance(points, around)
        else:
            continue
        if bead.role not in {"contour", "wall"} or not np.isfinite(bead.offset):
            continue
        value = abs(bead.offset) - depth if bead.role == "wall" else bead.offset - depth
        if span is not None:
            value = np.maximum(value, 0.0) + np.minimum(bead.offset - least, 0.0)
        judged = value if side == 0 else side * np.maximum(side * value, 0.0)
        _judge(moves, layer, bead, points, row, judged, allowed, cut, notes)
        if bead.role == "contour":
            _direction(moves, layer, bead, cut, notes)
        if bead.rank in {"", "1"}:
            count = np.bincount(row, minlength=len(moves))
            weight = moves.length[row] / count[row]
            parts.append(Deviations(value=value, weight=weight, face=cut.face_at(points, around), row=row))
    return gathered(parts)


def _outside(
    moves: Moves,
    layer: DepositLayer,
    bead: Bead,
    points: Floats,
    row: npt.NDArray[np.int64],
    depth: Floats,
    allowed: float,
    notes: Notes,
) -> None:
    """A centreline outside the region."""
    low = int(depth.argmin())
    if depth[low] < -allowed and not bead.offset < 0:
        text = f"{bead.role or 'a'} bead {bead.index} leaves the part"
        notes.add(
            Finding(
                code="outside",
                level="error",
                text=text,
                layer=layer.index,
                at_mm=(float(points[low, 0]), float(points[low, 1]), layer.z),
                measured=float(-depth[low]),
                allowed=allowed,
                unit="mm",
            ),
            int(moves.line[row[low]]),
        )


def _judge(
    moves: Moves,
    layer: DepositLayer,
    bead: Bead,
    points: Floats,
    row: npt.NDArray[np.int64],
    value: Floats,
    allowed: float,
    cut: Cut,
    notes: Notes,
) -> None:
    """The worst place of a bead, if it is beyond what is allowed."""
    # Only the arc that rounds a corner may lie farther in; no other place has that share of the bound.
    rounded = (value < 0) & (moves.sweep[row] != 0)
    size = np.abs(value) + np.where(rounded, 0.0, layer.corner)
    # Where two moves meet both have the same deviation: the first of them is named.
    worst = int(np.flatnonzero(size >= size.max() - 1e-9)[0])
    if size[worst] <= allowed:
        return
    face = int(cut.face_at(points[worst : worst + 1])[0])
    notes.add(
        Finding(
            code="profile",
            level="error",
            text=f"{bead.role} bead {bead.index} lies too far {'out' if value[worst] > 0 else 'in'}",
            layer=layer.index,
            at_mm=(float(points[worst, 0]), float(points[worst, 1]), layer.z),
            face=face if face >= 0 else None,
            measured=float(value[worst]),
            allowed=allowed - (0.0 if rounded[worst] else layer.corner),
            unit="mm",
        ),
        int(moves.line[row[worst]]),
    )


def _direction(moves: Moves, layer: DepositLayer, bead: Bead, cut: Cut, notes: Notes) -> None:
    """Along most of a contour bead the material lies to its left, or to its right if it says so."""
    rows = bead.rows
    middle = at_parameter(moves, rows, np.full(len(rows), 0.5))
    ahead = at_parameter(moves, rows, np.full(len(rows), 0.51)) - middle
    left = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    left *= ASIDE / np.maximum(np.hypot(*left.T), 1e-300)[:, None]
    deeper = cut.depth(middle + left) - cut.depth(middle - left)
    deeper = -deeper if bead.reverse else deeper
    size = moves.length[rows]
    if size[deeper < -1e-6].sum() > size[deeper > 1e-6].sum():
        text = f"contour bead {bead.index} has the material on the {'left' if bead.reverse else 'right'}"
        notes.add(Finding(code="direction", level="error", text=text, layer=layer.index), bead.line)
