"""Lines and arcs through points of a curve, and the least distance of a path from a boundary."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ArcRegion, bounding_box, chords, distances

Floats = npt.NDArray[np.float64]

# Points nearer to their chord than this lie on a line, mm.
STRAIGHT = 1e-6
# Most bend of one move: a quarter turn.
MOST_BULGE = float(np.tan(np.pi / 8))


def through(points: Floats, *, closed: bool, tolerance: float) -> ArcPath:
    """The path of few lines and arcs that passes all points within a tolerance.

    Each move begins and ends in one of the points, as far on as the tolerance lets it reach.

    Parameters
    ----------
    points : (n, 2) float
        At least two, mm; of a closed path the last is the first.
    closed : bool
        Whether the path ends where it starts.
    tolerance : float
        mm.
    """
    rows, bulges = [0], []
    last = len(points) - 1
    while rows[-1] < last:
        first, step = rows[-1], 1
        end, bulge = first + 1, _single(points, first, closed)
        # Reach doubles while it holds, then halves towards the last place at which it held.
        while end < last:
            trial = min(end + step, last)
            found = arc_near(points[first : trial + 1], tolerance)
            if found is None:
                if step == 1:
                    break
                step //= 2
                continue
            end, bulge = trial, found
            step *= 2
        rows.append(end)
        bulges.append(bulge)
    at = points[rows]
    return ArcPath(
        points=at[:-1] if closed else at,
        bulge=np.array(bulges),
        face=np.full(len(bulges), -1, np.int32),
        support=np.full(len(bulges), -1, np.int32),
        closed=closed,
    )


def joints_of(path: ArcPath, points: Floats) -> npt.NDArray[np.int64]:
    """Rows of the points in which moves of a path `through` them begin and end."""
    rows, first = [0], 0
    for end in path.points[1:]:
        first += 1
        while (points[first] != end).any():
            first += 1
        rows.append(first)
    if path.closed:
        rows.append(len(points) - 1)
    return np.array(rows)


def _single(points: Floats, first: int, closed: bool) -> float:
    """Bulge between two neighbouring points, as the curve bends on that side where it bends less."""
    last = len(points) - 1
    before = first - 1 if first else last - 1 if closed else None
    after = first + 2 if first + 2 <= last else 1 if closed else None
    asked = []
    for other in (before, after):
        if other is not None and last > 1:
            a, b = points[first], points[first + 1]
            u, v = a - points[other], b - points[other]
            # Seen from the third point of a circle the chord spans a quarter of the arc's turn, twice.
            turn = float(np.arctan2(u[0] * v[1] - u[1] * v[0], u @ v))
            asked.append(float(np.tan(turn / 2)))
    return min(asked, key=abs, default=0.0)


def arc_near(points: Floats, tolerance: float) -> float | None:
    """Bulge of the arc between the ends that passes the points between them, None if none does."""
    chord = points[-1] - points[0]
    size = float(np.hypot(*chord))
    if size <= STRAIGHT:
        return None
    inner = points[1:-1] - points[0]
    along = inner @ chord / size
    off = (chord[0] * inner[:, 1] - chord[1] * inner[:, 0]) / size
    if (along < 0).any() or (along > size).any() or (np.diff(along) < 0).any():
        return None
    if np.abs(off).max() <= STRAIGHT:
        return 0.0
    # The angles at both ends of the chord towards a point of the arc sum up to half the arc's turn.
    half = np.arctan2(np.abs(off), along) + np.arctan2(np.abs(off), size - along)
    weight = along * (size - along)
    asked = -np.sign(off) * np.tan(half / 2)
    bulge = float((asked * weight).sum() / weight.sum())
    if abs(bulge) > MOST_BULGE:
        return None
    if bulge == 0.0:
        miss = np.abs(off)
    else:
        radius = size * (1 + bulge * bulge) / (4 * bulge)
        rise = size * (1 - bulge * bulge) / (4 * bulge)
        miss = np.abs(np.hypot(along - size / 2, off - rise) - abs(radius))
    return bulge if miss.max() <= tolerance else None


def clearance(path: ArcPath, region: ArcRegion, *, reach: float) -> float:
    """Least distance of a path from the boundary of a region, mm: in closed form, never too great.

    It is met at an end of a move of one of the two, or where an arc of one has its normal through the
    other's centre, or along a straight line's normal.

    Parameters
    ----------
    path : ArcPath
        Does not cross the boundary.
    region : ArcRegion
        Not empty.
    reach : float
        Boundary farther from the path is not looked at, mm; the distance is at most this.
    """
    low, high = bounding_box(path)
    best = reach
    for piece in _near(region, low - reach, high + reach):
        best = min(best, float(distances([piece], path.points).min()))
        best = min(best, float(distances([path], piece.points).min()))
        for one, other in ((path, piece), (piece, path)):
            bows = _bows(one, other)
            if len(bows):
                best = min(best, float(distances([other], bows).min()))
    return best


def _near(region: ArcRegion, low: Floats, high: Floats) -> list[ArcPath]:
    """Those runs of moves of the loops that a box may hold a part of."""
    pieces = []
    for loop in region.loops:
        end = np.roll(loop.points, -1, axis=0)
        # An arc leaves its chord by b / 2 of the chord at most, for half a turn and less.
        bow = (np.hypot(*chords(loop).T) * np.abs(loop.bulge) / 2)[:, None]
        least, most = np.minimum(loop.points, end) - bow, np.maximum(loop.points, end) + bow
        near = ((least <= high) & (most >= low)).all(axis=1)
        if near.all():
            pieces.append(loop)
        elif near.any():
            pieces += runs_of(loop, near)
    return pieces


def runs_of(loop: ArcPath, kept: npt.NDArray[np.bool_]) -> list[ArcPath]:
    """The open paths that are left of a closed one without some of its moves."""
    turn = int(np.flatnonzero(~kept)[0])
    rows = np.roll(np.arange(len(kept)), -turn)
    paths = []
    for run in np.split(rows, np.flatnonzero(np.diff(kept[rows].astype(np.int8))) + 1):
        if kept[run[0]]:
            last = (run[-1] + 1) % len(kept)
            paths.append(
                ArcPath(
                    points=loop.points[[*run, last]],
                    bulge=loop.bulge[run],
                    face=loop.face[run],
                    support=loop.support[run],
                    closed=False,
                )
            )
    return paths


def _centres(path: ArcPath) -> tuple[Floats, Floats, npt.NDArray[np.int64]]:
    """Centres and radii of the arcs of a path, and their rows."""
    arc = np.flatnonzero(np.abs(path.bulge) > 1e-12)
    c, b = chords(path)[arc], path.bulge[arc]
    left = np.stack([-c[:, 1], c[:, 0]], axis=1)
    centre = path.points[arc] + c / 2 + left * ((1 - b * b) / (4 * b))[:, None]
    return centre, np.hypot(*(path.points[arc] - centre).T), arc


def _bows(path: ArcPath, other: ArcPath) -> Floats:
    """Places on arcs of a path where the normal meets a line or arc of another path at right angles."""
    centre, radius, arc = _centres(path)
    if not len(arc):
        return np.zeros((0, 2))
    there, _, round_ = _centres(other)
    line = np.ones(len(other.bulge), bool)
    line[round_] = False
    straight = chords(other)[line]
    normal = np.stack([-straight[:, 1], straight[:, 0]], axis=1)
    way = np.concatenate(
        [
            there[None, :, :] - centre[:, None, :],
            np.broadcast_to(normal[None, :, :], (len(arc), len(normal), 2)),
        ],
        axis=1,
    )
    size = np.hypot(way[..., 0], way[..., 1])
    unit = way / np.where(size > 0, size, 1.0)[..., None]
    c, b = chords(path)[arc], path.bulge[arc]
    found = []
    for sign in (-1.0, 1.0):
        at = centre[:, None, :] + sign * radius[:, None, None] * unit
        # An arc lies on the right of its chord for b > 0.
        v = at - path.points[arc][:, None, :]
        side = c[:, None, 0] * v[..., 1] - c[:, None, 1] * v[..., 0]
        on = (side * b[:, None] <= 0) & (size > 0)
        found.append(at[on])
    return np.concatenate(found)
