"""Traverses that stay above their layer: the shortest way between two places inside its region.

What runs out of the nozzle on the way then falls where it is laid over, not on an open top face or beside the
part. The region is taken as a polygon moved inwards; a shortest way inside a polygon bends at its corners that
point inwards only (T. Lozano-Pérez, M. A. Wesley, Communications of the ACM 22 (1979) 560-570), so the way is
the shortest of a graph of those that see each other.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.beads._start import points_at
from beadwright.curves import ArcPath, ArcRegion, lengths

Floats = npt.NDArray[np.float64]
Place = tuple[float, float]

# In bead widths: how far ways keep from the boundary, and how far their corners do; chords stray from the
# boundary, and corners from their polygon, by less than the difference.
CLEAR, CORNERS, STRAY = 0.125, 0.25, 0.03
# Of a polygon with more corners that point inwards no graph is made: it would grow too large.
MOST = 250


class Ways:
    """Ways inside the region of one layer; what is found is kept, as the same are asked for again."""

    def __init__(self, region: ArcRegion, *, width: float, longest: float) -> None:
        """Ways at most `longest` times as long as straight ones, for beads of a width, mm."""
        self._region, self._width, self._longest = region, width, longest
        self._known: dict[tuple[Place, Place], tuple[Place, ...]] = {}

    def __call__(self, start: Place, end: Place) -> tuple[Place, ...]:
        """Places at which the way from one place to another bends.

        None where it is straight: also where no way inside is short enough.
        """
        key = start, end
        if key not in self._known:
            self._known[key] = () if self.clear(start, end) else self._found(np.array(start), np.array(end))
        return self._known[key]

    def clear(self, start: Place, end: Place) -> bool:
        """Whether the straight way stays inside."""
        return bool(self._sees(np.array([[start, end]]))[0])

    def _sees(self, ways: Floats) -> npt.NDArray[np.bool_]:
        """Which straight ways (n, 2, 2) stay inside."""
        import shapely

        return np.asarray(shapely.covers(self._inside, shapely.linestrings(ways)))

    @cached_property
    def _part(self) -> Any:
        """The region as polygons."""
        import shapely

        stray = STRAY * self._width
        rings = [shapely.linearrings(_chords(loop, stray)) for loop in self._region.loops]
        return shapely.build_area(shapely.multilinestrings(rings)) if rings else shapely.Polygon()

    @cached_property
    def _inside(self) -> Any:
        """Where ways may run."""
        import shapely

        found = self._part.buffer(-CLEAR * self._width, quad_segs=4).simplify(STRAY * self._width)
        shapely.prepare(found)
        return found

    @cached_property
    def _graph(self) -> tuple[Floats, Floats, npt.NDArray[np.int32]] | None:
        """Corners, lengths of the shortest ways between them, and the corner before each on its way."""
        import shapely
        from scipy.sparse.csgraph import shortest_path

        moved = self._part.buffer(-CORNERS * self._width, quad_segs=4).simplify(STRAY * self._width)
        corners = [_inward(ring) for piece in shapely.get_parts(moved) for ring in _rings(piece)]
        at = np.concatenate([np.zeros((0, 2)), *corners])
        if not 0 < len(at) <= MOST:
            return None
        i, j = np.triu_indices(len(at), 1)
        seen = self._sees(np.stack([at[i], at[j]], axis=1))
        far = np.full((len(at), len(at)), np.inf)
        far[i[seen], j[seen]] = np.hypot(*(at[i] - at[j])[seen].T)
        along, before = shortest_path(far, directed=False, return_predecessors=True)
        return at, along, before

    def _found(self, start: Floats, end: Floats) -> tuple[Place, ...]:
        if self._graph is None:
            return ()
        at, along, before = self._graph
        reach = []
        for place in (start, end):
            seen = self._sees(np.stack([np.broadcast_to(place, at.shape), at], axis=1))
            reach.append(np.where(seen, np.hypot(*(at - place).T), np.inf))
        total = reach[0][:, None] + along + reach[1][None, :]
        i, j = np.unravel_index(int(np.argmin(total)), total.shape)
        if not total[i, j] <= self._longest * float(np.hypot(*(end - start))):
            return ()
        row, found = int(j), [int(j)]
        while row != i:
            row = int(before[i, row])
            found.append(row)
        return tuple((float(at[row, 0]), float(at[row, 1])) for row in reversed(found))


def _chords(loop: ArcPath, stray: float) -> Floats:
    """Points of a loop whose chords stray from it by little."""
    half = np.abs(2 * np.arctan(loop.bulge))
    run = lengths(loop)
    radius = np.divide(run, 2 * half, out=np.full(len(run), np.inf), where=half > 0)
    step = np.arccos(np.clip(1 - stray / radius, -1, 1))
    count = np.maximum(np.ceil(np.divide(half, step, out=np.ones(len(run)), where=step > 0)), 1).astype(
        np.int64
    )
    move = np.repeat(np.arange(len(run)), count)
    share = (np.arange(len(move)) - (np.cumsum(count) - count)[move]) / count[move]
    return points_at(loop, move, share)


def _rings(piece: Any) -> list[Floats]:
    """Rings of a polygon with its inside on their left."""
    import shapely

    if piece.is_empty:
        return []
    whole = shapely.geometry.polygon.orient(piece)
    return [np.asarray(ring.coords)[:-1] for ring in (whole.exterior, *whole.interiors)]


def _inward(ring: Floats) -> Floats:
    """Corners at which a ring turns right: those that point into the inside on its left."""
    a, b = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    return ring[a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0] < 0]
