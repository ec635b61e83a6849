"""How much room curves and paths need on a sheet."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from beadwright.curves import ArcPath, CurveKind, CurveLoops, chords

Box = tuple[float, float, float, float]


def loops_box(loops: CurveLoops) -> Box:
    """Box that holds all curves: control points stand for splines; zeros where there is nothing."""
    if len(loops.kind) == 0:
        return (0.0, 0.0, 0.0, 0.0)
    points = [loops.ends[:, :2], loops.ends[:, 2:], loops.control[:, :2] / loops.control[:, 2:]]
    for curve in np.flatnonzero(loops.kind == CurveKind.CIRCLE):
        cx, cy, radius, sweep = loops.circle[curve]
        start = np.arctan2(loops.ends[curve, 1] - cy, loops.ends[curve, 0] - cx)
        points.append(_extremes(float(cx), float(cy), float(radius), float(start), float(sweep)))
    return _of(np.concatenate(points))


def paths_box(paths: Iterable[ArcPath]) -> Box:
    """Box of paths of lines and arcs."""
    points = [np.zeros((0, 2))]
    for path in paths:
        points.append(path.points)
        for start, chord, bulge in zip(path.points, chords(path), path.bulge, strict=False):
            if bulge:
                # centre of an arc: chord's middle plus (1 - b^2) / (4 b) of the chord turned left
                centre = start + 0.5 * chord + (1 - bulge**2) / (4 * bulge) * np.array([-chord[1], chord[0]])
                angle = np.arctan2(start[1] - centre[1], start[0] - centre[0])
                radius = float(np.hypot(*(start - centre)))
                sweep = 4 * float(np.arctan(bulge))
                points.append(_extremes(float(centre[0]), float(centre[1]), radius, float(angle), sweep))
    found = np.concatenate(points)
    return _of(found) if len(found) else (0.0, 0.0, 0.0, 0.0)


def _extremes(
    cx: float, cy: float, radius: float, start: float, sweep: float
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Points of an arc where it runs along an axis."""
    low, high = sorted((start, start + sweep))
    turns = np.arange(np.ceil(low / (np.pi / 2)), np.floor(high / (np.pi / 2)) + 1) * (np.pi / 2)
    return np.column_stack((cx + radius * np.cos(turns), cy + radius * np.sin(turns)))


def _of(points: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Box:
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return (float(x0), float(y0), float(x1), float(y1))
