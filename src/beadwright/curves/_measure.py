"""Length and signed area of arc paths."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves._path import ArcPath

# Below this bulge the series of the circular segment is exact to the last bit; the closed form cancels there.
SERIES_BELOW = 0.02


def chords(path: ArcPath) -> npt.NDArray[np.float64]:
    """End minus start of each move: (m, 2), mm."""
    at = path.points
    if not path.closed:
        return at[1:] - at[:-1]
    chord = np.empty_like(at)  # half the time of `np.roll` on the short paths that most are
    np.subtract(at[1:], at[:-1], out=chord[:-1])
    np.subtract(at[:1], at[-1:], out=chord[-1:])
    return chord


def chord_runs(points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Length of the chords of a row of (n, 2) points up to each of them: (n,), mm, the first 0."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def lengths(path: ArcPath) -> npt.NDArray[np.float64]:
    """Length of each move along its line or arc: (m,), mm."""
    return move_lengths(chords(path), path.bulge)


def move_lengths(chord: npt.NDArray[np.float64], bulge: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Length of moves by chord (m, 2) and bulge (m,): (m,), mm.

    An arc of chord L and bulge b has the length L (1 + b^2) atan(b) / b.
    """
    size = np.hypot(chord[:, 0], chord[:, 1])
    if not bulge.any():
        return np.asarray(size)
    b = np.abs(bulge)
    safe = np.where(b > 0, b, 1.0)
    return np.asarray(np.where(b > 0, size * (1 + b * b) * np.arctan(safe) / safe, size))


def length(path: ArcPath) -> float:
    """Length of the whole path, mm.

    Examples
    --------
    A circle of radius 500 as two half turns:

    >>> ring = ArcPath(points=np.array([[500.0, 0], [-500, 0]]), bulge=np.ones(2),
    ...                face=np.zeros(2, np.int32), support=np.zeros(2, np.int32))
    >>> round(length(ring), 6)
    3141.592654
    """
    return float(lengths(path).sum())


def signed_area(path: ArcPath) -> float:
    """Area inside a closed path, mm2: positive if it runs counter-clockwise.

    The polygon of the ends by the shoelace formula about its first point, plus the circular segment of
    each arc, L^2 ((1 + b^2)^2 atan(b) - b (1 - b^2)) / (8 b^2), positive for b > 0.
    """
    local = path.points - path.points[0]
    after = np.concatenate((local[1:], local[:1]))
    polygon = 0.5 * float(np.sum(local[:, 0] * after[:, 1] - after[:, 0] * local[:, 1]))
    b = path.bulge
    arc = b != 0
    if not arc.any():
        return polygon
    b = b[arc]
    chord2 = (chords(path)[arc] ** 2).sum(axis=1)
    small = np.abs(b) < SERIES_BELOW
    safe = np.where(small, 1.0, b)
    closed = ((1 + safe**2) ** 2 * np.arctan(safe) - safe * (1 - safe**2)) / (8 * safe**2)
    # (2/3) b + (2/15) b^3 - (2/105) b^5 + (2/315) b^7, over 2
    b2 = b * b
    series = b / 3 * (1 + b2 * (1 / 5 + b2 * (-1 / 35 + b2 / 105)))
    return polygon + float(np.sum(chord2 * np.where(small, series, closed)))
