"""Arcs cut into pieces: chords for controllers without arcs, quarters for arcs by their radius."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath

# A chord spans at most an eighth of a turn however wide its tolerance, so that a circle stays one.
WIDEST_CHORD = np.pi / 4
QUARTER = np.pi / 2
# A sweep of a quarter turn stays one piece in spite of rounding.
QUARTER_SLACK = 1e-9

Floats = npt.NDArray[np.float64]


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
    radius = _radii(path)
    # The rise r (1 - cos(s/2)) is the tolerance at s = 4 asin(sqrt(tolerance / 2r)).
    widest = np.minimum(4 * np.arcsin(np.sqrt(np.minimum(tolerance / (2 * radius), 1.0))), WIDEST_CHORD)
    count = np.where(path.bulge != 0, np.ceil(sweep / widest), 1).astype(np.int64)
    cut = _cut(path, np.maximum(count, 1))
    rise = radius * (1 - np.cos(sweep / np.maximum(count, 1) / 2))
    bound = float(rise[path.bulge != 0].max(initial=0.0))
    return _with_bulge(cut, np.zeros_like(cut.bulge)), bound


def pieces(path: ArcPath, greatest: float = QUARTER) -> ArcPath:
    """The same path with arcs that turn by at most some angle, rad."""
    sweep = 4 * np.arctan(np.abs(path.bulge))
    return _cut(path, np.maximum(np.ceil(sweep / greatest - QUARTER_SLACK), 1).astype(np.int64))


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


def _cut(path: ArcPath, count: npt.NDArray[np.int64]) -> ArcPath:
    """Each span in so many equal pieces."""
    start, end = _ends(path)
    row = np.repeat(np.arange(len(count)), count)
    place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    sweep = 4 * np.arctan(path.bulge)[row]
    share = place / count[row]
    half = np.sin(sweep / 2)
    turned = np.exp(0.5j * (share - 1) * sweep) * np.sin(share * sweep / 2)
    along = np.where(half != 0, turned / np.where(half != 0, half, 1.0), share)
    points = np.where(place == 0, start[row], start[row] + (end - start)[row] * along)
    if not path.closed:
        points = np.append(points, end[-1])
    return ArcPath(
        points=np.stack([points.real, points.imag], axis=1),
        bulge=np.tan(sweep / 4 / count[row]),
        face=path.face[row],
        support=path.support[row],
        closed=path.closed,
    )


def _with_bulge(path: ArcPath, bulge: Floats) -> ArcPath:
    return ArcPath(points=path.points, bulge=bulge, face=path.face, support=path.support, closed=path.closed)
