"""Distance of points from paths of lines and arcs, and points along them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.curves._measure import chords, lengths
from beadwright.curves._path import ArcPath

Floats = npt.NDArray[np.float64]

# Pairs of a point and a move looked at together: some 100 MB of intermediate numbers.
BLOCK = 1_000_000


def distances(paths: Sequence[ArcPath], points: Floats) -> Floats:
    """Least distance of each point from any of the paths: (k,) for points (k, 2), mm; inf without a path.

    In closed form for lines and arcs alike; exact but for rounding, which on an arc of radius r is some
    1e-16 r.

    Examples
    --------
    >>> ring = ArcPath(points=np.array([[500.0, 0], [-500, 0]]), bulge=np.ones(2),
    ...                face=np.zeros(2, np.int32), support=np.zeros(2, np.int32))
    >>> distances([ring], np.array([[0.0, 0.0], [0, 503], [300, 400]])).tolist()
    [500.0, 3.0, 0.0]
    """
    points = np.asarray(points, dtype=float).reshape(-1, 2)
    least = np.full(len(points), np.inf)
    if not len(points):
        return least
    moves = [(path.points[: len(path.bulge)], chords(path), path.bulge) for path in paths if len(path.bulge)]
    if not moves:
        return least
    start, chord, bulge = (np.concatenate(each) for each in zip(*moves, strict=True))
    straight = bulge == 0
    for rows, measure in ((straight, _to_lines), (~straight, _to_arcs)):
        p, c, b = start[rows], chord[rows], bulge[rows]
        step = max(1, BLOCK // max(1, len(p)))
        for first in range(0, len(points) if len(p) else 0, step):
            block = slice(first, first + step)
            least[block] = np.minimum(least[block], measure(points[block], p, c, b))
    return least


def samples(paths: Sequence[ArcPath], step: float) -> Floats:
    """Points along paths: starts and middles of all moves, and between them at most a step apart: (n, 2), mm."""
    found = [np.zeros((0, 2))]
    for path in paths:
        chord, bulge = chords(path), path.bulge
        pieces = 2 * np.maximum(1, np.ceil(lengths(path) / (2 * step)).astype(int))
        row = np.repeat(np.arange(len(bulge)), pieces)
        t = (np.arange(len(row)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[row]
        # A point of an arc: the chord turned and scaled, p0 + chord e^(-i(1-t)s/2) sin(t s/2) / sin(s/2).
        sweep = 4 * np.arctan(bulge)[row]
        half = np.where(sweep == 0, 1.0, sweep / 2)
        along = np.where(sweep == 0, t, np.sin(t * sweep / 2) / np.sin(half))
        moved = along * np.exp(-0.5j * (1 - t) * sweep) * (chord[row, 0] + 1j * chord[row, 1])
        found.append(path.points[row] + np.column_stack([moved.real, moved.imag]))
        if not path.closed:
            found.append(path.points[-1:])
    return np.concatenate(found)


def _to_lines(points: Floats, start: Floats, chord: Floats, _bulge: Floats) -> Floats:
    squared = np.einsum("ij,ij->i", chord, chord)
    along = points[:, None, :] - start
    t = np.einsum("kij,ij->ki", along, chord) / np.where(squared > 0, squared, 1.0)
    across = along - np.clip(t, 0.0, 1.0)[..., None] * chord
    return np.asarray(np.hypot(across[..., 0], across[..., 1]).min(axis=1))


def _to_arcs(points: Floats, start: Floats, chord: Floats, bulge: Floats) -> Floats:
    left = np.column_stack([-chord[:, 1], chord[:, 0]])
    centre = start + chord / 2 + left * ((1 - bulge) * (1 + bulge) / (4 * bulge))[:, None]
    radius = np.hypot(chord[:, 0], chord[:, 1]) * (1 + bulge * bulge) / (4 * np.abs(bulge))
    out = points[:, None, :] - centre
    far = np.hypot(out[..., 0], out[..., 1])
    # The foot is on the arc where it lies on the arc's side of the chord.
    foot = centre + out * (radius / np.where(far > 0, far, 1.0))[..., None] - start
    side = (chord[:, 0] * foot[..., 1] - chord[:, 1] * foot[..., 0]) * bulge
    from_start, from_end = points[:, None, :] - start, points[:, None, :] - (start + chord)
    to_ends = np.minimum(
        np.hypot(from_start[..., 0], from_start[..., 1]), np.hypot(from_end[..., 0], from_end[..., 1])
    )
    on = (side <= 0) | (far == 0)
    return np.asarray(np.where(on, np.abs(far - radius), to_ends).min(axis=1))
