"""Beads whose width follows the wall: the flow changes from move to move, and is steady along each.

So the width goes in steps, fine enough that no edge leaves the wall by more than the tolerance; on a wall that
tapers faster than moves of a sensible length can follow, the bead is as wide as its narrow end allows.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.beads._bead import Bead, mean_width
from beadwright.beads._curve import joints_of, through
from beadwright.curves import ArcPath, chord_runs, lengths, points_at

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Steps of the width, and the least length of a move made for one, in bead widths.
STEP, LEAST_MOVE = 0.005, 0.125
# Widths are printed to this place, mm, far below the bounds.
PLACES = 4
# A joint is not made within this share of a move's end: rounding.
SAME = 1e-6


def along_points(points: Floats, *, closed: bool, tolerance: float) -> tuple[ArcPath, Floats]:
    """The path through points, and where on it each point lies: (n,) lengths from its start, mm."""
    path = through(points, closed=closed, tolerance=tolerance)
    chord = chord_runs(points)
    run = np.concatenate([[0.0], np.cumsum(lengths(path))])
    return path, np.interp(chord, chord[joints_of(path, points)], run)


def stepped(
    path: ArcPath, at: Floats, widths: Floats, *, width: float, room: float
) -> tuple[ArcPath, tuple[float, ...]]:
    """A path cut where its width has changed by a step.

    Parameters
    ----------
    path : ArcPath
    at, widths : (n,) float
        Places along it in rising order, lengths from its start, mm, and the width there, mm; straight between.
    width : float
        Nominal, mm.
    room : float
        By how much the width of a move may exceed the least along it, mm.

    Returns
    -------
    path : ArcPath
        The same; ``support`` of each move is its row in the widths.
    widths : tuple of float
        mm; a move has the mean along it, as far as `room` lets it.
    """
    cuts = _cuts(at, widths, width)
    path = jointed(path, cuts[1:-1])
    ends = np.concatenate([[0.0], np.cumsum(lengths(path))])
    ends[-1] = cuts[-1]
    piece = np.clip(np.searchsorted(cuts, (ends[:-1] + ends[1:]) / 2, side="right") - 1, 0, len(cuts) - 2)
    every = np.union1d(at, cuts)
    there = np.interp(every, at, widths)
    area = np.concatenate([[0.0], np.cumsum(np.diff(every) * (there[1:] + there[:-1]) / 2)])
    mean = np.diff(np.interp(cuts, every, area)) / np.diff(cuts)
    least = np.array([there[(every >= a) & (every <= b)].min() for a, b in itertools.pairwise(cuts)])
    own = np.round(np.minimum(mean, least + room), PLACES)
    table, row = np.unique(own, return_inverse=True)
    support = row.reshape(-1)[piece].astype(np.int32)
    return (
        ArcPath(points=path.points, bulge=path.bulge, face=path.face, support=support, closed=path.closed),
        tuple(table.tolist()),
    )


def _cuts(at: Floats, widths: Floats, width: float) -> Floats:
    """Places between which the width changes by a step at most, unless that were too short a move."""
    step, least = STEP * width, LEAST_MOVE * width
    end = float(at[-1])
    level = np.abs(np.diff(widths)) < step / 2
    # Where the width begins or ends to change the path is cut in any case: a long even part keeps its own.
    ends = at[1:-1][(level[1:] != level[:-1]) & (np.maximum(np.diff(at)[1:], np.diff(at)[:-1]) >= least)]
    found = {float(place): True for place in ends}
    for a, b, v, w in zip(at[:-1], at[1:], widths[:-1], widths[1:], strict=True):
        low, high = sorted((v / step, w / step))
        for row in np.arange(np.ceil(low), np.floor(high) + 1) if high > low else ():
            found.setdefault(float(a + (row * step - v) / (w - v) * (b - a)), False)
    kept, firm = [0.0], True
    for place, own in sorted(found.items()):
        if place - kept[-1] >= least or (own and place - kept[-1] > SAME):
            if own and not firm and place - kept[-1] < least:
                kept.pop()
            kept.append(place)
            firm = own
    if len(kept) > 1 and end - kept[-1] < (SAME if firm else least):
        kept.pop()
    return np.array([*kept, end])


def jointed(path: ArcPath, places: Sequence[float] | Floats) -> ArcPath:
    """The same path with joints at some places, lengths from its start, mm; also where they are not in order."""
    run = lengths(path)
    ends = np.concatenate([[0.0], np.cumsum(run)])
    row = np.clip(np.searchsorted(ends, places, side="right") - 1, 0, len(run) - 1)
    share = (np.asarray(places) - ends[row]) / run[row]
    inner = (share > SAME) & (share < 1 - SAME)
    row, share = row[inner], share[inner]
    # Shares of each move between its joints, in order.
    rows = np.concatenate([np.arange(len(run)), row])
    begin = np.concatenate([np.zeros(len(run)), share])
    order = np.lexsort((begin, rows))
    rows, begin = rows[order], begin[order]
    last = np.append(rows[1:] != rows[:-1], True)
    until = np.where(last, 1.0, np.append(begin[1:], 1.0))
    points = points_at(path, rows, begin)
    points[begin == 0.0] = path.points[rows[begin == 0.0]]
    if not path.closed:
        points = np.concatenate([points, path.points[-1:]])
    return ArcPath(
        points=points,
        bulge=np.tan((until - begin) * np.arctan(path.bulge[rows])),
        face=path.face[rows],
        support=path.support[rows],
        closed=path.closed,
    )


def varied_bead(path: ArcPath, widths: tuple[float, ...], *, rank: int, inside: float, height: float) -> Bead:
    """The medial bead along a stepped path; `inside` is how deep in the region its near edge lies, mm."""
    steps = len(widths) > 1
    mean = mean_width(path, np.asarray(widths)[path.support])
    return Bead(
        path=path,
        role="medial",
        rank=rank,
        loop=0,
        hole=False,
        offset=inside + mean / 2,
        width=mean if steps else widths[0],
        height=height,
        widths=widths if steps else (),
    )
