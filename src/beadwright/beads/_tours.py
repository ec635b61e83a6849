"""Ribs that cross, walked in the fewest beads without laying a crossing twice.

Where two ribs cross, two beads turn instead: each comes along one rib, cuts the corner, and leaves along the
other, so that their cuts run side by side and touch with the overlap that was set. By Euler a network with k
loose ends needs at least k / 2 beads; turns alone may close into rings, and a ring is opened by turning the
other way at a crossing that it shares with another bead. So, of two turns at each crossing, none crosses the
other, and the least number of beads is met. Which way beads turn changes from layer to layer.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.beads._lines import Laid
from beadwright.curves import ArcPath

Floats = npt.NDArray[np.float64]

# Between two cut corners, and between one and a loose end, at least this many widths of rib stay straight.
STRAIGHT = 1.0
# A corner is cut at most this many widths from the crossing: ribs that cross at less than about 40 degrees
# are broken there.
FARTHEST = 1.5

Arm = tuple[int, int]
"""A crossing and which of its four arms: 0, 1 back and on along the first rib, 2, 3 along the second."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """A straight piece of a rib.

    Attributes
    ----------
    ends : (2, 2) float
        mm.
    arms : (Arm or None, Arm or None)
        Where it goes on at either end; None at a loose one.
    """

    ends: Floats
    arms: tuple[Arm | None, Arm | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Where two ribs cross.

    Attributes
    ----------
    ribs : (int, int)
        Their rows, the first the one that is never broken.
    at : (float, float)
        How far along each, mm.
    cosine : float
        Of the angle between their directions.
    """

    ribs: tuple[int, int]
    at: tuple[float, float]
    cosine: float

    def cut(self, width: float, overlap: float, *, crossed: bool) -> float:
        """How far from the crossing a corner is cut, so that both cuts touch as set, mm.

        Of a corner of an angle a between its arms that is (w - overlap) / (2 cos(a / 2)). Where `crossed` the
        arm back along the first rib goes with the arm on along the second, else with the one back.
        """
        along = -self.cosine if crossed else self.cosine
        return float((width - overlap) / (2 * np.sqrt((1 + along) / 2)))


def turned_crossings(
    ribs: Floats, crossings: Sequence[Crossing], *, width: float, overlap: float
) -> list[bool]:
    """Which crossings leave room for beads to turn: those too near to others or to a loose end do not."""
    far = [max(each.cut(width, overlap, crossed=crossed) for crossed in (False, True)) for each in crossings]
    size = np.hypot(ribs[:, 2] - ribs[:, 0], ribs[:, 3] - ribs[:, 1])
    good = [reach <= FARTHEST * width for reach in far]
    along: dict[int, list[tuple[float, int]]] = {}
    for row, each in enumerate(crossings):
        for rib, at in zip(each.ribs, each.at, strict=True):
            along.setdefault(rib, []).append((at, row))
    for rib, places in along.items():
        places.sort()
        ends = [(0.0, -1), *places, (float(size[rib]), -1)]
        for (a, i), (b, j) in itertools.pairwise(ends):
            room = STRAIGHT * width + sum(far[row] for row in (i, j) if row >= 0)
            if b - a < room:
                for row in (i, j):
                    if row >= 0:
                        good[row] = False
    return good


def toured(
    pieces: Sequence[Piece], crossings: Sequence[Crossing], *, width: float, overlap: float, crossed: bool
) -> tuple[Laid, ...]:
    """Walk all pieces of a network of ribs in the fewest beads that turn at every crossing.

    Parameters
    ----------
    pieces : sequence of Piece
        Ends at a crossing lie on it; they are drawn back to where the corner is cut.
    crossings : sequence of Crossing
        Those at which beads turn.
    width, overlap : float
        Of the beads, mm.
    crossed : bool
        Which way they turn where both ways are as good.
    """
    way = [crossed] * len(crossings)
    holder = {
        arm: (row, end) for row, piece in enumerate(pieces) for end, arm in enumerate(piece.arms) if arm
    }
    trails = _traced(pieces, holder, way)
    while (flip := _opening(trails, pieces)) is not None:
        way[flip] = not way[flip]
        trails = _traced(pieces, holder, way)
    cuts = [each.cut(width, overlap, crossed=own) for each, own in zip(crossings, way, strict=True)]
    return tuple(
        Laid(path=_path(trail, closed, pieces, cuts), width=width, joined=len(trail))
        for trail, closed in trails
    )


Trail = tuple[list[tuple[int, int]], bool]
"""Pieces, each with the end at which it is entered; whether the last goes on to the first."""


def _partner(arm: Arm, way: Sequence[bool]) -> Arm:
    """The arm by which a bead leaves a crossing that it enters by another."""
    crossing, own = arm
    return crossing, (3 - own if way[crossing] else (own + 2) % 4)


def _traced(pieces: Sequence[Piece], holder: dict[Arm, tuple[int, int]], way: Sequence[bool]) -> list[Trail]:
    """Trails from loose end to loose end, then rings."""
    used: set[int] = set()
    trails: list[Trail] = []
    loose = [
        (row, end) for row, piece in enumerate(pieces) for end, arm in enumerate(piece.arms) if arm is None
    ]
    for begin in (*loose, *((row, 0) for row in range(len(pieces)))):
        if begin[0] in used:
            continue
        trail = [begin]
        used.add(begin[0])
        closed = False
        while (arm := pieces[trail[-1][0]].arms[1 - trail[-1][1]]) is not None:
            step = holder[_partner(arm, way)]
            if step[0] in used:
                closed = True
                break
            used.add(step[0])
            trail.append(step)
        trails.append((trail, closed))
    return trails


def _opening(trails: Sequence[Trail], pieces: Sequence[Piece]) -> int | None:
    """A crossing that a ring shares with another bead; None if there is none."""
    owner = {row: number for number, (trail, _) in enumerate(trails) for row, _ in trail}
    met: dict[int, set[int]] = {}
    for row, piece in enumerate(pieces):
        for arm in piece.arms:
            if arm is not None:
                met.setdefault(arm[0], set()).add(owner[row])
    rings = {number for number, (_, closed) in enumerate(trails) if closed}
    shared = [crossing for crossing, by in met.items() if len(by) > 1 and by & rings]
    return min(shared) if shared else None


def _path(
    trail: list[tuple[int, int]], closed: bool, pieces: Sequence[Piece], cuts: Sequence[float]
) -> ArcPath:
    """One line through pieces of ribs, with straight cuts between them."""
    points = []
    for row, entered in trail:
        ends = pieces[row].ends
        unit = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
        for end in (entered, 1 - entered):
            arm = pieces[row].arms[end]
            back = 0.0 if arm is None else cuts[arm[0]]
            points.append(ends[end] + (1 - 2 * end) * back * unit)
    moves = len(points) - (not closed)
    none = np.full(moves, -1, np.int32)
    return ArcPath(points=np.array(points), bulge=np.zeros(moves), face=none, support=none, closed=closed)
