"""Where on a path points lie."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, chords, lengths, points_at

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Samples of a path are at most this far apart, mm, and at least so many a move.
SPACING, LEAST = 4.0, 3
# Rounds of refining: each is Newton's step on the way along the move.
ROUNDS = 4


def located(paths: Sequence[ArcPath], points: Floats, *, reach: float) -> tuple[Ints, Floats, Floats]:
    """The nearest place of some paths to each point.

    Parameters
    ----------
    paths : sequence of ArcPath
    points : (n, 2) float
        mm.
    reach : float
        Points farther from all paths than this are none of theirs, mm.

    Returns
    -------
    row : (n,) int
        Path, -1 where none is near.
    place : (n,) float
        Length along it, mm.
    apart : (n,) float
        Distance, mm.
    """
    row, place, apart = np.full(len(points), -1), np.zeros(len(points)), np.full(len(points), np.inf)
    if not paths or not len(points):
        return row, place, apart
    from scipy.spatial import cKDTree  # heavy, and only this needs it

    for number, path in enumerate(paths):
        run = lengths(path)
        pieces = np.maximum(np.ceil(run / SPACING), LEAST).astype(np.int64)
        move = np.repeat(np.arange(len(run)), pieces)
        share = (np.arange(len(move)) - (np.cumsum(pieces) - pieces)[move] + 0.5) / pieces[move]
        far, near = cKDTree(points_at(path, move, share)).query(points, distance_upper_bound=SPACING)
        close = np.flatnonzero(np.isfinite(far))
        ends = np.cumsum(run) - run
        for beside in (0, -1, 1):
            own = move[near[close]] + beside
            own = own % len(run) if path.closed else np.clip(own, 0, len(run) - 1)
            at = share[near[close]] if beside == 0 else np.full(len(own), 0.5)
            at = _refined(path, own, at, points[close])
            miss = np.hypot(*(points_at(path, own, at) - points[close]).T)
            better = (miss < apart[close] - reach / 100) | ((miss < apart[close]) & (row[close] != number))
            rows = close[better]
            row[rows], apart[rows] = number, miss[better]
            place[rows] = (ends[own] + at * run[own])[better]
    return row, place, apart


def _refined(path: ArcPath, move: Ints, share: Floats, points: Floats) -> Floats:
    """Shares of moves nearest to points."""
    run = lengths(path)[move]
    way, half = np.arctan2(*chords(path)[move].T[::-1]), 2 * np.arctan(path.bulge[move])
    for _ in range(ROUNDS):
        angle = way + (2 * share - 1) * half
        off = points - points_at(path, move, share)
        share = np.clip(share + (off[:, 0] * np.cos(angle) + off[:, 1] * np.sin(angle)) / run, 0.0, 1.0)
    return share
