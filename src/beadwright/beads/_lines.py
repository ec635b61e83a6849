"""Parallel-line fill: lines side by side inside a region, joined along its boundary into few beads.

Lines are spaced so that whole beads fill the region from side to side, and from one long straight side that
runs along them to the next: their width is what that asks, within what one bead can take. A line ends, and
turns along the boundary to the next, where its bead meets the contour bead and overlaps it as set.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.arcs import offset
from beadwright.beads._rows import Rows, pieces_of, rows_of, turned, turned_path
from beadwright.beads._start import cut_between
from beadwright.beads._zones import WallRange
from beadwright.curves import ArcPath, ArcRegion, bounding_box, chords, lengths

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Sides along the lines count from this many widths of length on, and bands between them are at least this
# many widths high: then a bead's width changes by a sixth at most.
SIDE, BAND = 4.0, 3.0
# A side runs along the lines if it rises by less than this over its length, mm.
LEVEL = 1e-3
# Two lines are joined along the boundary over at most this many spacings.
FAR = 3.0
# Heights at which a line's end is looked at, in widths from its middle: an end is cut square at their mean.
AROUND = (-0.4, -0.2, 0.0, 0.2, 0.4)
# An end moves out of the line's own crossing by at most this many widths.
MOST = 0.5
# Lines shorter than this many widths are left out.
SHORT = 1.0
# Without overlap the outermost lines run along the track of the turns: it is kept outside of them by this, mm.
ROOM = 1e-3
# Turns count as equally sharp where their cosines agree to this many places, so that rounding decides nothing.
SHARP = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePattern:
    """How parallel lines are laid.

    Attributes
    ----------
    angle : float
        Of the lines against x, rad.
    spacing : float
        Of whole beads, mm.
    width : float
        Of whole beads, mm.
    overlap : float
        By how much ends of lines overlap what bounds them, mm.
    joined : float
        Share of the turns along the boundary by which lines are joined that are made, the gentlest first:
        0 leaves every line to itself.
    limits : WallRange
        Of what one bead can take.
    """

    angle: float
    spacing: float
    width: float
    overlap: float
    joined: float
    limits: WallRange


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """A centreline, its bead's width, mm, and of how many lines or rings it was joined."""

    path: ArcPath
    width: float
    joined: int = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Band:
    heights: Floats
    width: float


def line_beads(region: ArcRegion, core: ArcRegion, pattern: LinePattern) -> tuple[Laid, ...]:
    """Fill a region with parallel lines.

    Parameters
    ----------
    region : ArcRegion
        What is left inside the contour beads.
    core : ArcRegion
        Centrelines stay inside it: the layer's region eroded by half a width.
    pattern : LinePattern

    Returns
    -------
    tuple of Laid
    """
    inner = turned(core, -pattern.angle)
    found: list[Laid] = []
    for piece in pieces_of(turned(region, -pattern.angle)):
        for band in _bands(piece, pattern):
            for path, joined in _band_paths(piece, inner, band, pattern):
                found.append(Laid(path=turned_path(path, pattern.angle), width=band.width, joined=joined))
    return tuple(found)


def _bands(piece: ArcRegion, pattern: LinePattern) -> list[_Band]:
    """Heights of lines, between level sides of the region, and the width that fills each band."""
    low, high = bounding_box(piece.loops[0])
    levels = [float(low[1]), float(high[1])]
    for _, y in sorted(_sides(piece, SIDE * pattern.width), reverse=True):
        if all(abs(y - other) >= BAND * pattern.spacing for other in levels):
            levels.append(y)
    loss = pattern.width - pattern.spacing
    least, most = pattern.limits.least - loss, pattern.limits.most - loss
    bands = []
    for a, b in itertools.pairwise(sorted(levels)):
        count = max(1, round((b - a) / pattern.spacing))
        if (b - a) / count < least:
            count = max(1, count - 1)
        spacing = min((b - a) / count, most)
        if spacing < least:
            continue
        middle, reach = (a + b) / 2, spacing * (count - 1) / 2
        bands.append(_Band(heights=np.linspace(middle - reach, middle + reach, count), width=spacing + loss))
    return bands


def _sides(piece: ArcRegion, least: float) -> list[tuple[float, float]]:
    """Length and height of straight sides that run along the lines."""
    found = []
    for loop in piece.loops:
        chord = chords(loop)
        level = (loop.bulge == 0) & (np.abs(chord[:, 1]) < LEVEL) & (np.abs(chord[:, 0]) >= least)
        found += [(float(abs(chord[i, 0])), float(loop.points[i, 1])) for i in np.flatnonzero(level)]
    return found


def _band_paths(
    piece: ArcRegion, core: ArcRegion, band: _Band, pattern: LinePattern
) -> list[tuple[ArcPath, int]]:
    """Centrelines of a band, each with the number of lines in it."""
    if pattern.joined <= 0:
        rows = rows_of(piece, band.heights)
        ends = square_ends(piece, core, band.heights, band.width, rows.line, rows.ends, pattern.overlap)
        kept = np.flatnonzero(ends[:, 1] - ends[:, 0] >= SHORT * band.width)
        return [(_straight(ends[i], band.heights[rows.line[i]]), 1) for i in kept]
    # The middle of a bead that runs along the boundary and overlaps what lies beyond as set.
    inside = min(band.width, pattern.width) / 2 - pattern.overlap
    track = offset(piece, distance=inside - ROOM).region
    rows = rows_of(track, band.heights)
    ends = square_ends(piece, core, band.heights, band.width, rows.line, rows.ends, pattern.overlap)
    long = ends[:, 1] - ends[:, 0] >= SHORT * band.width
    trails = _trails(track, rows, long, FAR * pattern.spacing)
    return [
        (_trail(track, rows, ends, band.heights, trail), len(trail))
        for trail in _parted(trails, track, rows, pattern.joined)
    ]


def _parted(trails: list[list[Turn]], track: ArcRegion, rows: Rows, share: float) -> list[list[Turn]]:
    """Chains parted at their sharpest turns, until a share of them is left."""
    turns = [(i, j) for i, trail in enumerate(trails) for j in range(1, len(trail))]
    given_up = len(turns) - round(share * len(turns))
    if not given_up:
        return trails
    sharp = [max(_slope(track, rows, step) for step in _ends(trails[i], j)) for i, j in turns]
    order = sorted(range(len(turns)), key=lambda row: (-round(sharp[row], SHARP), row))
    cuts = {turns[row] for row in order[:given_up]}
    parts: list[list[Turn]] = []
    for i, trail in enumerate(trails):
        for j, turn in enumerate(trail):
            if j == 0 or (i, j) in cuts:
                parts.append([])
            parts[-1].append(turn)
    return parts


def _ends(trail: list[Turn], place: int) -> tuple[Step, Step]:
    """The ends of lines between which a chain turns: where the one before is left, and where this is entered."""
    (row, entered), _ = trail[place - 1]
    return (row, 1 - entered), trail[place][0]


def _slope(track: ArcRegion, rows: Rows, step: Step) -> float:
    """How far the boundary leans from square to a line at its end: the cosine of the angle between them."""
    path, move = track.loops[int(rows.loop[step])], int(rows.move[step])
    chord = path.points[(move + 1) % len(path.points)] - path.points[move]
    way = np.arctan2(chord[1], chord[0]) + (2 * float(rows.share[step]) - 1) * 2 * np.arctan(path.bulge[move])
    return float(abs(np.cos(way)))


def square_ends(
    piece: ArcRegion,
    core: ArcRegion,
    heights: Floats,
    width: float,
    line: Ints,
    ends: Floats,
    overlap: float,
) -> Floats:
    """Where lines end if they are cut square: at the mean of the boundary over the bead's width.

    Never outside the core, nor farther out than half a width beyond the line's own crossing. Where a line is
    parted though the region is not, its ends there stay as they are.
    """
    free = _meeting(rows_of(core, heights), line, ends)
    around = [_meeting(rows_of(piece, heights + share * width), line, ends) for share in AROUND]
    whole, seen = around[len(AROUND) // 2], np.stack(around)
    # An end that is not the last of its line's crossing of the region stays as it is.
    beside = line[1:] == line[:-1]
    before, after = np.full(len(line), -np.inf), np.full(len(line), np.inf)
    before[1:][beside], after[:-1][beside] = ends[:-1, 0][beside], ends[1:, 0][beside]
    moved = ~np.isnan(free[:, 0]) & ~np.isnan(whole[:, 0])
    lefts, rights = moved & ~(before > whole[:, 0]), moved & ~(after < whole[:, 1])
    met = np.maximum((~np.isnan(seen[..., 0])).sum(axis=0), 1)
    mean = np.nansum(seen, axis=0) / met[:, None]
    most = MOST * width
    left = np.clip(mean[:, 0] - overlap, whole[:, 0] - most, whole[:, 0] + most)
    right = np.clip(mean[:, 1] + overlap, whole[:, 1] - most, whole[:, 1] + most)
    return np.column_stack([
        np.where(lefts, np.maximum(left, free[:, 0]), ends[:, 0]),
        np.where(rights, np.minimum(right, free[:, 1]), ends[:, 1]),
    ])  # fmt: skip


def _meeting(rows: Rows, line: Ints, ends: Floats) -> Floats:
    """Least and greatest end of those intervals on a line that meet each of some; nan where there is none."""
    first = np.searchsorted(_keys(rows.line, rows.ends[:, 1]), _keys(line, ends[:, 0]), side="right")
    last = np.searchsorted(_keys(rows.line, rows.ends[:, 0]), _keys(line, ends[:, 1]), side="left") - 1
    found = np.full((len(line), 2), np.nan)
    met = np.flatnonzero(first <= last)
    found[met, 0], found[met, 1] = rows.ends[first[met], 0], rows.ends[last[met], 1]
    return found


def _keys(line: Ints, x: Floats) -> npt.NDArray[np.complex128]:
    """Keys that sort by line, then along it."""
    keys = np.empty(len(line), np.complex128)
    keys.real, keys.imag = line, x
    return keys


def _straight(ends: Floats, y: float) -> ArcPath:
    return _open(np.array([[ends[0], y], [ends[1], y]]), np.zeros(1))


def _open(points: Floats, bulge: Floats) -> ArcPath:
    none = np.full(len(bulge), -1, np.int32)
    return ArcPath(points=points, bulge=bulge, face=none, support=none, closed=False)


Step = tuple[int, int]
"""A line and one of its ends: 0 left, 1 right."""
Turn = tuple[Step, bool]
"""An end that can be reached along the track, and whether that is in the track's own direction."""


def _trails(track: ArcRegion, rows: Rows, long: npt.NDArray[np.bool_], far: float) -> list[list[Turn]]:
    """Lines in chains, each by the end at which it is entered and the way of the track that leads there."""
    near = _neighbours(track, rows, long, far)
    used: set[int] = set()
    trails: list[list[Turn]] = []
    for first in np.flatnonzero(long).tolist():
        if first in used:
            continue
        enter = 0 if _next(near, (first, 1), used | {first}) is not None else 1
        trail: list[Turn] = [((first, enter), True)]
        used.add(first)
        while (turn := _next(near, (trail[-1][0][0], 1 - trail[-1][0][1]), used)) is not None:
            used.add(turn[0][0])
            trail.append(turn)
        trails.append(trail)
    return trails


def _next(near: dict[Step, list[Turn]], leaving: Step, used: set[int]) -> Turn | None:
    return next((turn for turn in near.get(leaving, ()) if turn[0][0] not in used), None)


def _neighbours(
    track: ArcRegion, rows: Rows, long: npt.NDArray[np.bool_], far: float
) -> dict[Step, list[Turn]]:
    """For each end of a line the ends next to it along the track, of the next line up, then of that below."""
    near: dict[Step, list[Turn]] = {}
    at = _along(track, rows)
    for loop, path in enumerate(track.loops):
        total = float(lengths(path).sum())
        line, side = np.nonzero(rows.loop == loop)
        own = sorted(zip(at[line, side].tolist(), line.tolist(), side.tolist(), strict=True))
        for (s, i, one), (t, j, other) in zip(own, [*own[1:], *own[:1]], strict=True):
            apart = (t - s) % total
            if i != j and abs(rows.line[i] - rows.line[j]) == 1 and apart <= far and long[i] and long[j]:
                near.setdefault((i, one), []).append(((j, other), True))
                near.setdefault((j, other), []).append(((i, one), False))
    for key, turns in near.items():
        turns.sort(key=lambda turn: (rows.line[turn[0][0]] < rows.line[key[0]], turn))
    return near


def _along(track: ArcRegion, rows: Rows) -> Floats:
    """Length along its loop at which each end lies, mm."""
    at = np.zeros((len(rows.line), 2))
    for loop, path in enumerate(track.loops):
        run = lengths(path)
        before = np.cumsum(run) - run
        own = rows.loop == loop
        at[own] = before[rows.move[own]] + rows.share[own] * run[rows.move[own]]
    return at


def _trail(track: ArcRegion, rows: Rows, ends: Floats, heights: Floats, trail: list[Turn]) -> ArcPath:
    """One path through the lines of a chain and along the track between them."""
    y = heights[rows.line]
    (first, enter), (last, came) = trail[0][0], trail[-1][0]
    points = [np.array([[ends[first, enter], y[first]]])]
    bulges: list[Floats] = []
    for ((i, entered), _), (to, ahead) in itertools.pairwise(trail):
        leaving = (i, 1 - entered)
        path = track.loops[int(rows.loop[leaving])]
        a, b = (leaving, to) if ahead else (to, leaving)
        part = cut_between(
            path, (int(rows.move[a]), float(rows.share[a])), (int(rows.move[b]), float(rows.share[b]))
        )
        points.append(part.points if ahead else part.points[::-1])
        bulges += [np.zeros(1), part.bulge if ahead else -part.bulge[::-1]]
    points.append(np.array([[ends[last, 1 - came], y[last]]]))
    bulges.append(np.zeros(1))
    return _open(np.concatenate(points), np.concatenate(bulges))
