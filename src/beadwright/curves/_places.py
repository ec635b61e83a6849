"""Places on the moves of a path."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves._measure import chords
from beadwright.curves._path import ArcPath

Floats = npt.NDArray[np.float64]


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
