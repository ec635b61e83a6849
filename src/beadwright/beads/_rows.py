"""Where parallel lines run inside a region of lines and arcs.

Moves are cut where they turn back in height, so each piece crosses a line at most once; a piece holds its
lower end and not its upper one, so that every line meets the closed loops an even number of times.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ArcRegion, chords, depths, points_at, winding

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Halvings after which a crossing is known to the last place.
HALVINGS = 54
# Half the turn (rad) of an arc below which its closed form loses too many digits.
FLAT = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Intervals of horizontal lines inside a region, by line, then from left to right (n intervals).

    Attributes
    ----------
    line : (n,) int64
        Row of the height.
    ends : (n, 2) float64
        x of the left and the right end, mm.
    loop, move : (n, 2) int64
        Loop of the region on which each end lies, and the move there.
    share : (n, 2) float64
        Share of the move's length before it.
    """

    line: Ints
    ends: Floats
    loop: Ints
    move: Ints
    share: Floats


def turned(region: ArcRegion, angle: float) -> ArcRegion:
    """A region turned about the origin by an angle, rad; moves keep their faces and lose their supports."""
    return ArcRegion(
        loops=tuple(turned_path(loop, angle) for loop in region.loops), supports=np.zeros((0, 4))
    )


def turned_path(path: ArcPath, angle: float) -> ArcPath:
    """A path turned about the origin by an angle, rad."""
    c, s = np.cos(angle), np.sin(angle)
    return replace(
        path,
        points=path.points @ np.array([[c, s], [-s, c]]),
        support=np.full(len(path.support), -1, np.int32),
    )


def rows_of(region: ArcRegion, heights: Floats) -> Rows:
    """Intervals of the lines y = height that lie inside a region.

    Parameters
    ----------
    region : ArcRegion
    heights : (k,) float
        Sorted upwards, mm.
    """
    found = [_crossings(loop, heights) for loop in region.loops]
    sizes = [len(each[0]) for each in found]
    if not sum(sizes):
        none = np.zeros((0, 2))
        no = np.zeros((0, 2), np.int64)
        return Rows(line=np.zeros(0, np.int64), ends=none, loop=no, move=no, share=none)
    loop = np.repeat(np.arange(len(found)), sizes)
    line, x, move, share = (np.concatenate([each[k] for each in found]) for k in range(4))
    order = np.lexsort((x, line))
    return Rows(
        line=line[order][::2].astype(np.int64),
        ends=x[order].reshape(-1, 2),
        loop=loop[order].reshape(-1, 2),
        move=move[order].reshape(-1, 2).astype(np.int64),
        share=share[order].reshape(-1, 2),
    )


def _crossings(path: ArcPath, heights: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Row of the height, x, move and share of each crossing of a closed path."""
    move, s0, s1, y0, y1 = _rising(path)
    first = np.searchsorted(heights, np.minimum(y0, y1), side="left")
    last = np.searchsorted(heights, np.maximum(y0, y1), side="left")
    many = last - first
    piece = np.repeat(np.arange(len(move)), many)
    row = np.arange(len(piece)) - (np.cumsum(many) - many)[piece] + first[piece]
    y, own = heights[row], move[piece]
    low, high = s0[piece].copy(), s1[piece].copy()
    up = y1[piece] > y0[piece]
    share = (y - y0[piece]) / (y1[piece] - y0[piece])
    half = 2 * np.arctan(path.bulge[own])
    bent = np.flatnonzero(np.abs(half) >= FLAT)
    if len(bent):
        share[bent] = _on_arcs(path, own[bent], half[bent], y[bent], low[bent], high[bent])
    flat = np.flatnonzero((half != 0) & (np.abs(half) < FLAT))
    if len(flat):
        a, b = low[flat], high[flat]
        for _ in range(HALVINGS):
            middle = (a + b) / 2
            under = (points_at(path, own[flat], middle)[:, 1] <= y[flat]) == up[flat]
            a, b = np.where(under, middle, a), np.where(under, b, middle)
        share[flat] = (a + b) / 2
    return row.astype(float), points_at(path, own, share)[:, 0], own.astype(float), share


def _on_arcs(path: ArcPath, move: Ints, half: Floats, y: Floats, low: Floats, high: Floats) -> Floats:
    """Share at which arcs pass heights, between two shares: height changes as -R cos of the way's angle."""
    chord = chords(path)[move]
    way = np.arctan2(chord[:, 1], chord[:, 0])
    radius = np.hypot(chord[:, 0], chord[:, 1]) / (2 * np.sin(half))
    cosine = np.clip(np.cos(way - half) - (y - path.points[move, 1]) / radius, -1.0, 1.0)
    middle = way + (low + high - 1) * half
    # Within one rise or fall the angle stays in one half turn, k pi to (k + 1) pi.
    k = np.floor(middle / np.pi)
    angle = k * np.pi + np.arccos(np.where(k % 2 == 0, cosine, -cosine))
    return np.asarray(np.clip(0.5 + 0.5 * (angle - way) / half, low, high))


def _rising(path: ArcPath) -> tuple[Ints, Floats, Floats, Floats, Floats]:
    """Pieces of moves that only rise or only fall: move, share and height of both ends."""
    chord = chords(path)
    half = 2 * np.arctan(path.bulge)
    way = np.arctan2(chord[:, 1], chord[:, 0])
    shares = np.tile(np.array([0.0, 1.0, 1.0, 1.0]), (len(half), 1))
    arc = np.flatnonzero(half != 0)
    bend = np.abs(half[arc])
    first = np.ceil((way[arc] - bend) / np.pi)
    for place in (1, 2):
        turn = (first + place - 1) * np.pi
        share = 0.5 + 0.5 * (turn - way[arc]) / half[arc]
        shares[arc, place] = np.where((share > 0) & (share < 1), share, 1.0)
    shares.sort(axis=1)
    move = np.repeat(np.arange(len(half)), 3)
    s0, s1 = shares[:, :3].ravel(), shares[:, 1:].ravel()
    start, end = path.points[:, 1], np.roll(path.points, -1, axis=0)[:, 1]
    inner0, inner1 = points_at(path, move, s0)[:, 1], points_at(path, move, s1)[:, 1]
    y0 = np.where(s0 == 0, start[move], np.where(s0 == 1, end[move], inner0))
    y1 = np.where(s1 == 1, end[move], np.where(s1 == 0, start[move], inner1))
    kept = s1 > s0
    return move[kept], s0[kept], s1[kept], y0[kept], y1[kept]


def pieces_of(region: ArcRegion) -> list[ArcRegion]:
    """The separate pieces of a region, each an outer loop with its holes."""
    depth = depths(region)
    outer = [i for i, d in enumerate(depth) if d % 2 == 0]
    held: dict[int, list[int]] = {i: [i] for i in outer}
    for i, d in enumerate(depth):
        if d % 2:
            at = region.loops[i].points[:1]
            around = [j for j in outer if depth[j] == d - 1 and winding(region.loops[j], at)[0]]
            if around:
                held[around[0]].append(i)
    return [
        ArcRegion(loops=tuple(region.loops[i] for i in rows), supports=region.supports)
        for rows in held.values()
    ]
