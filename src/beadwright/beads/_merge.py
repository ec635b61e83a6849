"""Moves too short for a controller to take in, merged with their neighbours as far as a budget allows.

One line or arc stands for several moves from the first one's start to the last one's end. Seen from its circle's
centre the moves run forward (their directions differ from the circle's by less than a right angle), so points at
equal angles may be paired, and the Fréchet distance is at most the greatest difference of their distance from the
centre and the radius. On a line or an arc that is greatest at an end or where the normal runs through the centre:
a closed form.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.beads._curve import arc_near
from beadwright.curves import ArcPath, chords, lengths, points_at

Floats = npt.NDArray[np.float64]

# Directions are compared at the ends of pieces that turn by at most the first angle; there they differ from the
# circle's by at most the second. In between the difference grows by at most twice the first: below a right angle.
PIECE, AHEAD = math.pi / 8, math.pi / 5
# An arc that rises less than this above its chord is taken for a line, and the rise is added, mm.
FLAT = 1e-9
# Roundings of a distance from a far centre.
ROUNDING = 8 * 2.0**-53


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Merged:
    """A path with as few short moves as a budget allows.

    Attributes
    ----------
    path : ArcPath
    bound : float
        Greatest distance (Fréchet) of a merged move from those it stands for, mm.
    gone : int
        Moves fewer than before.
    left : tuple of int
        Moves of the path that are still too short.
    """

    path: ArcPath
    bound: float
    gone: int
    left: tuple[int, ...]


def merged(path: ArcPath, *, least: float, room: float) -> Merged:
    """Merge moves shorter than a length with their neighbours.

    Parameters
    ----------
    path : ArcPath
        Its start stays a joint.
    least : float
        mm.
    room : float
        How far a merged move may lie from those it stands for, mm.

    Returns
    -------
    Merged
        Moves that are long enough, and whose neighbours are, stay as they are, bit for bit.
    """
    run = lengths(path)
    if (run >= least).all():
        return Merged(path=path, bound=0.0, gone=0, left=())
    groups: list[tuple[int, int, float]] = []  # first and last move, and the bulge that stands for them
    bound = 0.0
    long = 0.0
    for row in range(len(run)):
        if groups and room > 0 and (run[row] < least or long < least):
            found = _one(path, groups[-1][0], row, room)
            if found is not None:
                groups[-1] = (groups[-1][0], row, found[0])
                bound = max(bound, found[1])
                long += float(run[row])
                continue
        groups.append((row, row, float(path.bulge[row])))
        long = float(run[row])
    first = np.array([group[0] for group in groups])
    last = np.array([group[1] for group in groups])
    # Face and support of the longest of the moves that one stands for.
    longest = np.array([a + int(np.argmax(run[a : b + 1])) for a, b, _ in groups])
    made = ArcPath(
        points=path.points[first] if path.closed else np.concatenate([path.points[first], path.points[-1:]]),
        bulge=np.array([group[2] for group in groups]),
        face=path.face[longest],
        support=np.where(first == last, path.support[longest], -1).astype(np.int32),
        closed=path.closed,
    )
    left = np.flatnonzero(lengths(made) < least)
    return Merged(path=made, bound=bound, gone=len(run) - len(groups), left=tuple(left.tolist()))


def _one(path: ArcPath, first: int, last: int, room: float) -> tuple[float, float] | None:
    """Bulge of the line or arc that stands for some moves, and its distance from them, mm; None if it is too far."""
    rows = np.arange(first, last + 1)
    every = np.repeat(rows, 3)
    points = np.concatenate(
        [points_at(path, every, np.tile([0.0, 1 / 3, 2 / 3], len(rows))), _end(path, last)[None]]
    )
    bulge = arc_near(points, room)
    if bulge is None:
        return None
    away = _distance(path, rows, points[0], points[-1], bulge)
    return None if away is None or away > room else (bulge, away)


def _end(path: ArcPath, row: int) -> Floats:
    return np.asarray(path.points[(row + 1) % len(path.points)])


def _distance(path: ArcPath, rows: npt.NDArray[np.int64], a: Floats, b: Floats, bulge: float) -> float | None:
    """Bound of the distance of moves from one line or arc from a to b, mm; None where they do not run along it."""
    turn = 4 * np.arctan(path.bulge[rows])
    count = np.maximum(np.ceil(np.abs(turn) / PIECE), 1).astype(np.int64)
    move = np.repeat(rows, count)
    place = np.arange(len(move)) - np.repeat(np.cumsum(count) - count, count)
    share = np.stack([place, place + 1]) / np.repeat(count, count)
    start, end = points_at(path, move, share[0]), points_at(path, move, share[1])
    chord = chords(path)[move]
    half = 2 * np.arctan(path.bulge[move])
    way = np.arctan2(chord[:, 1], chord[:, 0])
    size = float(np.hypot(*(b - a)))
    if size * abs(bulge) / 2 < FLAT:
        along, extra = (b - a) / size, size * abs(bulge) / 2
        normal = np.array([-along[1], along[0]])
        off = np.concatenate([(start - a) @ normal, (end - a) @ normal])
        for lean in (way + (2 * share[0] - 1) * half, way + (2 * share[1] - 1) * half):
            if (np.cos(lean) * along[0] + np.sin(lean) * along[1] < math.cos(AHEAD)).any():
                return None
        # Between the ends of a piece an arc is farthest from the line at most by its own rise.
        rise = np.hypot(*(end - start).T) * np.abs(np.tan(half / (2 * np.repeat(count, count)))) / 2
        return float(np.abs(off).max() + rise.max(initial=0.0)) + extra
    left = np.array([-(b - a)[1], (b - a)[0]])
    centre = (a + b) / 2 + left * ((1 - bulge * bulge) / (4 * bulge))
    radius = size * (1 + bulge * bulge) / (4 * abs(bulge))
    sense = math.copysign(1.0, bulge)
    for at, part in ((start, share[0]), (end, share[1])):
        lean = way + (2 * part - 1) * half
        out = at - centre
        along = sense * (np.cos(lean) * -out[:, 1] + np.sin(lean) * out[:, 0]) / np.hypot(*out.T)
        if (along < math.cos(AHEAD)).any():
            return None
    away = [
        np.hypot(*(start - centre).T),
        np.hypot(*(end - centre).T),
        _between(path, move, start, end, centre),
    ]
    reach = radius + float(np.abs(path.points).max())
    return float(np.nanmax(np.abs(np.concatenate(away) - radius))) + FLAT + ROUNDING * reach


def _between(
    path: ArcPath, move: npt.NDArray[np.int64], start: Floats, end: Floats, centre: Floats
) -> Floats:
    """Distance from a centre where a piece's normal runs through it, nan where that is not between its ends."""
    chord, b = chords(path)[move], path.bulge[move]
    line = np.abs(b) * np.hypot(*chord.T) / 2 < FLAT
    step = end - start
    share = ((centre - start) * step).sum(axis=1) / np.maximum((step**2).sum(axis=1), 1e-300)
    foot = np.hypot(*(start + np.clip(share, 0, 1)[:, None] * step - centre).T)
    safe = np.where(line, 1.0, b)
    left = np.stack([-chord[:, 1], chord[:, 0]], axis=1)
    own = path.points[move] + chord / 2 + left * ((1 - safe * safe) / (4 * safe))[:, None]
    radius = np.hypot(*(path.points[move] - own).T)
    apart = own - centre
    far = np.hypot(*apart.T)
    unit = apart / np.maximum(far, 1e-300)[:, None]
    found = [np.where(line, foot, np.nan)]
    for sign in (-1.0, 1.0):
        at = own + sign * radius[:, None] * unit
        v, w = at - start, end - at
        # A point of a piece lies on the same side of both half chords as the piece bends.
        on = (step * v).sum(axis=1) * (step * w).sum(axis=1) >= 0
        side = (step[:, 0] * v[:, 1] - step[:, 1] * v[:, 0]) * b <= 0
        found.append(np.where(~line & on & side, np.hypot(*(at - centre).T), np.nan))
    return np.concatenate(found)
