"""Rings inside each other joined by cross-overs: each ends short of its start and goes on to the next one in."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.beads._bead import Bead
from beadwright.beads._lines import Laid
from beadwright.beads._loops import nearest_loop
from beadwright.beads._start import cut_between
from beadwright.curves import ArcPath, ArcRegion, inside, lengths, nearest_place, points_at

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

Place = tuple[int, float]
"""A move of a path and a share of its length."""

# A ring shorter than this many spacings stays as it is.
SHORT = 6.0
# A cross-over is at most this many spacings long.
FAR = 2.5
# Places looked at along a cross-over.
ALONG = 9
# Rings begin this many spacings farther on in each layer, so that cross-overs do not stand above each other.
SHIFT = 5.0


def joined_rings(rings: Sequence[Bead], core: ArcRegion, *, spacing: float, layer: int) -> tuple[Laid, ...]:
    """Join rings of neighbouring ranks into few beads.

    Parameters
    ----------
    rings : sequence of Bead
        Rank by rank from the outside in.
    core : ArcRegion
        Centrelines stay inside it.
    spacing : float
        Of neighbouring rings, mm.
    layer : int
        Index of the layer.

    Returns
    -------
    tuple of Laid
        Open ones through several rings, closed ones where a ring has no neighbour to go on to.
    """
    left = [ring for ring in rings if ring.closed]
    others = [Laid(path=ring.path, width=ring.width) for ring in rings if not ring.closed]
    inner: dict[int, list[int]] = {}
    for row, ring in enumerate(left):
        outer = [i for i, other in enumerate(left) if other.rank == ring.rank - 1]
        if outer:
            inner.setdefault(outer[nearest_loop(ring.path, [left[i].path for i in outer])], []).append(row)
    used: set[int] = set()
    found: list[Laid] = []
    for first in range(len(left)):
        if first in used:
            continue
        used.add(first)
        start = _ahead(left[first].path, (0, 0.0), SHIFT * spacing * layer)
        parts: list[ArcPath] = []
        row = first
        while (step := _next(left, inner.get(row, ()), used, row, start, core, spacing)) is not None:
            end, row_next, place = step
            parts.append(cut_between(left[row].path, start, end))
            used.add(row_next)
            row, start = row_next, place
        if not parts:
            found.append(Laid(path=left[first].path, width=left[first].width))
            continue
        parts.append(cut_between(left[row].path, start, _ahead(left[row].path, start, -spacing)))
        found.append(Laid(path=_chained(parts), width=left[first].width, joined=len(parts)))
    return (*found, *others)


def _next(
    rings: Sequence[Bead],
    inner: Sequence[int],
    used: set[int],
    row: int,
    start: Place,
    core: ArcRegion,
    spacing: float,
) -> tuple[Place, int, Place] | None:
    """Where a ring is left, the ring that comes next and where it is entered; None if none is near."""
    path = rings[row].path
    if float(lengths(path).sum()) < SHORT * spacing:
        return None
    end = _ahead(path, start, -spacing)
    leave, begin = _at(path, end), _at(path, start)
    best: tuple[float, int, Place] | None = None
    for other in inner:
        if other in used or float(lengths(rings[other].path).sum()) < SHORT * spacing:
            continue
        place = nearest_place(rings[other].path, begin)
        to = _at(rings[other].path, place)
        far = float(np.hypot(*(to - leave)))
        line = leave + np.linspace(0, 1, ALONG)[:, None] * (to - leave)
        if far <= FAR * spacing and inside(core, line).all() and (best is None or far < best[0]):
            best = far, other, place
    return None if best is None else (end, best[1], best[2])


def _at(path: ArcPath, place: Place) -> Floats:
    return np.asarray(points_at(path, np.array([place[0]]), np.array([place[1]]))[0])


def _ahead(path: ArcPath, place: Place, distance: float) -> Place:
    """The place that lies a distance farther along a closed path."""
    run = lengths(path)
    ends = np.cumsum(run)
    at = (float(ends[place[0]] - run[place[0]]) + place[1] * float(run[place[0]]) + distance) % float(
        ends[-1]
    )
    move = min(int(np.searchsorted(ends, at, side="right")), len(run) - 1)
    return move, float(np.clip((at - float(ends[move] - run[move])) / float(run[move]), 0.0, 1.0))


def _chained(parts: Sequence[ArcPath]) -> ArcPath:
    """Open paths one after the other, with straight moves between them."""
    bulges: list[Floats] = []
    faces: list[npt.NDArray[np.int32]] = []
    for part in parts:
        bulges += [part.bulge, np.zeros(1)]
        faces += [part.face, part.face[-1:]]
    bulge = np.concatenate(bulges[:-1])
    return ArcPath(
        points=np.concatenate([part.points for part in parts]),
        bulge=bulge,
        face=np.concatenate(faces[:-1]),
        support=np.full(len(bulge), -1, np.int32),
        closed=False,
    )
