"""A bead that goes on from layer to layer: what it lays, how thick that is, and where the part wants it.

How thick it lies at a place follows from the moves alone: its height, less that of what was laid last under the place.
The part is cut by the kernel half a layer height under the nozzle, place by place, as a level layer is in its middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model
from beadwright.numeric import Finding
from beadwright.verify._complete import distance_to_beads
from beadwright.verify._cover import bead_area
from beadwright.verify._cut import Cut, cut
from beadwright.verify._deposit import Bead, Deposit, DepositLayer
from beadwright.verify._moves import Moves, at_parameter
from beadwright.verify._profile import Deviations, gathered
from beadwright.verify._reading import Reading
from beadwright.verify._result import Notes

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]

# Distance of samples along a bead at most, mm, and how many a move has at most.
STEP, MOST = 10.0, 8
# Places of a layer at which the kernel cuts the part anew.
PLACES = 6
# Share of a whole bead by which what is laid may be off: half of what a screw is known to (common practice).
EVEN = 0.02
# A move shorter than this tells no flow, mm: its digits are too few.
SHORT = 5.0
# In layer heights, how thick a turn may lie over the half turn that lacks before a climb without a flow of its own
# (a layer is laid well from half to one and a half of the bead's height: common practice).
OVER_A_GAP = 1.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Local:
    """Samples of a bead: place, height and thickness there (mm), the length of way that each stands for, its move."""

    at: Floats
    z: Floats
    thick: Floats
    way: Floats
    row: Rows


def climbs(moves: Moves, layer: DepositLayer) -> bool:
    """Whether a layer holds a wall that is not level."""
    walls = [bead.rows for bead in layer.beads if bead.role == "wall"]
    return any(bool((moves.end[rows, 2] != moves.start[rows, 2]).any()) for rows in walls)


def begins(moves: Moves, layers: Sequence[DepositLayer], place: int) -> bool:
    """Whether a bead begins to climb in a layer, on a level one below, and goes on into the one above.

    It may begin where it is half a layer thick: what lacks before that, the turn above lies over.
    """
    layer = layers[place]
    after = layers[place + 1] if place + 1 < len(layers) else None
    return not layer.carried and place > 0 and climbs(moves, layer) and after is not None and after.carried


def lies_on(moves: Moves, layers: Sequence[DepositLayer], place: int) -> DepositLayer | None:
    """What is below a layer: of one that lies on the begin of a climb also what that lies on."""
    if not place:
        return None
    below = layers[place - 1]
    if not begins(moves, layers, place - 1):
        return below
    return replace(below, beads=(*layers[place - 2].beads, *below.beads))


def local(moves: Moves, below: DepositLayer | None, layer: DepositLayer, bead: Bead) -> Local:
    """How thick a bead lies at samples along it."""
    rows = bead.rows
    way = _ways(moves, rows)
    count = np.clip(np.ceil(way / STEP), 1, MOST).astype(np.int64)
    row = np.repeat(rows, count)
    first = np.cumsum(count) - count
    t = (np.arange(len(row)) - np.repeat(first, count) + 0.5) / np.repeat(count, count)
    at = at_parameter(moves, row, t)
    z = moves.start[row, 2] + t * (moves.end[row, 2] - moves.start[row, 2])
    height = layer.z - layer.z0
    # Below the first layer of a program nothing is known: a rest goes on from what an earlier one laid.
    under = z - height
    reach = bead.width / 2
    if below is not None and below.beads:
        under = _top(moves, list(below.beads), at, reach)
    # A level turn at the top lies on the turn that climbed there.
    level = moves.end[row, 2] == moves.start[row, 2]
    climbing = rows[moves.end[rows, 2] > moves.start[rows, 2]]
    if level.any() and len(climbing):
        under[level] = np.maximum(under[level], _top(moves, [replace(bead, rows=climbing)], at[level], reach))
    return Local(
        at=at,
        z=z,
        thick=z - np.where(np.isfinite(under), under, layer.z0),
        way=np.repeat(way / count, count),
        row=row,
    )


def _ways(moves: Moves, rows: Rows) -> Floats:
    """Length of moves in the plane, mm."""
    rise = moves.end[rows, 2] - moves.start[rows, 2]
    return np.asarray(np.sqrt(np.maximum(moves.length[rows] ** 2 - rise**2, 0.0)))


def _top(moves: Moves, beads: list[Bead], points: Floats, reach: float) -> Floats:
    """Height of the nearest place of each of some beads, the greatest of those within reach; -inf without one."""
    top = np.full(len(points), -np.inf)
    for bead in beads:
        if not len(bead.rows):
            continue
        far, row = distance_to_beads(moves, [bead], points)
        z = moves.start[row, 2] + _feet(moves, row, points) * (moves.end[row, 2] - moves.start[row, 2])
        top = np.where(far <= reach, np.maximum(top, z), top)
    return top


def _feet(moves: Moves, row: Rows, points: Floats) -> Floats:
    """Share of its own move at the place nearest to each point."""
    a, b, centre, sweep = moves.start[row, :2], moves.end[row, :2], moves.centre[row], moves.sweep[row]
    step = b - a
    size = np.maximum((step * step).sum(axis=1), np.finfo(float).tiny)
    along = np.clip(((points - a) * step).sum(axis=1) / size, 0.0, 1.0)
    begin = np.arctan2(*(a - centre).T[::-1])
    turned = np.mod((np.arctan2(*(points - centre).T[::-1]) - begin) * np.sign(sweep), 2 * np.pi)
    # Beside the arc the nearer end counts.
    nearer = np.hypot(*(points - a).T) > np.hypot(*(points - b).T)
    whole = np.where(sweep == 0, 1.0, np.abs(sweep))
    round_ = np.where(turned <= whole, turned / whole, nearer.astype(float))
    return np.asarray(np.where(sweep == 0, along, round_))


def risen_volume(
    moves: Moves,
    below: DepositLayer | None,
    layer: DepositLayer,
    bead: Bead,
    section: str,
    *,
    even: bool = False,
) -> float:
    """Volume of a bead by how thick it lies, mm3; or, where every place of it gets as much, by its whole height."""
    if even:
        return float(
            bead_area(max(bead.width, bead.height), bead.height, section) * _ways(moves, bead.rows).sum()
        )
    own = local(moves, below, layer, bead)
    return float(_areas(own, bead, section) @ own.way)


def _areas(own: Local, bead: Bead, section: str) -> Floats:
    thick = np.maximum(own.thick, 0.0)
    wide = np.maximum(bead.width, thick)
    return np.array([bead_area(w, t, section) for w, t in zip(wide.tolist(), thick.tolist(), strict=True)])


def check_rising(reading: Reading, deposit: Deposit, section: str, notes: Notes) -> None:
    """Every bead that is told to go on from the layer below really does, and lies as thick as the layers are high."""
    moves = reading.moves
    for place, layer in enumerate(deposit.layers):
        below = deposit.layers[place - 1] if place else None
        most = layer.z - layer.z0
        if layer.carried:
            last = below.beads[-1].rows if below is not None and below.beads else np.zeros(0, np.int64)
            first = layer.beads[0].rows if layer.beads else last
            if below is None or not len(last) or not len(first) or first[0] != last[-1] + 1:
                text = "the layer says that its bead goes on from the one below, but something stands between"
                notes.fault(layer, "carried", text, line=layer.line)
                continue
            most = max(most, below.z - below.z0)
            if begins(moves, deposit.layers, place - 1):
                most *= OVER_A_GAP
        elif not begins(moves, deposit.layers, place):
            continue
        for bead in layer.beads:
            if bead.role != "wall" or not bead.width > 0 or not len(bead.rows):
                continue
            own = local(moves, lies_on(moves, deposit.layers, place), layer, bead)
            _thickness(moves, layer, bead, own, most, notes)
            _flow(reading, layer, bead, own, section, notes)


def _thickness(moves: Moves, layer: DepositLayer, bead: Bead, own: Local, most: float, notes: Notes) -> None:
    """A place where the bead would be thicker than a layer, or press into what is below."""
    over = np.maximum(own.thick - most, -own.thick)
    worst = int(over.argmax())
    if over[worst] <= EVEN * most:
        return
    what = "too high above" if own.thick[worst] > most else "inside"
    x, y = own.at[worst].tolist()
    finding = Finding(
        code="rising-height",
        level="error",
        layer=layer.index,
        at_mm=(x, y, float(own.z[worst])),
        measured=float(own.thick[worst]),
        allowed=most,
        unit="mm",
        text=f"rising bead {bead.index} runs {what} what lies below it",
    )
    notes.add(finding, int(moves.line[own.row[worst]]))


def _flow(reading: Reading, layer: DepositLayer, bead: Bead, own: Local, section: str, notes: Notes) -> None:
    """Whether the flow follows the thickness, where the program can make it so: by the extruder's axis."""
    moves = reading.moves
    if not reading.told.header.get("axis"):
        return
    whole = float(bead_area(max(bead.width, bead.height), bead.height, section))
    volume = np.bincount(own.row, _areas(own, bead, section) * own.way, minlength=len(moves))[bead.rows]
    way = _ways(moves, bead.rows)
    given = moves.advance[bead.rows]
    long = way >= SHORT
    if not long.any() or not volume.sum() > 0:
        return
    # The axis counts a volume in a unit of its own, which cancels.
    laid = given * volume.sum() / given.sum()
    off = np.where(long, np.abs(laid - volume) / np.maximum(way, SHORT), 0.0) / whole
    worst = int(off.argmax())
    if off[worst] <= EVEN:
        return
    row = int(bead.rows[worst])
    x, y, z = moves.end[row].tolist()
    finding = Finding(
        code="rising-flow",
        level="error",
        layer=layer.index,
        at_mm=(x, y, z),
        measured=100 * float(off[worst]),
        allowed=100 * EVEN,
        unit="%",
        text=f"the flow along rising bead {bead.index} does not follow its thickness, in shares of the whole bead",
    )
    notes.add(finding, int(moves.line[row]))


def measure_rising(
    moves: Moves,
    model: Model,
    matrix: Floats,
    below: DepositLayer | None,
    layer: DepositLayer,
    *,
    allowed: float,
    notes: Notes,
    later: tuple[frozenset[int], ...] = (),
) -> tuple[Deviations, float]:
    """Deviations of the beads of a layer from the part at their own heights, and how far the wall goes aside in it, mm.

    Of places spread over each bead: at each the kernel cuts the part half a layer height under it.
    """
    parts, aside = [], 0.0
    here = cut(model, matrix, layer.cuts, layer.rule, later)
    for bead in layer.beads:
        if bead.role != "wall" or not len(bead.rows) or not np.isfinite(bead.offset):
            continue
        own = local(moves, below, layer, bead)
        height = layer.z - layer.z0
        under = height if below is None else below.z - below.z0
        share = np.clip((own.z - layer.z0) / height, 0.0, 1.0)
        middle = own.z - ((1 - share) * under + share * height) / 2
        way = np.cumsum(own.way) - own.way / 2
        picked = np.unique(np.searchsorted(way, (np.arange(PLACES) + 0.5) / PLACES * way[-1]))
        picked = picked[picked < len(way)]
        for place in picked.tolist():
            found = cut(model, matrix, (float(middle[place]),), "neutral", later)
            if not len(found.segments):
                continue
            point = own.at[place : place + 1]
            depth = found.depth(point) if found.closed else found.distance(point)
            value = np.array([bead.offset - depth[0] if found.closed else abs(bead.offset) - depth[0]])
            if bead.middle:
                # It keeps no distance from the boundary, but stays inside.
                value = np.maximum(-depth, 0.0) if found.closed else np.zeros(1)
            aside = max(aside, _apart(here, found))
            _judge(
                moves,
                layer,
                bead,
                point[0],
                float(own.z[place]),
                int(own.row[place]),
                value,
                found,
                allowed,
                notes,
            )
            parts.append(
                Deviations(
                    value=value,
                    weight=np.array([way[-1] / len(picked)]),
                    face=found.face_at(point),
                    row=own.row[place : place + 1],
                )
            )
    return gathered(parts), aside


def _apart(one: Cut, other: Cut) -> float:
    """Greatest distance of a section's boundary from that of another one, mm."""
    if not len(one.segments) or not len(other.segments):
        return 0.0
    return float(one.distance(other.segments[:, 0]).max())


def _judge(
    moves: Moves,
    layer: DepositLayer,
    bead: Bead,
    point: Floats,
    z: float,
    row: int,
    value: Floats,
    found: Cut,
    allowed: float,
    notes: Notes,
) -> None:
    off = float(value[0])
    if abs(off) <= allowed + found.accuracy:
        return
    face = int(found.face_at(point[None])[0])
    notes.add(
        Finding(
            code="profile",
            level="error",
            text=f"rising bead {bead.index} lies too far {'out' if off > 0 else 'in'} of the section at its own height",
            layer=layer.index,
            at_mm=(float(point[0]), float(point[1]), z),
            face=face if face >= 0 else None,
            measured=off,
            allowed=allowed + found.accuracy,
            unit="mm",
        ),
        int(moves.line[row]),
    )
