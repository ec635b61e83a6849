"""Where an offset may lose part of the true one: necks and dead ends about twice the distance wide."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from beadwright.arcs._boolean import subtract
from beadwright.arcs._offset import Offsets, offset
from beadwright.arcs._region import Result
from beadwright.curves import (
    ArcPath,
    ArcRegion,
    bounding_box,
    chords,
    inside,
    lengths,
    middle_of,
    signed_area,
)
from beadwright.errors import GeometryError

# Parts of the offset nearer than this to what is printed are not lost, mm.
DELTA = 0.1
# Places are named along a lost part at least this often, mm.
EVERY = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """One place where the true offset curve may go on and the printed one does not.

    Attributes
    ----------
    kind : str
        ``neck``, or ``sharp``: at a corner, shorter than `DELTA`, which is no loss.
    at : (float, float)
        Place, mm.
    length, width : float
        Greatest extent of the place, and width of the material there, mm.
    along : tuple of (float, float)
        Places along it, each standing for `EVERY` mm at most, mm.
    """

    kind: str
    at: tuple[float, float]
    length: float
    width: float
    along: tuple[tuple[float, float], ...] = ()


def numbered(region: ArcRegion) -> Offsets:
    """Offsets of a region whose moves bear their own numbers as faces: what `lost` asks several distances of."""
    return Offsets(_marked(region))


def lost(
    region: ArcRegion, *, distance: float, error: float, marked: Offsets | None = None
) -> tuple[Lost, ...]:
    """Places that an erosion by a distance may lose because the region is only known within an error.

    D(distance - error) less D(distance) grown by `DELTA`, D(t) being the points at least t inside. Where
    D(distance - error) and D(distance + error) run along the same faces and moves in the same order nothing
    is lost, and no more is computed.

    Parameters
    ----------
    region : ArcRegion
        What is offset.
    distance, error : float
        Into the material, above 0; how far the region may be from the true one, above 0 and below the
        distance; mm.
    marked : Offsets, optional
        `numbered` of the region, where several distances are asked for.

    Returns
    -------
    tuple of Lost
        In the order of the loops; empty in the usual case.

    Raises
    ------
    GeometryError
        If the error is not between 0 and the distance, or an offset cannot be made.
    """
    if not 0 < error < distance:
        msg = f"an error must lie between 0 and the distance {distance} mm, not at {error}"
        raise GeometryError(msg)
    marked = numbered(region) if marked is None else marked
    wide = marked(distance - error)
    if not wide.region.loops:
        return ()
    narrow = marked(distance + error)
    if _order(wide) == _order(narrow):
        return ()
    kept = offset(region, distance=distance)
    grown = offset(kept.region, distance=-DELTA)
    rest = subtract(wide.region, grown.region).region
    places = []
    for loop in rest.loops:
        if signed_area(loop) <= 0:
            continue
        low, high = bounding_box(loop)
        length = float(np.hypot(*(high - low)))
        x, y = middle_of(loop)
        kind = "neck" if length >= DELTA else "sharp"
        width = 2 * (distance - error) + 2 * abs(signed_area(loop)) / max(length, 1e-300)
        width = min(width, 2 * distance)
        places.append(Lost(kind=kind, at=(x, y), length=length, width=width, along=_along(loop, rest)))
    return tuple(places)


def _along(loop: ArcPath, rest: ArcRegion) -> tuple[tuple[float, float], ...]:
    """Places along a lost part from tip to tip: its boundary runs there and back, beside it by the error.

    Round a ring, whose hole is another loop, the outer boundary runs once.
    """
    run = lengths(loop)
    points = loop.points
    is_ring = any(
        signed_area(other) < 0
        and bool(inside(ArcRegion(loops=(loop,), supports=rest.supports), other.points[:1])[0])
        for other in rest.loops
    )
    tip = int(np.argmax(np.hypot(*(points - points.mean(axis=0)).T)))
    order = np.roll(np.arange(len(points)), -tip)
    ends = np.concatenate(([0.0], np.cumsum(run[order])))
    way = float(ends[-1]) if is_ring else 0.5 * float(ends[-1])
    count = max(1, int(np.ceil(way / EVERY)))
    at = way * (np.arange(count) + 0.5) / count
    place = np.clip(np.searchsorted(ends, at, side="right") - 1, 0, len(order) - 1)
    move = order[place]
    share = (at - ends[place]) / np.maximum(run[move], 1e-300)
    chord = chords(loop)[move] @ np.array([1.0, 1j])
    half = 2.0 * np.arctan(loop.bulge[move])
    bent = np.abs(half) > 1e-9
    safe = np.where(bent, half, 1.0)
    part = np.where(bent, np.sin(share * safe) / np.sin(safe) * np.exp(1j * (share - 1.0) * safe), share)
    z = points[move] @ np.array([1.0, 1j]) + chord * part
    return tuple((float(x), float(y)) for x, y in zip(z.real, z.imag, strict=True))


def _marked(region: ArcRegion) -> ArcRegion:
    """The same region, each move with its own number as face."""
    loops, first = [], 0
    for loop in region.loops:
        loops.append(replace(loop, face=np.arange(first, first + len(loop.bulge), dtype=np.int32)))
        first += len(loop.bulge)
    return ArcRegion(loops=tuple(loops), supports=region.supports)


def _order(result: Result) -> list[tuple[int, ...]]:
    """Cyclic lists of the moves that each loop stems from, begun at the least, sorted."""
    lists = []
    for loop in result.region.loops:
        face = [int(f) for f in loop.face]
        face = [f for i, f in enumerate(face) if f != face[i - 1]] or face[:1]
        turns = [i for i, f in enumerate(face) if f == min(face)]
        lists.append(min(tuple(face[i:] + face[:i]) for i in turns))
    return sorted(lists)
