"""Middle lines of walls, joined where they meet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.beads._trails import fewest_trails
from beadwright.numeric import gathered

Floats = npt.NDArray[np.float64]

# Ends of middles nearer to each other than this are one node, mm.
SNAP = 1e-4
# A middle whose disc is within this of a limit, mm, ends there for the limit, not for the wall's end.
END = 1e-3
# Turns below this, rad, are no corner of a middle.
CORNER = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Middle:
    """One middle line between two sides, through exact points of the medial axis (n points).

    Attributes
    ----------
    at : (n, 2) float
        Points, mm.
    radius : (n,) float
        Of the disc about each, mm: half the wall's thickness there.
    corner : (n,) bool
        Whether the middle has a corner there; one that is closed and has any begins in one.
    closed : bool
        Whether the last point is the first.
    """

    at: Floats
    radius: Floats
    corner: npt.NDArray[np.bool_]
    closed: bool


def joined_middles(pieces: list[tuple[Floats, Floats, Floats]]) -> tuple[Middle, ...]:
    """Pieces (points, radii, unit tangents) whose ends meet, joined into the fewest lines."""
    if not pieces:
        return ()
    ends = np.concatenate([at[[0, -1]] for at, _, _ in pieces])
    node = _nodes(ends)
    _, first = np.unique(node, return_index=True)
    place = ends[first]
    edges = [((float(node[2 * i]), 0.0), (float(node[2 * i + 1]), 0.0)) for i in range(len(pieces))]
    lines = []
    for trail in fewest_trails(edges):
        at: list[Floats] = []
        radius: list[Floats] = []
        corner: list[npt.NDArray[np.bool_]] = []
        way: list[tuple[Floats, Floats]] = []
        for row, ahead in trail:
            p, r, t = pieces[row]
            a, b = place[node[2 * row]], place[node[2 * row + 1]]
            p = np.concatenate([a[None], p[1:-1], b[None]])
            p, r, t = (p, r, t) if ahead else (p[::-1], r[::-1], -t[::-1])
            flat = np.zeros(len(p), bool)
            flat[0] = bool(way) and _turns(way[-1][1], t[0])
            corner.append(flat if not corner else flat[1:])
            if way:
                corner[-2][-1] = flat[0]
            way.append((t[0], t[-1]))
            at.append(p[1:] if at else p)
            radius.append(r[1:] if radius else r)
        whole = np.concatenate(at)
        closed = len(whole) > 3 and bool((whole[0] == whole[-1]).all())
        every = np.concatenate(corner)
        if closed:
            every[[0, -1]] = _turns(way[-1][1], way[0][0])
        line = Middle(at=whole, radius=np.concatenate(radius), corner=every, closed=closed)
        if closed:
            # Else far from where pieces meet.
            long = int(np.argmax([len(p) for p in at]))
            inside = sum(len(p) for p in at[:long]) + len(at[long]) // 2
            line = turned(line, int(np.argmax(every)) if every.any() else inside)
        lines.append(line)
    return tuple(lines)


def _turns(one: Floats, other: Floats) -> bool:
    """Whether between two directions is a corner."""
    cross = float(one[0] * other[1] - one[1] * other[0])
    return bool(abs(np.arctan2(cross, float(one @ other))) > CORNER)


def turned(line: Middle, first: int) -> Middle:
    """A closed middle that begins in another of its points."""
    rows = np.concatenate([np.arange(first, len(line.at) - 1), np.arange(first + 1)])
    return Middle(at=line.at[rows], radius=line.radius[rows], corner=line.corner[rows], closed=True)


def _nodes(ends: Floats) -> list[int]:
    """A number for each of some places, the same for those that chains of steps below `SNAP` join."""
    beside: dict[int, list[int]] = {row: [] for row in range(len(ends))}
    order = np.argsort(ends[:, 0], kind="stable")
    x = ends[order, 0]
    last = np.searchsorted(x, x + SNAP, side="right")
    for place in np.flatnonzero(last > np.arange(len(x)) + 1):
        row, others = order[place], order[place + 1 : last[place]]
        for other in others[np.hypot(*(ends[others] - ends[row]).T) <= SNAP].tolist():
            beside[int(row)].append(other)
            beside[other].append(int(row))
    number = {row: place for place, rows in enumerate(gathered(beside)) for row in rows}
    return [number[row] for row in range(len(ends))]


def free_ends(lines: Sequence[Middle], least: float, most: float) -> tuple[Floats, Floats]:
    """Where middles end for the wall's end: points (k, 2) and the radii of their discs (k,), mm.

    Parameters
    ----------
    lines : sequence of Middle
    least, most : float
        Of the thickness, mm: a middle that ends for one of these limits, or beside another, is none.
    """
    ends = np.concatenate([np.zeros((0, 2)), *(line.at[[0, -1]] for line in lines if not line.closed)])
    points = np.concatenate([np.zeros((0, 2)), *(line.at for line in lines)])
    found: list[Floats] = []
    radii: list[float] = []
    for line in lines:
        for row in () if line.closed else (0, -1):
            tip, radius = line.at[row], float(line.radius[row])
            alone = (np.hypot(*(ends - tip).T) < radius).sum() == 1
            if alone and least + END < 2 * radius < most - END and not _beside(points, line.at, row, radius):
                found.append(tip)
                radii.append(radius)
    return np.array(found).reshape(-1, 2), np.array(radii)


def _beside(points: Floats, at: Floats, row: int, reach: float) -> bool:
    """Whether a place of another line lies near one end of a line."""
    near = points[np.hypot(*(points - at[row]).T) < reach]
    return bool((np.abs(near[:, None] - at[None]).sum(axis=2).min(axis=1, initial=np.inf) > 0).any())


def with_limit(line: Middle, limit: float) -> Middle:
    """The same middle with a point where the radius passes a limit."""
    r = line.radius
    row = np.flatnonzero((r[:-1] - limit) * (r[1:] - limit) < 0)
    share = ((limit - r[row]) / (r[row + 1] - r[row]))[:, None]
    at = line.at[row] * (1 - share) + line.at[row + 1] * share
    return Middle(
        at=np.insert(line.at, row + 1, at, axis=0),
        radius=np.insert(r, row + 1, limit),
        corner=np.insert(line.corner, row + 1, False),
        closed=line.closed,
    )


def split(line: Middle, label: npt.NDArray[np.int64], *, thinner: bool = False) -> list[tuple[int, Middle]]:
    """A middle cut between points of different labels; of a closed one the cut is not at its joint.

    Two pieces share the last point of the first one, or that of the two points where the wall is thinner.
    """
    at, radius, corner = line.at, line.radius, line.corner
    if (label == label[0]).all():
        return [(int(label[0]), line)]
    if line.closed and label[0] == label[-1]:
        turn = int(np.flatnonzero(np.diff(label))[0]) + 1
        before = bool(thinner and radius[turn - 1] < radius[turn])
        turn -= before
        at = np.concatenate([at[turn:-1], at[: turn + 1]])
        radius = np.concatenate([radius[turn:-1], radius[: turn + 1]])
        corner = np.concatenate([corner[turn:-1], corner[: turn + 1]])
        label = np.concatenate([label[turn:-1], label[: turn + 1]])
        # The point that is both ends belongs to both pieces.
        if before:
            label[0] = label[1]
        else:
            label[-1] = label[-2]
    cuts = np.flatnonzero(np.diff(label)) + 1
    shared = cuts - 1 + (thinner & (radius[cuts] < radius[cuts - 1]))
    parts = []
    for first, last, own in zip([0, *shared], [*shared, len(at) - 1], label[[0, *cuts]], strict=True):
        rows = slice(first, last + 1)
        parts.append((int(own), Middle(at=at[rows], radius=radius[rows], corner=corner[rows], closed=False)))
    return parts
