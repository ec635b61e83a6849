"""Stock on faces: the deposit's outer boundary against the distance from the part's faces, by the CAD kernel.

A point of the boundary stands for its whole height in the layer. What a face with stock wants is its ball of that
radius rolled over it, so somewhere in the layer the point must be as far from the face as the amount and nowhere
nearer; a face without stock wants it on the section, at the plane of the layer. The nearest want decides. Beside an
edge where the amount changes, stock ends by a step: no want is judged there. Where faces have rules of their own, the
layer is the region by those rules joined with the stock: what the rules leave open between two depths stays open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model
from beadwright.kernel import Nearest, nearest_on_faces
from beadwright.numeric import Finding
from beadwright.verify._cut import Cut, Floats
from beadwright.verify._deposit import Bead, DepositLayer
from beadwright.verify._moves import Moves, at_parameter
from beadwright.verify._options import VerifyOptions
from beadwright.verify._profile import Deviations, Span, gathered
from beadwright.verify._result import Notes

SAMPLES = 24
"""Places looked at in a layer: each asks the kernel for several distances of some milliseconds."""
HEIGHTS = np.array([0.01, 0.5, 0.99])
"""Where in the layer distances are taken, as shares of its height: inside it, since its borders lie on edges."""
EXTENT = 1.0 - float(HEIGHTS[-1] - HEIGHTS[0])
"""What of the layer lies beyond them: a wall by which stock ends, and that leans, may be met there alone."""
CURVED = 0.05
"""What a face that bends within a layer may be nearer between those heights, mm."""
AHEAD = 0.51


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Want:
    """How far places are beyond what some faces want, mm, what their lean may add, and which are at a step.

    Between the least and the greatest that rules of faces allow; the same where there are none.
    """

    least: Floats
    greatest: Floats
    lean: Floats
    step: npt.NDArray[np.bool_]


def measure_stocked(
    moves: Moves,
    layer: DepositLayer,
    cut: Cut,
    part: tuple[Model, Floats],
    options: VerifyOptions,
    *,
    allowed: float,
    notes: Notes,
    span: Span | None = None,
) -> Deviations:
    """Deviations of the outermost contour beads of a layer with stock; findings where they exceed what is allowed.

    Parameters
    ----------
    moves : Moves
    layer : DepositLayer
    cut : Cut
        The part's own section in the layer.
    part : (Model, (3, 4) float)
        And its placement.
    options : VerifyOptions
        `stock` tells the amounts.
    allowed : float
        mm.
    notes : Notes
        Findings are added here: the worst place of each bead.
    span : callable, optional
        Least and greatest depth of places in the region without stock, where faces have rules of their own.
    """
    beads = [b for b in layer.beads if b.role == "contour" and b.rank == "1" and len(b.rows)]
    total = sum(len(bead.rows) for bead in beads)
    parts = []
    for bead in beads:
        every = max(1, round(len(bead.rows) * total / (SAMPLES * len(bead.rows))))
        rows = bead.rows[::every]
        edge = _boundary(moves, bead, rows)
        want = _wanted(layer, cut, part, options, edge, allowed, span)
        judged = np.flatnonzero(~want.step)
        if not len(judged):
            continue
        # as near to 0 as the rules let it be
        least, greatest, lean = want.least[judged], want.greatest[judged], want.lean[judged]
        value = np.maximum(least, 0.0) + np.minimum(greatest, 0.0)
        _judge(moves, layer, bead, rows[judged], edge[judged], value, lean, allowed, notes)
        parts.append(
            Deviations(
                value=value,
                weight=moves.length[rows[judged]],
                face=np.full(len(judged), -1, np.int32),
                row=rows[judged],
            )
        )
    return gathered(parts)


def _boundary(moves: Moves, bead: Bead, rows: npt.NDArray[np.int64]) -> Floats:
    """Places of the deposit's outer boundary beside the middles of moves."""
    middle = at_parameter(moves, rows, np.full(len(rows), 0.5))
    # From as far behind the middle as ahead of it: on an arc only such a chord has the tangent's direction.
    behind = at_parameter(moves, rows, np.full(len(rows), 1.0 - AHEAD))
    ahead = at_parameter(moves, rows, np.full(len(rows), AHEAD)) - behind
    right = np.column_stack([ahead[:, 1], -ahead[:, 0]]) * (-1.0 if bead.reverse else 1.0)
    right /= np.maximum(np.hypot(*right.T), 1e-300)[:, None]
    return np.asarray(middle + bead.offset * right)


def _wanted(
    layer: DepositLayer,
    cut: Cut,
    part: tuple[Model, Floats],
    options: VerifyOptions,
    edge: Floats,
    allowed: float,
    span: Span | None,
) -> _Want:
    """What is wanted at places of the boundary, by the faces that decide."""
    model, matrix = part
    size = float(np.cbrt(abs(np.linalg.det(matrix[:, :3]))))
    back = np.linalg.inv(matrix[:, :3])

    def to_part(z: float) -> Floats:
        return (np.column_stack([edge, np.full(len(edge), z)]) - matrix[:, 3]) @ back.T

    value, lean = np.full(len(edge), np.inf), np.zeros(len(edge))
    step = np.zeros(len(edge), bool)
    bare = {face.id for face in model.faces} - set(options.stock)
    for amount in sorted(set(options.stock.values())):
        ids = {key for key, own in options.stock.items() if own == amount}
        for share in HEIGHTS:
            points = to_part(layer.z - share * (layer.z - layer.z0))
            found = nearest_on_faces(model, ids, points, within=(amount + allowed) / size)
            far = found.distance * size
            step |= (far <= amount + allowed) & _beside(found, matrix, allowed, EXTENT * (layer.z - layer.z0))
            nearer = far - amount < value
            # A place on a bare face with the material between it and the stock is right as it is.
            doubt = np.flatnonzero(nearer & found.behind) if bare else np.zeros(0, np.int64)
            if len(doubt):
                beside = nearest_on_faces(model, bare, points[doubt], within=0.0)
                nearer[doubt] = beside.distance * size > allowed
            value[nearer] = far[nearer] - amount
            up = ((points - found.foot) @ matrix[2, :3]) / np.maximum(far, 1e-300)
            lean[nearer] = np.abs(up[nearer]) * (layer.z - layer.z0) + CURVED
    greatest = value
    if bare and len(cut.segments):
        # The section's own boundary belongs to faces with and without stock; the former want more, so the rest decides.
        own = cut.depth(edge)
        low, high = (own, own) if span is None else span(edge, 0.0)
        # What a rule takes away of the part itself, stock beside it does not bring back.
        greatest = np.where(low < own, -low, np.minimum(value, -low))
        lean = np.where(-high < value, 0.0, lean)
        value = np.minimum(value, -high)
    return _Want(least=value, greatest=greatest, lean=lean, step=step)


def _beside(found: Nearest, matrix: Floats, allowed: float, beyond: float) -> npt.NDArray[np.bool_]:
    """Whether feet lie on the border of their faces, or so near beside it that it is met elsewhere in the layer."""
    way = np.where(np.isfinite(found.border), found.border - found.foot, 1e9) @ matrix[:, :3].T
    far, aside = np.linalg.norm(way, axis=1), np.hypot(way[:, 0], way[:, 1])
    return np.asarray((far <= allowed) | ((far <= allowed + beyond) & (aside >= np.abs(way[:, 2]))))


def _judge(
    moves: Moves,
    layer: DepositLayer,
    bead: Bead,
    rows: npt.NDArray[np.int64],
    edge: Floats,
    value: Floats,
    lean: Floats,
    allowed: float,
    notes: Notes,
) -> None:
    """The worst place of a bead, if it is beyond what is allowed."""
    beyond = np.where(value > 0, value - lean, -value)
    worst = int(beyond.argmax())
    if beyond[worst] <= allowed:
        return
    far = "out: more stock than asked for" if value[worst] > 0 else "in: less stock than asked for"
    notes.add(
        Finding(
            code="profile",
            level="error",
            text=f"{bead.role} bead {bead.index} lies too far {far}",
            layer=layer.index,
            at_mm=(float(edge[worst, 0]), float(edge[worst, 1]), layer.z),
            measured=float(value[worst]),
            allowed=allowed,
            unit="mm",
        ),
        int(moves.line[rows[worst]]),
    )
