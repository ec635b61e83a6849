"""Places on the moves of a path."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves._measure import chords
from beadwright.curves._path import ArcPath

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
Rows = npt.NDArray[np.int64]


def points_at(path: ArcPath, move: npt.NDArray[np.int64], share: Floats) -> Floats:
    """Points at a share of the length of some moves: (k, 2), mm."""
    return np.asarray(path.points[move] + part_of_way(chords(path)[move], path.bulge[move], share))


def part_of_way(chord: Floats, bulge: Floats, share: Floats) -> Floats:
    """From the start of moves to a share of their length: (k, 2), mm.

    On an arc of sweep s the chord is cut at sin(t s/2) / sin(s/2) of its length, turned by (t - 1) s/2; no
    centre is formed, so near-flat arcs lose nothing.

    Parameters
    ----------
    chord : (k, 2) float
        From start to end, mm.
    bulge, share : (k,) float
    """
    half = 2 * np.arctan(bulge)
    arc = half != 0
    if not arc.any():
        return np.asarray(chord * share[:, None])
    safe = np.where(arc, half, 1.0)
    along = np.where(arc, np.sin(share * safe) / np.sin(safe), share)
    angle = (share - 1) * half
    c, s = along * np.cos(angle), along * np.sin(angle)
    return np.stack([c * chord[:, 0] - s * chord[:, 1], s * chord[:, 0] + c * chord[:, 1]], axis=1)


def nearest_place(path: ArcPath, point: Floats, moves: Rows | None = None) -> tuple[int, float]:
    """The place of a path that is nearest to a point: a move, and the share of its length before it.

    Parameters
    ----------
    path : ArcPath
    point : (2,) float
        mm.
    moves : (k,) int64, optional
        Which moves are looked at; default all.

    Examples
    --------
    >>> ring = ArcPath(points=np.array([[5.0, 0], [-5, 0]]), bulge=np.ones(2),
    ...                face=np.zeros(2, np.int32), support=np.zeros(2, np.int32))
    >>> nearest_place(ring, np.array([0.0, -9.0]))
    (1, 0.5)
    """
    rows = np.arange(len(path.bulge)) if moves is None else moves
    start = path.points[rows] @ np.array([1, 1j])
    chord = chords(path)[rows] @ np.array([1, 1j])
    share = _shares(start, chord, path.bulge[rows], complex(*point))
    # The start of each move stands for the ends: an end is the next one's start, if that is looked at.
    last = rows[~np.isin(rows + 1 if not path.closed else (rows + 1) % len(path.bulge), rows)]
    move = np.concatenate([rows, rows, last])
    share = np.concatenate([share, np.zeros(len(rows)), np.ones(len(last))])
    known = np.flatnonzero((share >= 0) & (share <= 1))
    far = np.hypot(*(points_at(path, move[known], share[known]) - point).T)
    row = known[int(far.argmin())]
    return int(move[row]), float(share[row])


def _shares(start: Complex, chord: Complex, bulge: Floats, point: complex) -> Floats:
    """Share of each move at the foot of a point, -1 where that lies beside it."""
    straight = bulge == 0
    with np.errstate(divide="ignore", invalid="ignore"):
        along = ((point - start) * np.conj(chord)).real / np.abs(chord) ** 2
        # The centre lies beside the middle of the chord.
        safe = np.where(straight, 1.0, bulge)
        centre = start + chord / 2 + 1j * chord * (1 - safe * safe) / (4 * safe)
        turned = np.angle((point - centre) / (start - centre)) * np.sign(safe)
        round_ = np.mod(turned, 2 * np.pi) / np.abs(4 * np.arctan(safe))
    share = np.where(straight, along, round_)
    return np.asarray(np.where((share >= 0) & (share <= 1), share, -1.0))
