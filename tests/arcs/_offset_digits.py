"""The area of an offset in 50 digits: its arrangement as found, on the exact curves that the definition names.

Each move of a result lies on a line or circle moved by the distance, or on a circle about a corner. Which one is told
by doubles; where it begins and ends, and what it encloses, by 50 digits from the source alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import mpmath as mp
import numpy as np

from beadwright.curves import ArcPath, ArcRegion

# A move that lies farther from every curve that the definition names is on none of them, mm.
ON = 1e-6
# Curves that cross at a smaller angle, rad, are switched where the result switches: between them lies no area.
SMOOTH = 1e-3
# Radii of which doubles keep no nanometre, mm.
FAR = 1e6


@dataclass(frozen=True, slots=True)
class Carrier:
    """A line through a point along a unit vector (r is 0), or a circle."""

    centre: Any
    along: Any
    r: Any


def _ends(loop: ArcPath) -> Iterator[tuple[complex, complex, float]]:
    points = loop.points[:, 0] + 1j * loop.points[:, 1]
    yield from zip(points, np.roll(points, -1), loop.bulge, strict=True)


def carriers(region: ArcRegion, distance: float) -> list[Carrier]:
    """All curves that an offset's boundary can lie on; the inside is to the left of every loop."""
    d, found = mp.mpf(distance), []
    for loop in region.loops:
        for p, q, bulge in _ends(loop):
            p, q, b = mp.mpc(p), mp.mpc(q), mp.mpf(float(bulge))
            found.append(Carrier(p, mp.mpc(1), abs(d)))
            if not b:
                along = (q - p) / abs(q - p)
                found.append(Carrier(p + 1j * along * d, along, mp.mpf(0)))
                continue
            centre = (p + q) / 2 + 1j * (q - p) * (1 - b**2) / (4 * b)
            r = abs(q - p) * (1 + b**2) / (4 * abs(b))
            # to the left is towards the centre of an arc that turns left
            found.append(Carrier(centre, mp.mpc(1), abs(r - d * mp.sign(b))))
    return found


def _away(every: list[Carrier], table: np.ndarray, places: list[complex]) -> np.ndarray:
    """Greatest distance of some places from each carrier; in doubles, but about a centre that is far away."""
    centre, along, r = table
    off = np.array(places)[:, None] - centre
    away = np.where(r.real == 0, np.abs((off / along).imag), np.abs(np.abs(off) - r.real)).max(axis=0)
    for row in np.flatnonzero(r.real > FAR):
        own = every[row]
        away[row] = max(float(abs(abs(mp.mpc(z) - own.centre) - own.r)) for z in places)
    return np.asarray(away)


def _on(carrier: Carrier, z: complex) -> Any:
    """The point of a carrier next to a place."""
    z = mp.mpc(z)
    off = z - carrier.centre
    if not carrier.r:
        return carrier.centre + carrier.along * (off / carrier.along).real
    return carrier.centre + carrier.r * off / abs(off)


def _direction(carrier: Carrier, z: Any) -> Any:
    if not carrier.r:
        return carrier.along
    return 1j * (z - carrier.centre) / abs(z - carrier.centre)


def _crossings(one: Carrier, other: Carrier) -> list[Any]:
    if one.r and not other.r:
        return _crossings(other, one)
    if not one.r and not other.r:
        cross = (mp.conj(one.along) * other.along).imag
        return [one.centre + one.along * (mp.conj(other.centre - one.centre) * other.along).imag / cross]
    if not one.r:
        foot = one.centre + one.along * ((other.centre - one.centre) / one.along).real
        rest = other.r**2 - abs(foot - other.centre) ** 2
        return [foot + k * one.along * mp.sqrt(rest) for k in (1, -1)] if rest > 0 else []
    d = abs(other.centre - one.centre)
    along = (d * d + one.r**2 - other.r**2) / (2 * d)
    rest = one.r**2 - along**2
    way = (other.centre - one.centre) / d
    return [one.centre + way * (along + 1j * k * mp.sqrt(rest)) for k in (1, -1)] if rest > 0 else []


def _node(before: Carrier, after: Carrier, z: complex) -> tuple[Any, Any]:
    """Where one curve ends and the next begins."""
    a, b = _on(before, z), _on(after, z)
    if before is after:
        return a, a
    u, v = _direction(before, a), _direction(after, b)
    if abs((mp.conj(u) * v).imag) < SMOOTH:
        return a, b
    met = min(_crossings(before, after), key=lambda place: abs(place - mp.mpc(z)))
    return met, met


def exact_area(source: ArcRegion, distance: float, result: ArcRegion) -> Any:
    """Area of an offset whose moves are those of a result, in the digits that mpmath works with."""
    every = carriers(source, distance)
    table = np.array([[complex(c.centre), complex(c.along), complex(c.r)] for c in every]).T
    area = mp.mpf(0)
    for loop in result.loops:
        moves = list(_ends(loop))
        own = []
        for p, q, bulge in moves:
            chord = q - p
            middle = (p + q) / 2 - 1j * chord * bulge / 2
            off = _away(every, table, [p, q, middle])
            best = int(off.argmin())
            assert off[best] < ON, (p, q, off[best])
            own.append(every[best])
        nodes = [_node(own[k - 1], own[k], moves[k][0]) for k in range(len(moves))]
        for k, (carrier, (_, _, bulge)) in enumerate(zip(own, moves, strict=True)):
            (end, begin), start = nodes[(k + 1) % len(moves)], nodes[k][1]
            area += (mp.conj(start) * end).imag / 2
            if carrier.r:
                turn = mp.arg((end - carrier.centre) / (start - carrier.centre))
                # of two ways round the circle that which the move takes
                guess = 4 * mp.atan(mp.mpf(float(bulge)))
                turn += 2 * mp.pi * mp.nint((guess - turn) / (2 * mp.pi))
                area += carrier.r**2 * (turn - mp.sin(turn)) / 2
            area += (mp.conj(end) * begin).imag / 2
    return area
