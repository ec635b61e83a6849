"""Where a line or an arc crosses the lines of a grid."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from beadwright.bedmap._map import BedMap

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]

# An arc of a greater radius, mm, bends by less than 1e-6 mm within 100 m, and its centre has no digits left.
STRAIGHT = 1e10
# Newton's steps from a root that is good to 1e-6 of the way: two square that to the last digit.
STEPS = 2


def places(start: Complex, end: Complex, sweep: Floats, share: Floats) -> Complex:
    """Places at shares of the way along lines and arcs.

    On an arc the chord to the share t is turned back by (1 - t) s / 2, and sin(t s / 2) / sin(s / 2) as long.
    """
    half = np.sin(sweep / 2)
    bent = half != 0
    turned = np.exp(0.5j * (share - 1) * sweep) * np.sin(share * sweep / 2) / np.where(bent, half, 1.0)
    found: Complex = start + (end - start) * np.where(bent, turned, share)
    return found


def crossings(
    bed: BedMap, start: complex, end: complex, sweep: float, radius: float
) -> tuple[list[float], float]:
    """Shares of the way at which one move crosses the inner lines of a grid, ascending, between 0 and 1.

    Returns
    -------
    shares : list of float
    off : float
        Greatest distance of such a place from its line, mm.
    """
    step = end - start
    centre = 0j
    bent = sweep != 0 and radius < STRAIGHT
    if bent:
        centre = start + step / 2 + 0.5j * step / math.tan(sweep / 2)
    found: set[float] = set()
    off = 0.0
    for axis, lines in enumerate((bed.x[1:-1], bed.y[1:-1])):
        for line in lines.tolist():
            for share in _shares(start, step, sweep, centre if bent else None, radius, line, axis):
                share, left = _polished(start, step, sweep, share, line, axis)
                if 0 < share < 1:
                    found.add(share)
                    off = max(off, left)
    return sorted(found), off


def _part(value: complex, axis: int) -> float:
    return value.imag if axis else value.real


def _shares(
    start: complex,
    step: complex,
    sweep: float,
    centre: complex | None,
    radius: float,
    line: float,
    axis: int,
) -> list[float]:
    """First reckoning of where a move meets a line of the grid."""
    if centre is None:
        run = _part(step, axis)
        return [(line - _part(start, axis)) / run] if run else []
    ratio = (line - _part(centre, axis)) / radius
    if abs(ratio) >= 1:
        return []
    away = math.asin(ratio) if axis else math.acos(ratio)
    angles = (away, math.pi - away) if axis else (away, -away)
    begin = math.atan2((start - centre).imag, (start - centre).real)
    turn = math.copysign(1.0, sweep)
    shares = [math.fmod((angle - begin) * turn + 4 * math.pi, 2 * math.pi) / abs(sweep) for angle in angles]
    # Just before the start is nearly a whole turn after it.
    return [share if share <= 1 else share - 2 * math.pi / abs(sweep) for share in shares]


def _polished(
    start: complex, step: complex, sweep: float, share: float, line: float, axis: int
) -> tuple[float, float]:
    """A root by Newton's steps along the move, and how far its place is from the line, mm."""
    for _ in range(STEPS):
        gap, slope = _gap(start, step, sweep, share, line, axis)
        if abs(slope) <= abs(gap):
            break
        share -= gap / slope
    return share, abs(_gap(start, step, sweep, share, line, axis)[0])


def _gap(
    start: complex, step: complex, sweep: float, share: float, line: float, axis: int
) -> tuple[float, float]:
    """Distance from the line at a share of the way, and how it changes with the share."""
    half = math.sin(sweep / 2)
    if not half:
        return _part(start + step * share, axis) - line, _part(step, axis)
    turn = complex(math.cos((share - 1) * sweep / 2), math.sin((share - 1) * sweep / 2))
    at = start + step * turn * (math.sin(share * sweep / 2) / half)
    # d/dt of exp(i (t - 1) s / 2) sin(t s / 2) is s / 2 exp(i (2 t - 1) s / 2).
    ahead = complex(math.cos((2 * share - 1) * sweep / 2), math.sin((2 * share - 1) * sweep / 2))
    return _part(at, axis) - line, _part(step * ahead * (sweep / 2 / half), axis)
