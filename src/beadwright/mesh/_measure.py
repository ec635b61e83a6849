"""What straight moves ask of a controller."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Joints:
    """Places between moves, and how far the direction turns there.

    Attributes
    ----------
    at : (n, 2) float
        mm.
    turn : (n,) float
        Size of the turn, rad.
    """

    at: Floats
    turn: Floats


def joints(points: Floats, bulge: Floats) -> Joints:
    """The joints of one closed path of lines and arcs.

    Parameters
    ----------
    points : (n, 2) float
        Start of each move, mm.
    bulge : (n,) float
        tan(sweep / 4) of each, 0 for lines.
    """
    chord = np.roll(points, -1, axis=0) - points
    heading = np.arctan2(chord[:, 1], chord[:, 0])
    half = 2 * np.arctan(bulge)
    leaving, arriving = heading - half, heading + half
    turn = leaving - np.roll(arriving, 1)
    return Joints(at=points, turn=np.abs((turn + np.pi) % (2 * np.pi) - np.pi))


def busiest(lengths: Floats, *, feed: float, window: float = 0.1) -> float:
    """Moves a second in the busiest stretch at steady feed.

    Parameters
    ----------
    lengths : (n,) float
        Of moves that follow one another, mm.
    feed : float
        mm/s.
    window : float
        Length of the stretch, s: about what controllers read ahead.

    Examples
    --------
    >>> busiest(np.ones(1000), feed=100.0)
    100.0
    """
    if not len(lengths):
        return 0.0
    ends = np.cumsum(lengths) / feed
    starts = ends - np.asarray(lengths) / feed
    # Moves that begin within the window from each move's beginning; a short path is busy for its own time.
    within = np.searchsorted(starts, starts + window * (1 - 1e-9)) - np.arange(len(starts))
    return float(within.max() / max(window, 0.0)) if ends[-1] >= window else float(len(ends) / ends[-1])
