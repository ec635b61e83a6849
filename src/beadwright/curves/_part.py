"""Parts of a path, and paths joined end to end."""

from __future__ import annotations

import math

import numpy as np

from beadwright.curves._measure import chords, lengths, move_lengths
from beadwright.curves._path import ArcPath


def first_part(path: ArcPath, run: float) -> ArcPath:
    """The first `run` mm of a path, as an open path; all of it where it is no longer.

    The last move is cut on its own line or circle: of an arc of sweep s the share t is left, with the chord
    sin(t s / 2) / sin(s / 2) as long and turned back by (1 - t) s / 2.

    Parameters
    ----------
    path : ArcPath
        mm.
    run : float
        mm, above 0.

    Examples
    --------
    A quarter of a circle of radius 500:

    >>> ring = ArcPath(points=np.array([[500.0, 0], [-500, 0]]), bulge=np.ones(2),
    ...                face=np.zeros(2, np.int32), support=np.zeros(2, np.int32))
    >>> first_part(ring, 250 * math.pi).points.round(9).tolist()
    [[500.0, 0.0], [0.0, 500.0]]
    """
    steps = chords(path)
    way = np.cumsum(move_lengths(steps, path.bulge))
    last = int(np.searchsorted(way, run))
    if last >= len(way):
        end = path.points[len(way) - 1 : len(way)] + steps[-1:]
        return ArcPath(
            points=np.concatenate([path.points[: len(way)], end]),
            bulge=path.bulge,
            face=path.face,
            support=path.support,
            closed=False,
        )
    before = float(way[last - 1]) if last else 0.0
    share = (run - before) / (float(way[last]) - before)
    half = 2 * math.atan(float(path.bulge[last]))
    ratio = math.sin(share * half) / math.sin(half) if half else share
    x, y = steps[last].tolist()
    chord = complex(x, y) * ratio * complex(math.cos((share - 1) * half), math.sin((share - 1) * half))
    end = path.points[last] + np.array([chord.real, chord.imag])
    bulge = path.bulge[: last + 1].copy()
    bulge[last] = math.tan(share * half / 2)
    return ArcPath(
        points=np.concatenate([path.points[: last + 1], end[None]]),
        bulge=bulge,
        face=path.face[: last + 1],
        support=path.support[: last + 1],
        closed=False,
    )


def cut_at(path: ArcPath, run: float) -> tuple[ArcPath, ArcPath]:
    """A path cut `run` mm after its start: what lies before, and what lies after, both open.

    Parameters
    ----------
    path : ArcPath
        mm.
    run : float
        mm, above 0 and below the length of the path.

    Examples
    --------
    >>> line = ArcPath(points=np.array([[0.0, 0], [30, 0], [30, 40]]), bulge=np.zeros(2),
    ...                face=np.zeros(2, np.int32), support=np.zeros(2, np.int32), closed=False)
    >>> [part.points.tolist() for part in cut_at(line, 50.0)]
    [[[0.0, 0.0], [30.0, 0.0], [30.0, 20.0]], [[30.0, 20.0], [30.0, 40.0]]]
    """
    before = first_part(path, run)
    return before, _turned(first_part(_turned(path), float(np.sum(lengths(path))) - run))


def _turned(path: ArcPath) -> ArcPath:
    """The same path from its end to its start."""
    points = np.vstack([path.points, path.points[:1]]) if path.closed else path.points
    return ArcPath(
        points=points[::-1],
        bulge=-path.bulge[::-1],
        face=path.face[::-1],
        support=path.support[::-1],
        closed=False,
    )


def joined(path: ArcPath, after: ArcPath) -> ArcPath:
    """One open path of two, the second from where the first ends.

    Parameters
    ----------
    path, after : ArcPath
        mm; `path` may be closed, and then ends where it starts.
    """
    points = np.vstack([path.points, path.points[:1]]) if path.closed else path.points
    return ArcPath(
        points=np.vstack([points, after.points[1:]]),
        bulge=np.concatenate([path.bulge, after.bulge]),
        face=np.concatenate([path.face, after.face]),
        support=np.concatenate([path.support, after.support]),
        closed=False,
    )


def reversed_path(path: ArcPath) -> ArcPath:
    """The same path walked the other way."""
    points = path.points[::-1]
    if path.closed:
        points = np.roll(points, 1, axis=0)
    return ArcPath(
        points=points,
        bulge=-path.bulge[::-1],
        face=path.face[::-1],
        support=path.support[::-1],
        closed=path.closed,
    )
