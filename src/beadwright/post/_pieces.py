"""Arcs cut into pieces: chords for controllers without arcs, quarters for arcs by their radius."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ends_of

# A chord spans at most an eighth of a turn however wide its tolerance, so that a circle stays one.
WIDEST_CHORD = np.pi / 4
QUARTER = np.pi / 2
# A sweep of a quarter turn stays one piece in spite of rounding.
QUARTER_SLACK = 1e-9

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Complex = npt.NDArray[np.complex128]


def chords(path: ArcPath, tolerance: float) -> tuple[ArcPath, float]:
    """Chords in place of arcs.

    Parameters
    ----------
    path : ArcPath
    tolerance : float
        Greatest distance of a chord from its arc, mm.

    Returns
    -------
    path : ArcPath
        Lines only; their ends lie on the arcs.
    bound : float
        Greatest distance of a chord from its arc in the sense of Fréchet, mm: the rise of the piece of arc
        above it, chord/2 tan(sweep/4), at most `tolerance`.
    """
    sweep = 4 * np.arctan(np.abs(path.bulge))
    count = chord_counts(path, tolerance)
    cut = _cut(path, count)
    rise = _radii(path) * (1 - np.cos(sweep / count / 2))
    bound = float(rise[path.bulge != 0].max(initial=0.0))
    return _with_bulge(cut, np.zeros_like(cut.bulge)), bound


def chord_counts(path: ArcPath, tolerance: float) -> npt.NDArray[np.int64]:
    """How many chords `chords` makes of each move."""
    sweep = 4 * np.arctan(np.abs(path.bulge))
    # The rise r (1 - cos(s/2)) is the tolerance at s = 4 asin(sqrt(tolerance / 2r)).
    share = np.minimum(tolerance / (2 * _radii(path)), 1.0)
    widest = np.minimum(4 * np.arcsin(np.sqrt(share)), WIDEST_CHORD)
    return np.maximum(np.where(path.bulge != 0, np.ceil(sweep / widest), 1), 1).astype(np.int64)


def pieces(path: ArcPath, greatest: float = QUARTER) -> ArcPath:
    """The same path with arcs that turn by at most some angle, rad."""
    return _cut(path, piece_counts(path, greatest))


def piece_counts(path: ArcPath, greatest: float = QUARTER) -> npt.NDArray[np.int64]:
    """How many arcs `pieces` makes of each move."""
    sweep = 4 * np.arctan(np.abs(path.bulge))
    return np.maximum(np.ceil(sweep / greatest - QUARTER_SLACK), 1).astype(np.int64)


def spread(values: Floats, count: npt.NDArray[np.int64]) -> Floats:
    """Values at the ends of moves, (m + 1,), at the ends of as many equal pieces of each: straight between.

    Examples
    --------
    >>> spread(np.array([0.0, 1.0, 4.0]), np.array([1, 3])).tolist()
    [0.0, 1.0, 2.0, 3.0, 4.0]
    """
    row = np.repeat(np.arange(len(count)), count)
    share = (np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count) + 1) / count[row]
    inner = values[row] + (values[row + 1] - values[row]) * share
    inner[np.cumsum(count) - 1] = values[1:]
    return np.concatenate([values[:1], inner])


def _ends(path: ArcPath) -> tuple[npt.NDArray[np.complex128], npt.NDArray[np.complex128]]:
    points = path.points[:, 0] + 1j * path.points[:, 1]
    following = np.roll(points, -1) if path.closed else points[1:]
    return points[: len(path.bulge)], following


def _radii(path: ArcPath) -> Floats:
    """Radius of each span, mm; 1 for a line, which has none."""
    start, end = _ends(path)
    b = np.where(path.bulge != 0, np.abs(path.bulge), 1.0)
    radius: Floats = np.abs(end - start) * (1 + b * b) / (4 * b)
    return np.where((path.bulge != 0) & (radius > 0), radius, 1.0)


def _cut(path: ArcPath, count: Ints) -> ArcPath:
    """Each span in so many equal pieces; lines are never cut."""
    if not path.bulge.any():
        return path
    start, end = _ends(path)
    row, points = _cut_spans(start, end, path.bulge, count)
    if not path.closed:
        points = np.append(points, end[-1])
    return ArcPath(
        points=np.stack([points.real, points.imag], axis=1),
        bulge=np.tan(np.arctan(path.bulge)[row] / count[row]),
        face=path.face[row],
        support=path.support[row],
        closed=path.closed,
    )


def _cut_spans(start: Complex, end: Complex, bulge: Floats, count: Ints) -> tuple[Ints, Complex]:
    """Of each piece the span that it is of, and where it starts."""
    row = np.repeat(np.arange(len(count)), count)
    place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    sweep = 4 * np.arctan(bulge)[row]
    share = place / count[row]
    half = np.sin(sweep / 2)
    turned = np.exp(0.5j * (share - 1) * sweep) * np.sin(share * sweep / 2)
    along = np.where(half != 0, turned / np.where(half != 0, half, 1.0), share)
    return row, np.where(place == 0, start[row], start[row] + (end - start)[row] * along)


def piece_boxes(paths: Sequence[ArcPath], greatest: float) -> tuple[Ints, Floats]:
    """Boxes of the pieces of paths: each that of a chord, grown by the rise of its arc.

    Parameters
    ----------
    paths : sequence of ArcPath
    greatest : float
        Pieces of arcs turn by at most this, rad.

    Returns
    -------
    row : (n,) int
        The move that each piece is of, counted through all paths.
    boxes : (n, 2, 2) float
        Least and greatest x, y, mm.
    """
    ends = ends_of(paths)
    points = ends.points[:, 0] + 1j * ends.points[:, 1]
    start, end = points[ends.start], points[ends.end]
    count = np.maximum(np.ceil(4 * np.arctan(np.abs(ends.bulge)) / greatest - QUARTER_SLACK), 1).astype(
        np.int64
    )
    row, first = _cut_spans(start, end, ends.bulge, count)
    last = np.append(first[1:], 0j)
    last[np.cumsum(count) - 1] = end
    rise = np.abs(np.tan(np.arctan(ends.bulge)[row] / count[row])) * np.abs(last - first) / 2
    corners = [
        np.stack([side(first.real, last.real) + grown, side(first.imag, last.imag) + grown], axis=1)
        for side, grown in ((np.minimum, -rise), (np.maximum, rise))
    ]
    return row, np.stack(corners, axis=1)


def _with_bulge(path: ArcPath, bulge: Floats) -> ArcPath:
    return ArcPath(points=path.points, bulge=bulge, face=path.face, support=path.support, closed=path.closed)
