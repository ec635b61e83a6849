"""When the nozzle passes each place, and how long after the layer below: the layer time a place really sees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, chords
from beadwright.process._motion import Profile

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Track:
    """Places along a layer's beads and when the nozzle was there.

    Attributes
    ----------
    points : (n, 2) float
        mm, at the middle of pieces of `weight`.
    time : (n,) float
        s after the start of the build.
    weight : (n,) float
        Length of bead that each stands for, mm.
    """

    points: Floats
    time: Floats
    weight: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnTimes:
    """Times between the bead below and this one over all places of a layer, s.

    Attributes
    ----------
    least, median, greatest : float
        By length of bead.
    lies_on : float
        Share of the beads' length that has a bead below; the rest hangs over.
    """

    least: float
    median: float
    greatest: float
    lies_on: float


def track(
    paths: Sequence[ArcPath], motion: Sequence[Profile], begin: Sequence[float], *, pitch: float
) -> Track:
    """Places along paths, at most `pitch` apart, with their times.

    Parameters
    ----------
    paths : sequence of ArcPath
        mm.
    motion : sequence of Profile
        Along each.
    begin : sequence of float
        When each begins, s.
    pitch : float
        Greatest length that one place stands for, mm.

    Returns
    -------
    Track
    """
    if not paths:
        return Track(points=np.zeros((0, 2)), time=np.zeros(0), weight=np.zeros(0))
    chord = np.concatenate([chords(path) for path in paths])
    start = np.concatenate([path.points[: len(path.bulge)] for path in paths])
    sweep = 4 * np.arctan(np.concatenate([path.bulge for path in paths]))
    run = np.concatenate([m.length for m in motion])
    pieces = np.maximum(np.ceil(run / pitch).astype(np.int64), 1)
    row = np.repeat(np.arange(len(run)), pieces)
    first = np.concatenate([[0], np.cumsum(pieces)[:-1]])
    share = (np.arange(len(row)) - first[row] + 0.5) / pieces[row]
    # From the start of an arc a place lies along the chord turned by half of what is still to sweep, backwards.
    half = sweep[row] / 2
    ratio = np.where(np.abs(half) > 0, np.sin(share * half) / np.where(half == 0, 1.0, np.sin(half)), share)
    turn = np.exp(1j * (share - 1.0) * half)
    along = (chord[row, 0] + 1j * chord[row, 1]) * ratio * turn
    points = start[row] + np.column_stack([along.real, along.imag])
    counts = [int(pieces[a : a + n].sum()) for a, n in _blocks(paths)]
    times, at = [], 0
    for path_motion, begun, count in zip(motion, begin, counts, strict=True):
        own = slice(at, at + count)
        local = row[own] - row[at]
        times.append(begun + path_motion.time(local, share[own]))
        at += count
    return Track(points=points, time=np.concatenate(times), weight=run[row] / pieces[row])


def _blocks(paths: Sequence[ArcPath]) -> list[tuple[int, int]]:
    """First move and number of moves of each path."""
    counts = [len(path.bulge) for path in paths]
    return list(zip(np.cumsum([0, *counts[:-1]]).tolist(), counts, strict=True))


def return_times(above: Track, below: Track, *, reach: float) -> ReturnTimes | None:
    """Time since the bead below, at each place of a layer.

    Parameters
    ----------
    above, below : Track
        A layer and the one under it.
    reach : float
        Greatest distance in plan at which a bead counts as lying below, mm.

    Returns
    -------
    ReturnTimes or None
        None where nothing lies on the layer below. The place below is the nearest of the track, so a time is
        off by at most the way of half a pitch.
    """
    from beadwright.process._kernels import nearest  # numba: late

    if not len(above.time) or not len(below.time):
        return None
    under = nearest(above.points, below.points, reach)
    on = under >= 0
    if not on.any():
        return None
    since, weight = (above.time[on] - below.time[under[on]]), above.weight[on]
    order = np.argsort(since, kind="stable")
    half = np.searchsorted(np.cumsum(weight[order]), weight.sum() / 2)
    return ReturnTimes(
        least=float(since[order[0]]),
        median=float(since[order[min(int(half), len(order) - 1)]]),
        greatest=float(since[order[-1]]),
        lies_on=float(weight.sum() / above.weight.sum()),
    )
