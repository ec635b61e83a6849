"""Which loop of rank 1 a bead of a higher rank belongs to."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.beads._start import points_at
from beadwright.curves import ArcPath, chords, lengths

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
    apart = np.stack([distances(points, loop) for loop in loops])
    votes = np.bincount(apart.argmin(axis=0), minlength=len(loops))
    return int(votes.argmax())


def distances(points: npt.NDArray[np.float64], path: ArcPath) -> npt.NDArray[np.float64]:
    """Distance of each of some points from a path of lines and arcs: (k,), mm.

    A point faces an arc if it lies in the arc's sector: then its distance is ``| |p - c| - r |``; else, and
    for near-flat arcs whose centre is out of reach, the ends and the chord's foot decide.
    """
    start = path.points if path.closed else path.points[:-1]
    chord = chords(path)
    way = points[:, None, :] - start[None, :, :]
    size = np.maximum((chord**2).sum(axis=1), 1e-300)
    share = np.clip((way * chord).sum(axis=2) / size, 0.0, 1.0)
    best = np.hypot(*(way - share[..., None] * chord).transpose(2, 0, 1))

    arc = np.flatnonzero(path.bulge != 0)
    if len(arc):
        b = path.bulge[arc]
        normal = np.stack([-chord[arc, 1], chord[arc, 0]], axis=1)
        centre = start[arc] + chord[arc] / 2 + normal * ((1 - b * b) / (4 * b))[:, None]
        radius = np.hypot(*(start[arc] - centre).T)
        out = points[:, None, :] - centre
        far = np.hypot(out[..., 0], out[..., 1])
        middle = start[arc] + chord[arc] / 2 - centre - normal * (b / 2)[:, None]
        along = (out * middle).sum(axis=2) / np.maximum(far * radius, 1e-300)
        facing = along >= np.cos(2 * np.arctan(np.abs(b)))
        ends = np.minimum(
            np.hypot(*way[:, arc].transpose(2, 0, 1)),
            np.hypot(*(way[:, arc] - chord[arc]).transpose(2, 0, 1)),
        )
        best[:, arc] = np.where(facing, np.abs(far - radius), ends)
    return np.asarray(best.min(axis=1))
