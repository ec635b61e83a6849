"""Paths that follow a measured platform: cut so that each move's height runs straight.

A machine moves its height evenly along a line, and along an arc in step with the angle (a helix: NISTIR 6556,
3.5.3). On a line in one cell the bilinear surface is a square of the way, a + b t + c t^2, and strays by |c| / 4 from
its chord. Along an arc of radius r in a cell |d2z/dangle2| is at most r g + r^2 |d| (g the greatest slope, d the
twist), and what bends by at most that strays by angle^2 / 8 of it. A move over several pieces strays by no more than
the chord does at their ends, plus what a piece strays. So each bound here is proven, not sampled.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from beadwright.bedmap._cross import crossings, places
from beadwright.bedmap._map import BedMap, Cells
from beadwright.curves import ArcPath, bounding_box, ends_of
from beadwright.errors import InputError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Complex = npt.NDArray[np.complex128]

INCH = 25.4  # mm
# Within a move the layer's thickness changes by at most this share of the nominal: its flow, even along a move, is then
# within 1 % of the demand, far below what a screw is known to (common practice: 3 to 5 %).
FLOW_STEP = 0.02
# A layer that is as thick as allowed but for rounding is that thick.
SLACK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Follower:
    """One layer above a measured platform.

    Attributes
    ----------
    bed : BedMap
    layer : int
        Index.
    z, height : float
        Nominal height of the nozzle and of the layer, mm.
    share : float
        Of the platform's height that the nozzle rises by: 1 - (index + 1) / n.
    part : float
        Of it that the layer is thinner by: 1 / n.
    bound : float
        Greatest distance of the nozzle's height from the surface's, mm.
    least, greatest : float
        Range of the thickness, mm.
    """

    bed: BedMap
    layer: int
    z: float
    height: float
    share: float
    part: float
    bound: float
    least: float
    greatest: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Following:
    """A path cut into moves whose height runs straight.

    Attributes
    ----------
    path : ArcPath
        The same line in the plane, with m moves.
    rise : (m + 1,) float
        Height of the nozzle above the layer's nominal one where the first move starts and where each ends, mm.
    thickness : (m + 1,) float
        Of the layer there, mm.
    bound : float
        Proven greatest distance of the nozzle's height from the surface's, mm.
    slope : float
        Greatest slope of the nozzle's surface in the cells met: what a step aside changes the height by.
    flow : float
        Greatest share by which the thickness anywhere on a move differs from the middle of that move's.
    """

    path: ArcPath
    rise: Floats
    thickness: Floats
    bound: float
    slope: float
    flow: float


class _Spans(NamedTuple):
    """Moves as complex ends, sweep (rad) and radius (mm, 0 for a line)."""

    start: Complex
    end: Complex
    sweep: Floats
    radius: Floats


class _Piece(NamedTuple):
    """Parts of moves, each in one cell: stray and change of the platform's height, and its slope."""

    stray: Floats
    change: Floats
    slope: Floats


def follow(follower: Follower, paths: Sequence[ArcPath]) -> list[Following]:
    """Cut paths so that straight heights follow the platform, and tell the heights: all at once, for most are short.

    Parameters
    ----------
    follower : Follower
    paths : sequence of ArcPath
        mm; of one move at least each, arcs of at most half a turn.

    Raises
    ------
    InputError
        The map does not cover a path, or the layer would be too thin or too thick somewhere; with the place.
    """
    if not paths:
        return []
    bed = follower.bed
    ends = ends_of(paths)
    points = ends.points[:, 0] + 1j * ends.points[:, 1]
    spans = _spans(points[ends.start], points[ends.end], ends.bulge)
    boxes = _boxes(spans, ends.bulge)
    if (boxes[0].min(axis=0) < bed.box[0]).any() or (boxes[1].max(axis=0) > bed.box[1]).any():
        for path in paths:
            _covered(follower, path)
    # Of the platform's own height: what a move may stray by, and change by.
    most = follower.bound / follower.share if follower.share > 0 else math.inf
    range_ = FLOW_STEP * follower.height / follower.part
    ones, noughts = np.ones(len(spans.sweep)), np.zeros(len(spans.sweep))
    crossing = _crosses(bed, *boxes)
    whole = _pieces(bed, spans, noughts, ones)
    straight = ~(crossing | (whole.stray > most) | (whole.change > range_))
    worst = [
        np.maximum.reduceat(np.where(straight, column, 0.0), ends.first_move[:-1]).tolist()
        for column in whole
    ]
    shares: dict[int, dict[int, Floats]] = {}
    for row in np.flatnonzero(~straight).tolist():
        own = int(np.searchsorted(ends.first_move, row, side="right")) - 1
        cut = _cut_span(
            bed, _taken(spans, np.array([row])), crosses=bool(crossing[row]), most=most, range_=range_
        )
        shares.setdefault(own, {})[row - int(ends.first_move[own])] = cut.share
        for column, value in zip(worst, (cut.stray, cut.change, cut.slope), strict=True):
            column[own] = max(column[own], value)
    moves = [slice(a, b) for a, b in itertools.pairwise(ends.first_move.tolist())]
    made = [
        _cut_path(path, _taken(spans, moves[row]), shares[row]) if row in shares else path
        for row, path in enumerate(paths)
    ]
    ground = bed.height(np.concatenate([path.points for path in made]))
    firsts = np.cumsum([0, *(len(path.points) for path in made)]).tolist()
    found = []
    for path, (a, b), stray, change, slope in zip(made, itertools.pairwise(firsts), *worst, strict=True):
        own_ground = np.append(ground[a:b], ground[a]) if path.closed else ground[a:b]
        thickness = follower.height - follower.part * own_ground
        least = float(thickness.min())
        found.append(
            Following(
                path=path,
                rise=follower.share * own_ground,
                thickness=thickness,
                bound=follower.share * stray,
                slope=follower.share * slope,
                flow=follower.part * (change / 2 + stray) / least if least > 0 else math.inf,
            )
        )
        _in_range(follower, found[-1], follower.part * stray)
    return found


def _boxes(spans: _Spans, bulge: Floats) -> tuple[Floats, Floats]:
    """Least and greatest x, y of each move, (m, 2): of its chord, grown by the rise of its arc."""
    rise = (np.abs(bulge) * np.abs(spans.end - spans.start) / 2)[:, None]
    ends = _xy(spans.start), _xy(spans.end)
    return np.minimum(*ends) - rise, np.maximum(*ends) + rise


def _covered(follower: Follower, path: ArcPath) -> None:
    """The map covers the path."""
    bed = follower.bed
    low, high = bounding_box(path)
    for axis, name in enumerate("XY"):
        for side, reached, beyond in (
            (0, low[axis], low[axis] < bed.box[0, axis]),
            (1, high[axis], high[axis] > bed.box[1, axis]),
        ):
            if beyond:
                raise InputError(
                    f"{bed.file}: measured from X {bed.x[0]:g} to {bed.x[-1]:g}, Y {bed.y[0]:g} to {bed.y[-1]:g} mm;"
                    f" layer {follower.layer} has a bead that reaches {name} {reached:.3f}, beyond {name}"
                    f" {bed.box[side, axis]:g}: {_inches(bed, low, high)}measure there too, or move the part (at)"
                )


def _inches(bed: BedMap, low: Floats, high: Floats) -> str:
    """What to say where the map would cover the path if its numbers were inches."""
    covers = (bed.box[0] * INCH <= low).all() and (high <= bed.box[1] * INCH).all()
    return "if its numbers are inches, write them in mm; else " if covers else ""


def _in_range(follower: Follower, made: Following, room: float) -> None:
    """Thickness and rise are what the machine can lay."""
    ground, nodes = (follower.height - made.thickness) / follower.part, made.path.points
    low, high = int(made.thickness.argmin()), int(made.thickness.argmax())
    for row, wrong, limit, word in (
        (low, made.thickness[low] - room < follower.least - SLACK, follower.least, "thinner"),
        (high, made.thickness[high] + room > follower.greatest + SLACK, follower.greatest, "thicker"),
    ):
        if wrong:
            x, y = nodes[row % len(nodes)]
            raise InputError(
                f"{follower.bed.file}: at X {x:.1f} Y {y:.1f} the platform stands at"
                f" {ground[row]:.3f} mm, so layer {follower.layer} would be {made.thickness[row]:.3f} mm thick,"
                f" {word} than {limit:g} mm: let more layers share the height (bed_map.layers), widen bed_map.least or"
                " bed_map.greatest if the machine lays that well, or level the platform"
            )
    worst = int(np.abs(made.rise).argmax())
    if abs(made.rise[worst]) + made.bound > follower.height / 2 + SLACK:
        x, y = nodes[worst % len(nodes)]
        raise InputError(
            f"{follower.bed.file}: at X {x:.1f} Y {y:.1f} the platform stands at"
            f" {ground[worst]:.3f} mm, so layer {follower.layer} would leave its height by"
            f" {abs(made.rise[worst]):.3f} mm, more than half of {follower.height:g} mm: level the platform"
        )


def _spans(start: Complex, end: Complex, bulge: Floats) -> _Spans:
    b = np.abs(bulge)
    radius = np.where(b > 0, np.abs(end - start) * (1 + b * b) / np.where(b > 0, 4 * b, 1.0), 0.0)
    return _Spans(start, end, 4 * np.arctan(bulge), radius)


def _taken(spans: _Spans, rows: Ints | slice) -> _Spans:
    """Some of the moves."""
    return _Spans(spans.start[rows], spans.end[rows], spans.sweep[rows], spans.radius[rows])


def _xy(points: Complex) -> Floats:
    return np.stack([points.real, points.imag], axis=1)


def _crosses(bed: BedMap, low: Floats, high: Floats) -> npt.NDArray[np.bool_]:
    """Whether a move may leave the cell in which it starts: by its box."""
    found = np.zeros(len(low), bool)
    for axis, lines in enumerate((bed.x, bed.y)):
        found |= np.searchsorted(lines[1:-1], low[:, axis], side="left") != np.searchsorted(
            lines[1:-1], high[:, axis], side="right"
        )
    return found


def _pieces(bed: BedMap, spans: _Spans, first: Floats, last: Floats) -> _Piece:
    """Stray and change over parts of moves between two shares, each in the cell of its middle."""
    middle = places(spans.start, spans.end, spans.sweep, (first + last) / 2)
    cells = bed.cells(bed.cell_of(_xy(middle)))
    a = places(spans.start, spans.end, spans.sweep, first)
    b = places(spans.start, spans.end, spans.sweep, last)
    step = b - a
    line = spans.sweep == 0
    twist = np.abs(cells.d * step.real * step.imag)
    turn = np.abs(spans.sweep) * (last - first)
    bend = spans.radius * cells.slope + spans.radius**2 * np.abs(cells.d)
    steep = np.abs(_along(cells, middle, spans, step))
    return _Piece(
        stray=np.where(line, twist / 4, turn**2 / 8 * bend),
        # The slope along a line runs straight, along an arc it changes by at most the bend.
        change=np.where(line, steep + twist, steep * turn + turn**2 / 2 * bend),
        slope=cells.slope,
    )


def _along(cells: Cells, at: Complex, spans: _Spans, step: Complex) -> Floats:
    """Slope in the middle of a part, by its share if it is a line, by its angle if it is an arc."""
    u, v = at.real - cells.x, at.imag - cells.y
    direction = np.where(
        spans.sweep == 0,
        step,
        spans.radius * step / np.where(np.abs(step) > 0, np.abs(step), 1.0),
    )
    return np.asarray((cells.a + cells.d * v) * direction.real + (cells.b + cells.d * u) * direction.imag)


class _Cut(NamedTuple):
    """Shares of a move at which its parts begin, and what was measured over them."""

    share: Floats
    stray: float
    change: float
    slope: float


def _cut_span(bed: BedMap, span: _Spans, *, crosses: bool, most: float, range_: float) -> _Cut:
    """The fewest parts of one move, from its start on, that stay within what is allowed."""
    at, off = (
        crossings(bed, span.start[0], span.end[0], float(span.sweep[0]), float(span.radius[0]))
        if crosses
        else ([], 0.0)
    )
    marks = np.array([0.0, *at, 1.0])
    wide = _taken(span, np.zeros(len(marks) - 1, np.int64))
    pieces = _pieces(bed, wide, marks[:-1], marks[1:])
    # Parts that are joined over a grid line stray by more than each alone: half is left for that.
    room = most / 2 if len(marks) > 2 else most
    count = np.maximum(np.sqrt(pieces.stray / room), pieces.change / range_)
    count = np.maximum(np.ceil(count - SLACK), 1).astype(np.int64)
    nodes = np.concatenate(
        [
            *(
                low + (high - low) * np.arange(k) / k
                for low, high, k in zip(marks[:-1], marks[1:], count, strict=True)
            ),
            [1.0],
        ]
    )
    stray = np.repeat(pieces.stray / count**2, count)
    slope = float(pieces.slope.max())
    many = _taken(span, np.zeros(len(nodes), np.int64))
    height = bed.height(_xy(places(many.start, many.end, many.sweep, nodes)))
    kept, worst, widest, first = [0], 0.0, 0.0, 0
    while first < len(nodes) - 1:
        last = first + 1
        own = _over(nodes, height, stray, first, last)
        while last < len(nodes) - 1:
            more = _over(nodes, height, stray, first, last + 1)
            if more[0] > most or more[1] > range_:
                break
            own, last = more, last + 1
        worst, widest = max(worst, own[0]), max(widest, own[1])
        kept.append(last)
        first = last
    return _Cut(nodes[kept[:-1]], worst + off * slope, widest, slope)


def _over(nodes: Floats, height: Floats, stray: Floats, first: int, last: int) -> tuple[float, float]:
    """Stray and change of one part from a node to another."""
    t, z = nodes[first : last + 1], height[first : last + 1]
    chord = z[0] + (z[-1] - z[0]) * (t - t[0]) / (t[-1] - t[0])
    most = float(stray[first:last].max())
    return float(np.abs(z - chord).max()) + most, float(np.ptp(z)) + most


def _cut_path(path: ArcPath, spans: _Spans, cuts: Mapping[int, Floats]) -> ArcPath:
    """The path with some moves cut at shares, the first of which is the move's start."""
    shares = [cuts.get(row, np.zeros(1)) for row in range(len(path.bulge))]
    count = np.array([len(own) for own in shares])
    if (count == 1).all():
        return path
    row = np.repeat(np.arange(len(shares)), count)
    share = np.concatenate(shares)
    following = np.append(share[1:], 1.0)
    following[np.cumsum(count) - 1] = 1.0
    at = places(spans.start[row], spans.end[row], spans.sweep[row], share)
    at = np.where(share == 0, spans.start[row], at)
    if not path.closed:
        at = np.append(at, spans.end[-1])
    return ArcPath(
        points=_xy(at),
        bulge=np.tan(spans.sweep[row] * (following - share) / 4),
        face=path.face[row],
        support=path.support[row],
        closed=path.closed,
    )
