"""Paths of lines and arcs as a table of exact curves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from beadwright.curves._loops import CurveKind, CurveLoops
from beadwright.curves._measure import chords
from beadwright.curves._path import ArcPath


def curves_of(paths: Sequence[ArcPath]) -> CurveLoops:
    """Lines and circles of paths, one chain a path.

    Parameters
    ----------
    paths : sequence of ArcPath

    Returns
    -------
    CurveLoops
        With a `bound` of 0: what the paths stand for is their maker's.

    Examples
    --------
    >>> none = np.full(2, -1, np.int32)
    >>> ring = ArcPath(points=np.array([[5.0, 0], [-5, 0]]), bulge=np.ones(2), face=none, support=none)
    >>> curves_of([ring]).circle[0].round(6).tolist()
    [0.0, 0.0, 5.0, 3.141593]
    """
    bulge = np.concatenate([np.zeros(0), *(path.bulge for path in paths)])
    starts = np.concatenate([np.zeros((0, 2)), *(path.points[: len(path.bulge)] for path in paths)])
    lasts = [np.roll(p.points, -1, axis=0) if p.closed else p.points[1:] for p in paths]
    ends = np.concatenate([np.zeros((0, 2)), *lasts])
    across = np.concatenate([np.zeros((0, 2)), *(chords(path) for path in paths)])
    arc = bulge != 0
    b = np.where(arc, bulge, 1.0)
    left = np.column_stack([-across[:, 1], across[:, 0]])
    # Centre: from the middle of the chord to its left by L (1 - b^2) / (4 b).
    centre = (starts + ends) / 2 + left * ((1 - b) * (1 + b) / (4 * b))[:, None]
    radius = np.hypot(across[:, 0], across[:, 1]) * (1 + b * b) / (4 * np.abs(b))
    circle = np.where(arc[:, None], np.column_stack([centre, radius, 4 * np.arctan(bulge)]), 0.0)
    count = len(bulge)
    return CurveLoops(
        kind=np.where(arc, CurveKind.CIRCLE, CurveKind.LINE).astype(np.int8),
        face=np.concatenate([np.zeros(0, np.int32), *(path.face for path in paths)]).astype(np.int32),
        ends=np.hstack([starts, ends]),
        circle=circle,
        first_piece=np.zeros(count + 1, np.int32),
        degree=np.zeros(0, np.int32),
        first_control=np.zeros(1, np.int32),
        control=np.zeros((0, 3)),
        bound=np.zeros(count),
        first_curve=np.cumsum([0, *(len(path.bulge) for path in paths)]).astype(np.int32),
        closed=np.array([path.closed for path in paths], dtype=bool),
    )
