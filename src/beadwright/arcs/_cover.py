"""Area that strips of given widths cover, once and more than once, exactly: from one arrangement of all.

A strip is what a segment across a path sweeps, with a sector of a disc at the outside of each corner and none
at its ends. The boundaries of all strips wind round a point as often as strips cover it, so that areas are
sums over the edges of their arrangement (Green), and no boundary is linked. Where an arc's radius is smaller
than half the width the strip ends at the centre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.arcs._boolean import combined, green_areas
from beadwright.arcs._region import EPS, Graph, Result, arranged, empty, reversed_rows
from beadwright.arcs._spans import Floats, Spans, choose_origin, spans_of
from beadwright.curves import ArcPath, ArcRegion, region_area
from beadwright.numeric import Bound

Flags = npt.NDArray[np.bool_]

# Attempts in order: contact distance, mm.
_LADDER = (EPS, 10 * EPS, EPS / 10)
# Weight of one region in the second channel of winding numbers, so that several share it.
_WEIGHT = 1 << 16
# Nodes snap within 2.5 contact distances and edges merge within 10: both move an area by that times a length.
_REACH = 12.5
# Sums of some thousand areas lose far less than this share.
ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """Areas, mm2.

    Attributes
    ----------
    union : float
        Covered by at least one strip.
    twice : float
        Covered by more than one.
    inside : tuple of float
        Of each region that was given: covered by at least one strip.
    error : float
        Greatest error of each area by snapping, mm2.
    """

    union: float
    twice: float
    inside: tuple[float, ...]
    error: float


def cover(strips: Sequence[tuple[ArcPath, float]], regions: Sequence[ArcRegion] = ()) -> Cover | None:
    """Measure what strips cover.

    Parameters
    ----------
    strips : sequence of (ArcPath, float)
        Middle line, open or closed, and width, mm, above 0.
    regions : sequence of ArcRegion
        Valid; at most three.

    Returns
    -------
    Cover or None
        None where no arrangement of the strips was sound, or areas contradict each other: then nothing is
        known.

    Raises
    ------
    GeometryError
        If a number is not finite.

    Examples
    --------
    Two strips 10 mm wide that cross at right angles share a square (w^2 / sin 90 degrees):

    >>> one = ArcPath(points=np.array([[-50.0, 0], [50, 0]]), bulge=np.zeros(1), face=np.zeros(1, np.int32),
    ...               support=np.zeros(1, np.int32), closed=False)
    >>> two = ArcPath(points=np.array([[0.0, -50], [0, 50]]), bulge=np.zeros(1), face=np.zeros(1, np.int32),
    ...               support=np.zeros(1, np.int32), closed=False)
    >>> found = cover([(one, 10.0), (two, 10.0)])
    >>> round(found.union, 9), round(found.twice, 9)
    (1900.0, 100.0)
    """
    loops = [loop for region in regions for loop in region.loops]
    paths = [path for path, _ in strips]
    if not paths:
        return Cover(union=0.0, twice=0.0, inside=(0.0,) * len(regions), error=0.0)
    origin = choose_origin(np.concatenate([path.points for path in (*paths, *loops)]))
    rows, counts = [], []
    for width in sorted({width for _, width in strips}):
        own = _strips(spans_of([path for path, w in strips if w == width], origin), width / 2)
        rows.append(own)
        counts.append(np.tile(np.array([[1, 0]], np.int64), (len(own), 1)))
    swept = float(sum(green_areas(own).sum() for own in rows))
    for place, region in enumerate(regions):
        own = spans_of(region.loops, origin).rows if region.loops else np.zeros((0, 10))
        rows.append(own)
        counts.append(np.tile(np.array([[0, _WEIGHT**place]], np.int64), (len(own), 1)))
    everything, weights = np.ascontiguousarray(np.concatenate(rows)), np.concatenate(counts)
    around = float(np.hypot(*(everything[:, 2:4] - everything[:, :2]).T).sum())
    for eps in _LADDER:
        graph = arranged(everything, weights, eps)
        if not graph.sound or (graph.wind[:, 0] < 0).any():
            continue
        error = 4 * _REACH * eps * around + ROUNDING * swept
        found = _measured(graph, len(regions), error)
        # What the strips cover, each for itself, and the regions, by Green on what was given.
        sums = zip(_sums(graph, len(regions)), [swept, *map(region_area, regions)], strict=True)
        if all(abs(a - b) <= error + ROUNDING * abs(b) for a, b in sums):
            return found
    return None


def swept(strips: Sequence[tuple[ArcPath, float]]) -> Result:
    """The region that strips cover; see `cover` for what a strip is and `unite` for errors.

    Parameters
    ----------
    strips : sequence of (ArcPath, float)
        Middle line, open or closed, and width, mm, above 0.
    """
    if not strips:
        return Result(region=empty(), bound=Bound(0.0, "region", "nothing to combine"))
    origin = choose_origin(np.concatenate([path.points for path, _ in strips]))
    rows = np.concatenate([_strips(spans_of([path], origin), width / 2) for path, width in strips])
    none = np.full(len(rows), -1, np.int32)
    number = np.arange(len(rows))
    source = Spans(
        rows=np.ascontiguousarray(rows),
        move=number,
        after=number,
        heads=np.array([0, len(rows)]),
        face=none,
        support=none,
        origin=origin,
    )
    counts = np.zeros((len(rows), 2), np.int64)
    counts[:, 0] = 1
    return combined("union of strips", source, counts, np.zeros((0, 4)), "union")


def _strips(source: Spans, half: float) -> Floats:
    """Closed boundaries of the strips about paths: once round each, the strip on the left."""
    from beadwright.arcs._kernels.region_raw import raw_curve

    s = source.rows
    if not len(s):
        return np.zeros((0, 10))
    right, _ = raw_curve(s, source.after, -half)
    left, _ = raw_curve(s, source.after, half)
    last = np.flatnonzero(source.after < 0)
    first = source.heads[:-1][np.searchsorted(source.heads, last, side="right") - 1]
    caps = [
        _lines(_beside(s[last, 2:4], s[last, 8:10], -half), _beside(s[last, 2:4], s[last, 8:10], half)),
        _lines(_beside(s[first, :2], s[first, 4:6], half), _beside(s[first, :2], s[first, 4:6], -half)),
    ]
    return np.concatenate([right, reversed_rows(left), *caps])


def _beside(at: Floats, way: Floats, distance: float) -> Floats:
    return np.column_stack([at[:, 0] - distance * way[:, 1], at[:, 1] + distance * way[:, 0]])


def _lines(a: Floats, b: Floats) -> Floats:
    """Straight spans between points."""
    chord = b - a
    unit = chord / np.hypot(chord[:, 0], chord[:, 1])[:, None]
    flat = np.zeros(len(a))
    return np.column_stack([a, b, unit, flat, flat, unit])


def _measured(graph: Graph, regions: int, error: float) -> Cover:
    share = green_areas(graph.e)
    left, right = graph.wind[::2], graph.wind[1::2]

    def area(on_left: Flags, on_right: Flags) -> float:
        return float((share * (on_left.astype(float) - on_right)).sum())

    def within(place: int) -> float:
        a, b = (((side[:, 1] // _WEIGHT**place) % _WEIGHT > 0) & (side[:, 0] > 0) for side in (left, right))
        return area(a, b)

    return Cover(
        union=area(left[:, 0] > 0, right[:, 0] > 0),
        twice=area(left[:, 0] > 1, right[:, 0] > 1),
        inside=tuple(within(place) for place in range(regions)),
        error=error,
    )


def _sums(graph: Graph, regions: int) -> list[float]:
    """Areas as often as they are covered: by strips, and by each region."""
    share = green_areas(graph.e)
    change = graph.wind[::2] - graph.wind[1::2]
    left, right = graph.wind[::2, 1], graph.wind[1::2, 1]
    own = [(left // _WEIGHT**p) % _WEIGHT - (right // _WEIGHT**p) % _WEIGHT for p in range(regions)]
    return [float((share * change[:, 0]).sum()), *(float((share * part).sum()) for part in own)]
