"""Traverses that stay above their layer, or keep off the open top faces: the shortest way between two places.

What runs out of the nozzle on the way then falls where it is laid over, not on an open top face or beside the
part; where ways lead round open top faces it may fall beside the part too. The region is taken as a polygon moved
inwards; a shortest way inside a polygon bends at its corners that point inwards only (T. Lozano-Pérez, M. A.
Wesley, Communications of the ACM 22 (1979) 560-570), so the way is the shortest of a graph of those that see each
other.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ArcRegion, lengths, points_at

Floats = npt.NDArray[np.float64]
Place = tuple[float, float]

# In bead widths: how far ways keep from the boundary, and how far their corners do; chords stray from the
# boundary, and corners from their polygon, by less than the difference.
CLEAR, CORNERS, STRAY = 0.125, 0.25, 0.03
# In bead widths: how far ways may go round beside what is to be kept off, and the width of what counts as open top.
BESIDE, OPEN = 10.0, 1.0
# Of a polygon with more corners that point inwards no graph is made: it would grow too large.
MOST = 250


class Ways:
    """Ways inside the region of one layer, or round the open top faces; what is found is kept, as it is asked again."""

    def __init__(self, region: ArcRegion, *, width: float, longest: float, off: Any = None) -> None:
        """Ways at most `longest` times as long as straight ones, for beads of a width, mm; `off` polygons, if given."""
        self._region, self._width, self._longest, self._off = region, width, longest, off
        self._known: dict[tuple[Place, Place], tuple[Place, ...]] = {}
        self._drawn: dict[Place, Place] = {}

    def __call__(self, start: Place, end: Place) -> tuple[Place, ...]:
        """Places at which the way from one place to another bends.

        None where it is straight: also where no way inside is short enough.
        """
        key = start, end
        if key not in self._known:
            first, last = self._held(start), self._held(end)
            found: tuple[Place, ...] = ()
            if not self.clear(start, end) and (bends := self._found(np.array(first), np.array(last))):
                # From a bead's end on the boundary itself the way leads inside first.
                found = (*([first] if first != start else []), *bends, *([last] if last != end else []))
            self._known[key] = found
        return self._known[key]

    def clear(self, start: Place, end: Place) -> bool:
        """Whether the straight way stays inside."""
        return bool(self._sees(np.array([[self._held(start), self._held(end)]]))[0])

    def _held(self, place: Place) -> Place:
        """A place, or that inside which is nearest to it where it lies on the boundary, as ends of walls do."""
        if place not in self._drawn:
            self._drawn[place] = self._drawn_in(place)
        return self._drawn[place]

    def _drawn_in(self, place: Place) -> Place:
        import shapely

        point = shapely.Point(place)
        if self._inside.is_empty or self._inside.covers(point):
            return place
        near = shapely.shortest_line(self._inside, point)
        if near.length > 2 * CLEAR * self._width:
            return place
        x, y = near.coords[0]
        # A hair farther in, so that rounding does not put it outside again.
        dx, dy = x - place[0], y - place[1]
        more = 1.0 + STRAY * self._width / max(near.length, STRAY * self._width)
        return place[0] + more * dx, place[1] + more * dy

    def _sees(self, ways: Floats) -> npt.NDArray[np.bool_]:
        """Which straight ways (n, 2, 2) stay inside."""
        import shapely

        return np.asarray(shapely.covers(self._inside, shapely.linestrings(ways)))

    @cached_property
    def _part(self) -> Any:
        """The region as polygons; or all but what is to be kept off."""
        import shapely

        if self._off is None:
            return _polygons(self._region, self._width)
        room = BESIDE * self._width
        x0, y0, x1, y1 = shapely.bounds(shapely.union(self._off, _polygons(self._region, self._width)))
        return shapely.box(x0 - room, y0 - room, x1 + room, y1 + room).difference(self._off)

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


class Below:
    """What the layers so far cover, seen from above: where a layer leaves it open are top faces."""

    def __init__(self, width: float) -> None:
        """For beads of a width, mm."""
        import shapely

        self._width, self._shadow = width, shapely.Polygon()

    def add(self, region: ArcRegion) -> Any:
        """Polygons of the open top faces beside a layer's region; that counts as below from now on.

        Strips narrower than a bead, as the steps of a slope are, are none by themselves; together they are.
        """
        import shapely

        own = _polygons(region, self._width)
        half = OPEN * self._width / 2
        every = self._shadow.difference(own)
        # Mitred, so that corners come back as they were.
        open_ = every.buffer(-half, quad_segs=4).buffer(half, join_style="mitre").intersection(every)
        self._shadow = shapely.union(self._shadow, own).simplify(STRAY * self._width)
        return open_


def _polygons(region: ArcRegion, width: float) -> Any:
    """A region as polygons whose chords stray by little."""
    import shapely

    rings = [shapely.linearrings(_chords(loop, STRAY * width)) for loop in region.loops]
    return shapely.build_area(shapely.multilinestrings(rings)) if rings else shapely.Polygon()


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
