"""Offsets of regions and of open paths."""

from __future__ import annotations

import functools
import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs._region import (
    EPS,
    TAU,
    Graph,
    Paths,
    Result,
    arranged,
    crooked,
    empty,
    refuse,
)
from beadwright.arcs._spans import Floats, Ints, Spans, region_of, spans_of
from beadwright.curves import ArcPath, ArcRegion
from beadwright.errors import GeometryError
from beadwright.numeric import Bound

# Attempts in order: contact distance and how far the distance is moved, mm.
_LADDER = ((EPS, 0.0), (10 * EPS, 0.0), (EPS / 10, 0.0), (EPS, 1e-9), (EPS, -1e-9), (EPS, 3e-9), (EPS, -3e-9))
_WHY = "audited: distance of every kept place from the source, and every dropped place covered"


def offset(region: ArcRegion, *, distance: float) -> Result:
    """Points of a region at least a distance inside it, or of the plane at most a distance outside it.

    Parameters
    ----------
    region : ArcRegion
        Loops that cross or are wrongly nested are united first, and the result says so.
    distance : float
        mm: above 0 into the material, below 0 outwards with arcs round convex corners.

    Returns
    -------
    Result
        Every move keeps the face it stems from, an arc round a corner that of the move before the corner;
        supports are concentric with those of the region.

    Raises
    ------
    GeometryError
        If a number is not finite, or no attempt passed the audit; the region is saved for replay.

    Notes
    -----
    Winding numbers of the source and the boundaries of the swept strips: X. Chen, S. McMains, Polygon
    offsetting by computing winding numbers, ASME DETC2005-85513.

    Examples
    --------
    A square of 100 mm, 10 mm inside and 10 mm outside (Steiner's formula):

    >>> from beadwright.curves import signed_area
    >>> square = ArcPath(points=np.array([[0.0, 0], [100, 0], [100, 100], [0, 100]]), bulge=np.zeros(4),
    ...                  face=np.arange(4, dtype=np.int32), support=np.full(4, -1, np.int32))
    >>> region = ArcRegion(loops=(square,), supports=np.zeros((0, 4)))
    >>> round(signed_area(offset(region, distance=10.0).region.loops[0]), 6)
    6400.0
    >>> round(signed_area(offset(region, distance=-10.0).region.loops[0]), 6)
    14314.159265
    """
    return Offsets(region)(distance)


class Offsets:
    """Offsets of one region by several distances: what does not depend on the distance is done once.

    Parameters
    ----------
    region : ArcRegion
        See `offset`, for errors too.
    """

    def __init__(self, region: ArcRegion) -> None:
        self._region = region
        self._source = spans_of(region.loops)
        self._made: dict[float, Result] = {}

    def __call__(self, distance: float) -> Result:
        """The offset by a distance, as of `offset`."""
        if not math.isfinite(distance):
            msg = f"an offset distance must be finite, not {distance}"
            raise GeometryError(msg)
        if distance not in self._made:
            self._made[distance] = self._offset(distance)
        return self._made[distance]

    def _offset(self, distance: float) -> Result:
        from beadwright.arcs._boolean import unite

        source = self._source
        if distance == 0.0:
            return unite(self._region)
        if not len(source.rows):
            return Result(region=empty(), bound=Bound(0.0, "region", "nothing to offset"))
        if self._inner is not None:
            done, clean = self._inner(distance), self(0.0)
            total = done.bound.mm + clean.bound.mm
            return replace(done, normalised=True, inverted=clean.inverted, bound=Bound(total, "region", _WHY))
        for retries, (eps, moved) in enumerate(_LADDER):
            result, found = _attempt(self._region, source, distance + moved, eps)
            if result is not None:
                mm = result.bound.mm + abs(moved)
                return replace(result, retries=retries, bound=Bound(mm, "region", _WHY))
        from beadwright.arcs._region_polygon import offset_polygons

        result = offset_polygons(self._region, distance)
        if result is None:
            raise refuse(f"offset by {distance} mm", source, found, distance=distance)
        return replace(result, retries=len(_LADDER))

    @functools.cached_property
    def _inner(self) -> Offsets | None:
        """Offsets of the united region, where loops cross or are wrongly nested."""
        return Offsets(self(0.0).region) if crooked(self._source) else None


def _attempt(
    region: ArcRegion, source: Spans, distance: float, eps: float
) -> tuple[Result | None, npt.NDArray[np.int64]]:
    from beadwright.arcs._kernels.region_audit import LOST, audit
    from beadwright.arcs._kernels.region_link import UNION, link, moves
    from beadwright.arcs._kernels.region_raw import raw_curve

    raw, tag = raw_curve(source.rows, source.after, distance)
    counts = np.zeros((len(raw), 2), np.int64)
    counts[:, 0] = 1
    graph = arranged(raw, counts, eps)
    found = np.zeros(7, np.int64)
    if not graph.sound:
        return None, found
    q, who, heads, used = link(graph.e, graph.edge, graph.following, graph.wind, graph.sub, UNION)
    if not len(heads):
        return None, found
    tags = tag if graph.rounds == 1 else tag[graph.base]
    own = np.ascontiguousarray(tags[who >> 1, 0])
    tau = max(TAU, 10 * eps)
    found, _ = audit(
        source.rows, distance, tau, q, heads, own, graph.spans, tags, graph.sub, graph.of, used, graph.xy
    )
    if np.any(found[: LOST + 1]):
        return None, found
    join = tags[who >> 1, 1]
    move = source.move[own]
    rows, first, begin = moves(q, heads, 4 * move + 2 * join + (who & 1))
    supports, support = _supports(region, source, own[first], join[first] == 1, distance)
    result = Result(
        region=region_of(rows, begin, source.face[move[first]], support, supports, source.origin),
        bound=Bound(tau, "region"),
        grey=int(found[LOST + 1]),
        rounds=graph.rounds,
    )
    return result, found


def _supports(
    region: ArcRegion, source: Spans, own: Ints, join: npt.NDArray[np.bool_], distance: float
) -> tuple[Floats, npt.NDArray[np.int32]]:
    """Table of the lines and circles that moves lie on after an offset, and the row of each move."""
    row = source.support[source.move[own]].astype(np.int64)
    k, tx, ty = (source.rows[own, c] for c in (6, 4, 5))
    support = np.full(len(own), -1, np.int32)
    has = row >= 0
    any_of = has | join
    if not any_of.any():
        return np.zeros((0, 4)), support
    table = np.zeros((len(own), 4))
    key = np.zeros(len(own), np.int64)
    if has.any():
        old = region.supports[row[has]]
        line = old[:, 0] == 0
        # Left of the move is +1 along the row's normal, or towards a circle's centre for a left turn.
        side = np.where(line, np.sign(old[:, 2] * tx[has] - old[:, 1] * ty[has]), -np.sign(k[has]))
        key[has] = 2 * row[has] + (side > 0)
        table[has, :3] = old[:, :3]
        moved = old[:, 3] + side * distance
        table[has, 3] = np.where(line, moved, np.abs(moved))
    corner = source.rows[own[join], 2:4] + source.origin
    table[join] = np.column_stack([np.ones(len(corner)), corner, np.full(len(corner), abs(distance))])
    key[join] = -1 - own[join]
    _, first, index = np.unique(key[any_of], return_index=True, return_inverse=True)
    supports = table[any_of][first]
    support[any_of] = index
    return supports, support


def offset_path(path: ArcPath, *, distance: float) -> Paths:
    """Curve beside a path, at a distance to its left, trimmed where it crosses itself; both ends kept.

    Parameters
    ----------
    path : ArcPath
        Open or closed.
    distance : float
        To the left, mm; below 0 to the right.

    Returns
    -------
    Paths
        Those parts of the curve that are nowhere nearer to the path than the distance. An end of an open path
        moves straight across. Empty where nothing is left.

    Raises
    ------
    GeometryError
        If a number is not finite.
    """
    from beadwright.arcs._kernels.region_audit import reaches
    from beadwright.arcs._kernels.region_link import moves
    from beadwright.arcs._kernels.region_raw import HELPER, raw_curve

    if not math.isfinite(distance):
        msg = f"an offset distance must be finite, not {distance}"
        raise GeometryError(msg)
    if distance == 0.0:
        return Paths(paths=(path,), bound=Bound(0.0, "region", "the path itself"))
    source = spans_of((path,))
    if not len(source.rows):
        return Paths(paths=(), bound=Bound(0.0, "region", "a path of no length"))
    raw, tag = raw_curve(source.rows, source.after, distance)
    counts = np.zeros((len(raw), 2), np.int64)
    counts[:, 0] = 1
    graph = arranged(raw, counts, EPS)
    tags = tag if graph.rounds == 1 else tag[graph.base]
    sub = graph.sub[(tags[graph.sub[:, 2], 1] != HELPER) & (graph.of >= 0)]
    _, single = np.unique(graph.of[(tags[graph.sub[:, 2], 1] != HELPER) & (graph.of >= 0)], return_index=True)
    sub = sub[np.sort(single)]
    rows = _between(graph, sub)
    h = rows[:, 7] / 2
    middle = (rows[:, :2] + rows[:, 2:4]) / 2
    chord = rows[:, 2:4] - rows[:, :2]
    middle += 0.5 * np.tan(h / 2)[:, None] * chord[:, ::-1] * (1.0, -1.0)
    kept = reaches(source.rows, abs(distance), TAU, *np.ascontiguousarray(middle.T)) == 1
    sub, rows = sub[kept], rows[kept]
    own = tags[sub[:, 2], 0]
    key = 2 * source.move[own] + tags[sub[:, 2], 1]
    paths = []
    for chain, closed in _chains(sub):
        at = np.array(chain)
        table, first, _ = moves(
            np.ascontiguousarray(rows[at]), np.array([0, len(at)]), key[at] if closed else _ending(key[at])
        )
        points = table[:, :2] if closed else np.vstack([table[:, :2], rows[at[-1], 2:4]])
        paths.append(
            ArcPath(
                points=points + source.origin,
                bulge=np.ascontiguousarray(table[:, 2]),
                face=source.face[source.move[own[at[first]]]],
                support=np.full(len(first), -1, np.int32),
                closed=closed,
            )
        )
    return Paths(paths=tuple(paths), bound=Bound(TAU, "region", "kept where not nearer than that"))


def _ending(key: Ints) -> Ints:
    """Keys of an open chain whose first and last never agree, so that it is not turned round."""
    key = key.copy()
    same = np.flatnonzero(key != key[0])
    key[: same[0] if len(same) else len(key)] = -1
    return key


def _between(graph: Graph, sub: Ints) -> Floats:
    """Spans of sub-edges over their snapped nodes."""
    a, b = graph.xy[sub[:, 0]], graph.xy[sub[:, 1]]
    k = graph.spans[sub[:, 2], 6]
    chord = b - a
    length = np.hypot(chord[:, 0], chord[:, 1])
    n = np.clip(length * k / 2, -1, 1)
    c = np.sqrt((1 - n) * (1 + n))
    u, v = chord.T / length
    return np.column_stack(
        [a, b, u * c + v * n, v * c - u * n, k, 2 * np.arcsin(n), u * c - v * n, v * c + u * n]
    )


def _chains(sub: Ints) -> list[tuple[list[int], bool]]:
    """Sub-edges gathered into chains by their nodes, open ones from their starts, then closed ones."""
    leaving: dict[int, list[int]] = {}
    for row in range(len(sub) - 1, -1, -1):
        leaving.setdefault(int(sub[row, 0]), []).append(row)
    arriving = np.bincount(sub[:, 1], minlength=int(sub[:, :2].max(initial=0)) + 1)
    starts = [row for row in range(len(sub)) if arriving[sub[row, 0]] == 0]
    done: set[int] = set()
    chains = []
    for row in [*starts, *range(len(sub))]:
        if row in done:
            continue
        leaving[int(sub[row, 0])].remove(row)
        chain = [row]
        done.add(row)
        while leaving.get(int(sub[chain[-1], 1])):
            chain.append(leaving[int(sub[chain[-1], 1])].pop())
            done.add(chain[-1])
        chains.append((chain, bool(sub[chain[-1], 1] == sub[chain[0], 0])))
    return chains
