"""What a layer lays beyond the one below: regions that hang over, by face, open spans, and what begins in the air."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs import offset, subtract
from beadwright.curves import (
    ArcPath,
    ArcRegion,
    bounding_box,
    chords,
    inside,
    lengths,
    middle_of,
    region_area,
    signed_area,
)

HALVINGS = 40
"""Halvings of a reach at most."""
REACH = 0.01
"""How closely the greatest reach is found, mm."""
BESIDE = 0.001
"""How far inside a piece a point of it is taken, mm."""
CUT = -2
"""Stands for a face where the layer below bounds a piece."""
FACING = 0.75 * math.pi
"""A side of the layer below that turns by so much round a piece holds it from two sides that face each other, rad."""
SPECK = 0.01
"""A piece of less area is nothing that could sag, mm2."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hanging:
    """A piece of a layer that hangs over.

    Attributes
    ----------
    area : float
        mm2.
    at : (float, float)
        A place of it, mm.
    face : int
        Face that bounds most of it; -1 where only the layer below does: a lid over an opening.
    air : bool
        Whether it belongs to a part of the layer that nothing below touches.
    span : float or None
        How far it reaches from support to support, mm: twice the greatest distance from the layer below; None where
        that holds it from one side only.
    """

    area: float
    at: tuple[float, float]
    face: int
    air: bool
    span: float | None = None


def hanging(region: ArcRegion, below: ArcRegion, *, reach: float) -> tuple[Hanging, ...]:
    """The pieces of a layer's region farther than a reach from that of the layer below.

    Parameters
    ----------
    region, below : ArcRegion
        Of the layer and of the one below.
    reach : float
        How far a layer may stand out, mm: its height times the tangent of the greatest lean, and what both
        regions may be off.
    """
    if not region.loops or _same(region, below):
        return ()
    rest = beyond(region, below, reach)
    if not rest.loops:
        return ()
    pieces = [piece for piece in separate(rest) if region_area(piece) > SPECK]
    own = separate(region) if pieces else []
    lone = [part for part in own if not below.loops or _apart(part, below)]
    found = []
    for piece in pieces:
        point = _within(piece)
        air = any(bool(inside(part, point)[0]) for part in lone)
        at = middle_of(piece.loops[0])
        far = greatest_reach(piece, below, reach) if not air and _held(piece) else None
        span = None if far is None else 2 * far
        found.append(Hanging(area=region_area(piece), at=at, face=_face(piece), air=air, span=span))
    return tuple(found)


def beyond(region: ArcRegion, below: ArcRegion, reach: float) -> ArcRegion:
    """Points of a region farther than a reach from another."""
    if not below.loops:
        return region
    grown = offset(below, distance=-reach).region
    # what is cut off by the layer below belongs to no face
    nameless = tuple(replace(loop, face=np.full_like(loop.face, CUT)) for loop in grown.loops)
    return subtract(region, replace(grown, loops=nameless)).region


def greatest_reach(region: ArcRegion, below: ArcRegion, reach: float) -> float | None:
    """How far the farthest point of a region lies from the one below, mm, at least `reach`; None: nothing is below.

    Found by halving, to within `REACH`.
    """
    if not below.loops:
        return None
    boxes = [bounding_box(loop) for loop in (*region.loops, *below.loops)]
    low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
    a, b = reach, float(np.hypot(*(high - low)))
    for _ in range(HALVINGS):
        if b - a <= REACH:
            break
        # reaches are short as a rule: first double, then halve
        middle = min(2 * a, 0.5 * (a + b))
        if beyond(region, below, middle).loops:
            a = middle
        else:
            b = middle
    return b


def separate(region: ArcRegion) -> list[ArcRegion]:
    """The parts of a region that do not hang together: an outer loop each, first, and its holes."""
    outer = [loop for loop in region.loops if signed_area(loop) > 0]
    holes: list[list[ArcPath]] = [[] for _ in outer]
    sizes = [signed_area(loop) for loop in outer]
    for hole in region.loops:
        if signed_area(hole) > 0:
            continue
        around = [
            i
            for i, loop in enumerate(outer)
            if inside(ArcRegion(loops=(loop,), supports=region.supports), hole.points[:1])[0]
        ]
        if around:
            holes[min(around, key=sizes.__getitem__)].append(hole)
    return [
        ArcRegion(loops=(loop, *own), supports=region.supports)
        for loop, own in zip(outer, holes, strict=True)
    ]


def _held(piece: ArcRegion) -> bool:
    """Whether the layer below holds a piece from sides that face each other: all round, or across, or by a bay."""
    ways: list[npt.NDArray[np.float64]] = []
    islands = 0
    for place, loop in enumerate(piece.loops):
        cut = loop.face == CUT
        if cut.all():
            if place == 0:
                return True
            islands += 1
            continue
        first = np.flatnonzero(cut & ~np.roll(cut, 1))
        for row in first.tolist():
            count = int(np.argmin(np.roll(cut, -row)))
            rows = (row + np.arange(count)) % len(cut)
            if _turned(loop, rows) >= FACING:
                return True
            ways.append(chords(loop)[rows].sum(axis=0))
    across = any(float(a @ b) < 0 for i, a in enumerate(ways) for b in ways[:i])
    return across or (islands > 0 and islands + len(ways) > 1)


def _turned(loop: ArcPath, rows: npt.NDArray[np.int64]) -> float:
    """By how much a loop turns left along some moves that follow one another, rad."""
    chord, half = chords(loop)[rows], 2 * np.arctan(loop.bulge[rows])
    way = np.arctan2(chord[:, 1], chord[:, 0])
    joints = (way[1:] - half[1:]) - (way[:-1] + half[:-1])
    return float((2 * half).sum() + ((joints + np.pi) % (2 * np.pi) - np.pi).sum())


def _same(region: ArcRegion, below: ArcRegion) -> bool:
    """Whether two regions are the same, move by move, as between upright walls."""
    return len(region.loops) == len(below.loops) and all(
        a.points.shape == b.points.shape
        and bool(np.allclose(a.points, b.points, rtol=0.0, atol=1e-6))
        and bool(np.allclose(a.bulge, b.bulge, rtol=0.0, atol=1e-9))
        for a, b in zip(region.loops, below.loops, strict=True)
    )


def _apart(part: ArcRegion, below: ArcRegion) -> bool:
    """Whether a part of a region has no point in common with the one below."""
    low, high = bounding_box(part.loops[0])
    near: list[ArcPath] = []
    for loop in below.loops:
        a, b = bounding_box(loop)
        if np.all(a <= high) and np.all(b >= low):
            near.append(loop)
    if not near:
        return True
    left = subtract(part, below).region
    return abs(region_area(left) - region_area(part)) <= SPECK


def _within(piece: ArcRegion) -> npt.NDArray[np.float64]:
    """A point just inside a piece, beside the middle of its longest move: (1, 2)."""
    loop = piece.loops[0]
    i = int(np.argmax(lengths(loop)))
    chord, b = chords(loop)[i], float(loop.bulge[i])
    left = np.array([-chord[1], chord[0]])
    middle = loop.points[i] + chord / 2 - left * (b / 2)
    return np.asarray(middle + left / np.hypot(*chord) * BESIDE)[None]


def _face(piece: ArcRegion) -> int:
    """The face along which most of a piece's outline runs that is the layer's own."""
    own: dict[int, float] = {}
    for loop in piece.loops:
        for face, size in zip(loop.face.tolist(), lengths(loop).tolist(), strict=True):
            if face >= 0:
                own[face] = own.get(face, 0.0) + size
    return max(own, key=lambda f: (own[f], -f)) if own else -1
