"""Which loop of rank 1 a bead of a higher rank belongs to."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from beadwright.curves import ArcPath, distances, lengths, points_at

# Places looked at on each path, in the middles of its longest moves: odd, so that a vote has a winner.
WITNESSES = 5


def nearest_loop(path: ArcPath, loops: Sequence[ArcPath]) -> int:
    """The loop that most of a path's longest moves are nearest to; of equals the first.

    Parameters
    ----------
    path : ArcPath
        A bead's centreline.
    loops : sequence of ArcPath
        The candidates, at least one.
    """
    if len(loops) == 1:
        return 0
    longest = np.argsort(-lengths(path), kind="stable")[:WITNESSES]
    points = points_at(path, longest, np.full(len(longest), 0.5))
    apart = np.stack([distances([loop], points) for loop in loops])
    votes = np.bincount(apart.argmin(axis=0), minlength=len(loops))
    return int(votes.argmax())
