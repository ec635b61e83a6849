"""Union, intersection and difference of regions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.arcs._region import EPS, TAU, Graph, Result, arranged, crooked, empty, refuse
from beadwright.arcs._spans import Floats, Ints, Spans, region_of, spans_of
from beadwright.curves import ArcPath, ArcRegion
from beadwright.numeric import Bound

# Nodes snap within 2.5 contact distances, and edges that merge lie within 10 of each other.
_REACH = 12.5
_LADDER = (EPS, 10 * EPS, EPS / 10)
_WHY = "snapping of nodes and merging of edges; audited: crossings, nesting and areas"


def unite(what: ArcRegion | Iterable[ArcRegion | ArcPath]) -> Result:
    """Points about which all loops together wind more than 0 times.

    Parameters
    ----------
    what : ArcRegion, or iterable of ArcRegion and closed ArcPath
        Loops may cross, touch, coincide and lie in any order; this also makes a valid region of invalid
        input. Bare paths have no table of supports, so theirs become -1.

    Returns
    -------
    Result
        ``inverted`` names the pieces of winding number below 0, which are left out.

    Raises
    ------
    GeometryError
        If a number is not finite, or no attempt passed the audit; the loops are saved for replay.
    """
    loops, supports = _gathered((what,) if isinstance(what, ArcRegion) else what)
    source = spans_of(loops)
    counts = np.zeros((len(source.rows), 2), np.int64)
    counts[:, 0] = 1
    return combined("union", source, counts, supports, "union")


def intersect(first: ArcRegion, second: ArcRegion) -> Result:
    """Points inside both regions; see `unite` for errors."""
    return _binary("intersection", first, second, "common")


def subtract(first: ArcRegion, second: ArcRegion) -> Result:
    """Points inside the first region and not inside the second; see `unite` for errors."""
    return _binary("difference", first, second, "first")


def _gathered(parts: Iterable[ArcRegion | ArcPath]) -> tuple[list[ArcPath], Floats]:
    loops: list[ArcPath] = []
    tables = [np.zeros((0, 4))]
    rows = 0
    for part in parts:
        if isinstance(part, ArcPath):
            loops.append(replace(part, support=np.full(len(part.bulge), -1, np.int32)))
            continue
        for loop in part.loops:
            moved = np.where(loop.support >= 0, loop.support + rows, -1).astype(np.int32)
            loops.append(replace(loop, support=moved))
        tables.append(part.supports)
        rows += len(part.supports)
    return loops, np.concatenate(tables)


def _binary(name: str, first: ArcRegion, second: ArcRegion, rule: str) -> Result:
    loops, supports = _gathered((first, second))
    source = spans_of(loops)
    moves = sum(len(loop.bulge) for loop in first.loops)
    counts = np.zeros((len(source.rows), 2), np.int64)
    mine = source.move < moves
    counts[mine, 0] = 1
    counts[~mine, 1] = 1
    return combined(name, source, counts, supports, rule)


def combined(name: str, source: Spans, counts: Ints, supports: Floats, rule: str) -> Result:
    """The region that a rule ("union", "common", "first") chooses of spans with their counts by channel."""
    from beadwright.arcs._kernels.region_audit import shape
    from beadwright.arcs._kernels.region_link import COMMON, FIRST, UNION, link, moves

    if not len(source.rows):
        return Result(region=empty(), bound=Bound(0.0, "region", "nothing to combine"))
    code = {"union": UNION, "common": COMMON, "first": FIRST}[rule]
    found = np.zeros(7, np.int64)
    for retries, eps in enumerate(_LADDER):
        graph = arranged(source.rows, counts, eps)
        if not graph.sound:
            continue
        q, who, heads, _ = link(graph.e, graph.edge, graph.following, graph.wind, graph.sub, code)
        if not len(heads):
            continue
        found = shape(q, heads, 2 * max(TAU, 10 * eps))
        if np.any(found) or not _areas_agree(graph, source, counts, eps, rule):
            continue
        span = who >> 1 if graph.rounds == 1 else graph.base[who >> 1]
        move = source.move[span]
        rows, first, begin = moves(q, heads, 2 * move + (who & 1))
        move = move[first]
        return Result(
            region=region_of(rows, begin, source.face[move], source.support[move], supports, source.origin),
            bound=Bound(_REACH * eps, "region", _WHY),
            rounds=graph.rounds,
            retries=retries,
            inverted=_inverted(graph, source.origin) if rule == "union" else (),
        )
    raise refuse(name, source, found)


def _areas_agree(graph: Graph, source: Spans, counts: Ints, eps: float, rule: str) -> bool:
    """|A u B| + |A n B| = |A| + |B| and |A - B| + |A n B| = |A|, operands by Green on what was given.

    A union of one channel has no such identity.
    """
    from beadwright.arcs._kernels.region_link import COMMON, EITHER, FIRST, SECOND, link

    if rule == "union":
        return True
    area = {}
    for code in (COMMON, EITHER, FIRST, SECOND):
        q, _, heads, _ = link(graph.e, graph.edge, graph.following, graph.wind, graph.sub, code)
        if not len(heads):
            return False
        area[code] = float(green_areas(q).sum())
    chord = np.hypot(source.rows[:, 2] - source.rows[:, 0], source.rows[:, 3] - source.rows[:, 1])
    slack = 4 * _REACH * eps * float(chord.sum()) + 1e-12 * sum(abs(v) for v in area.values())
    parts = area[FIRST] + area[SECOND] + area[COMMON]
    if abs(parts - area[EITHER]) > slack:
        return False
    for channel, code in ((0, FIRST), (1, SECOND)):
        mine = counts[:, channel] == 1
        rows = source.rows[mine]
        loops = np.unique(
            np.searchsorted(source.heads, np.flatnonzero(mine), side="right"), return_index=True
        )
        part = Spans(
            rows=np.ascontiguousarray(rows),
            move=source.move[mine],
            after=source.after[mine],
            heads=np.append(loops[1], len(rows)).astype(np.int64),
            face=source.face,
            support=source.support,
            origin=source.origin,
        )
        # An operand that is no region's boundary has no area of its own to compare with.
        if len(rows) and not crooked(part):
            given = float(green_areas(rows).sum())
            if abs(area[code] + area[COMMON] - given) > slack:
                return False
    return True


def green_areas(rows: Floats) -> Floats:
    """Share of each span in the area by Green's formula about the first point: (n,), mm2."""
    if not len(rows):
        return np.zeros(0)
    a = rows[:, :2] - rows[0, :2]
    chord = rows[:, 2:4] - rows[:, :2]
    flat = 0.5 * (a[:, 0] * chord[:, 1] - a[:, 1] * chord[:, 0])
    h = rows[:, 7]
    small = np.abs(h) < 0.05
    safe = np.where(small, 1.0, h)
    # (h - sin h) / (8 sin^2(h/2)) of the chord squared; its series h/12 (1 + h^2/30 + h^4/840))
    closed = (safe - np.sin(safe)) / (8 * np.sin(safe / 2) ** 2)
    series = h / 12 * (1 + h * h * (1 / 30 + h * h / 1120))
    return np.asarray(flat + (chord**2).sum(axis=1) * np.where(small, series, closed))


def _inverted(graph: Graph, origin: npt.NDArray[np.float64]) -> tuple[tuple[float, float, float], ...]:
    from beadwright.arcs._kernels.region_link import NEGATIVE, link

    if not (graph.wind[:, 0] < 0).any():
        return ()
    q, _, heads, _ = link(graph.e, graph.edge, graph.following, graph.wind, graph.sub, NEGATIVE)
    pieces = []
    for a, b in pairwise(heads):
        x, y = q[a, :2] + origin
        pieces.append((float(green_areas(q[a:b]).sum()), float(x), float(y)))
    return tuple(pieces)
