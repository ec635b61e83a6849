"""One bead that climbs: pieces of closed paths, each from the height at which it is laid, joined end to end.

A wall that leans has another section at every height. So a turn is made of pieces of several closed paths, one after
the other, and each piece is shifted so that it ends where the next begins: by what its own ends are off at its ends,
and evenly between. An arc with its bulge kept is a linear function of its ends, P = a + (b - a) f with
|f| + |1 - f| <= sqrt(1 + bulge^2) up to half a turn, so no place of it moves by more than that times what an end does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.beads._bead import part_of
from beadwright.beads._start import started_at
from beadwright.beads._vary import jointed
from beadwright.curves import ArcPath, length, lengths, nearest_place, points_at, reversed_path, signed_area
from beadwright.errors import GeometryError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """A closed path at one height, and which part of its turn is laid along it.

    Attributes
    ----------
    path : ArcPath
    first, last : float
        Shares of its turn, from 0 to 1.
    height, begin, end : float
        Where the path was cut, and which heights are followed where its part begins and ends, mm.
    """

    path: ArcPath
    first: float
    last: float
    height: float
    begin: float
    end: float

    def towards(self, after: Level) -> float:
        """Share of the way to the next path at which the part ends."""
        apart = after.height - self.height
        return min(max((self.end - self.height) / apart, 0.0), 1.0) if apart > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretch:
    """An open path of m moves that is a part of a turn.

    Attributes
    ----------
    path : ArcPath
    share : (m + 1,) float
        Of the turn, where the first move starts and where each ends.
    moved : float
        Bound of how far it was shifted from its own closed path, mm.
    """

    path: ArcPath
    share: Floats
    moved: float


def stretches(
    levels: Iterable[Level], start: tuple[float, float], *, goes_on: bool = True
) -> Iterator[Stretch]:
    """Pieces of closed paths, one after the other, as one open path; two of them are held at a time.

    Parameters
    ----------
    levels : iterable of Level
        From the lowest up; a turn begins with `first` 0 and ends with `last` 1, but the first may begin, and the last
        end, within one. All run round the same way, or are turned so.
    start : (float, float)
        Where a whole turn of the first of them would begin, mm.
    goes_on : bool
        Whether the first piece begins at `start` itself, where another bead ended. Else it begins where its own height
        has it.

    Yields
    ------
    Stretch
        Each begins, bit for bit, where the one before it ends.

    Raises
    ------
    GeometryError
        Neighbouring paths differ so much that a piece would run backwards.
    """
    pieces = _pieces(levels, start)
    level, path = next(pieces)
    after = next(pieces, None)
    first = np.array(start) if goes_on else _begun(level, path, None if after is None else after[0])
    while after is not None:
        above, following = after
        last = path.points[-1] + level.towards(above) * (following.points[0] - path.points[-1])
        yield _shifted(level, path, first, last)
        first, (level, path), after = last, after, next(pieces, None)
    yield _shifted(level, path, first, path.points[-1])


def _pieces(levels: Iterable[Level], start: tuple[float, float]) -> Iterator[tuple[Level, ArcPath]]:
    """The part of each path that is laid, where it lies."""
    sense = 0.0
    seam = at = np.array(start)
    for level in levels:
        area = signed_area(level.path)
        begun, sense = bool(sense), sense or area
        path = level.path if area * sense > 0 else reversed_path(level.path)
        own = started_at(path, *nearest_place(path, seam))
        seam, whole = own.points[0], length(own)
        begin = level.first * whole
        if begun and level.first > 0:
            begin = _way(own, *nearest_place(own, at))
        end = level.last * whole
        if not begin < end:
            raise GeometryError(
                f"the section near X {at[0]:.3f} Y {at[1]:.3f} mm changes so fast with the height that a bead cannot"
                " rise along it; print it without rising, or take a lower layer height"
            )
        piece = _between(own, begin, end, whole)
        at = piece.points[-1]
        yield level, piece


def _begun(level: Level, path: ArcPath, above: Level | None) -> Floats:
    """Where the first piece begins by its own height: as far from its path as the one above it has gone by then."""
    here = path.points[0]
    if above is None or not above.height > level.height:
        return np.asarray(here)
    near = points_at(above.path, *(np.array([each]) for each in nearest_place(above.path, here)))[0]
    return np.asarray(here + (level.begin - level.height) / (above.height - level.height) * (near - here))


def _shifted(level: Level, path: ArcPath, first: Floats, last: Floats) -> Stretch:
    """A piece, shifted so that it begins and ends at given places."""
    way = _ways(path)
    u = (way / way[-1])[:, None]
    here, there = first - path.points[0], last - path.points[-1]
    points = path.points + (1 - u) * here + u * there
    points[0], points[-1] = first, last
    most = max(float(np.hypot(*here)), float(np.hypot(*there)))
    return Stretch(
        path=replace(path, points=points),
        share=level.first + (level.last - level.first) * u[:, 0],
        moved=most * float(np.sqrt(1 + (path.bulge**2).max())),
    )


def stepped(stretch: Stretch, step: float) -> Stretch:
    """The same stretch with joints so near that no move takes more than a share of the turn."""
    low, high = float(stretch.share[0]), float(stretch.share[-1])
    count = int(np.ceil((high - low) / step - 1e-9))
    if count < 2:
        return stretch
    way = _ways(stretch.path)
    wanted = np.interp(low + (high - low) * np.arange(1, count) / count, stretch.share, way)
    path = jointed(stretch.path, wanted)
    return replace(stretch, path=path, share=np.interp(_ways(path), way, stretch.share))


def _ways(path: ArcPath) -> Floats:
    """Length of an open path up to its start and up to the end of each move, mm."""
    return np.concatenate([[0.0], np.cumsum(lengths(path))])


def _way(path: ArcPath, move: int, share: float) -> float:
    """Length of a path up to a place, mm."""
    run = lengths(path)
    return float(run[:move].sum() + share * run[move])


def _between(path: ArcPath, begin: float, end: float, whole: float) -> ArcPath:
    """The part of a closed path between two lengths from its start, mm."""
    cut = jointed(path, [at for at in (begin, end) if 0 < at < whole])
    run = lengths(cut)
    middle = np.cumsum(run) - run / 2
    return part_of(cut, np.flatnonzero((middle > begin) & (middle < end)))
