"""Where stretches of a wall's boundary meet, their middles do: cut or drawn out to where they cross."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# A step sideways below this needs no way to be made, mm.
LEVEL = 1e-3
# Bead widths that it takes to change from one number of beads to another, or to the contour line.
CHANGE = 0.5
# Stretches nearer to each other than this meet, mm: rounding of where a wall's boundary changes, and no move's length.
GAP = 2e-2
# Length from which the direction of a stretch's end is taken, mm, and sine of a turn above which ends have a crossing.
CHORD, CROSS = 0.5, 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Own:
    """A part of a contour line along a wall: from and to (lengths along it, mm), middles and widths, mm."""

    begin: float
    end: float
    at: Floats
    width: Floats
    place: Floats


def moved(own: Own, by: float) -> Own:
    """The same part where the line's own start lies elsewhere."""
    return replace(own, begin=own.begin + by, end=own.end + by, place=own.place + by)


def meets(one: Own, other: Own, width: float) -> bool:
    """Whether between two parts no move has room, or none back to the contour line and off it again."""
    off = max(abs(float(one.width[-1]) - width), abs(float(other.width[0]) - width))
    return other.begin - one.end <= (CHANGE * width if off > LEVEL else GAP)


def meeting(one: Own, other: Own, width: float) -> tuple[Floats, float]:
    """Where the second of two parts goes on where the first ends: the crossing of their middles, and its place."""
    p, q = one.at[-1], other.at[0]
    u, v = _leaving(one), _entering(other)
    cross = float(u[0] * v[1] - u[1] * v[0])
    at = (p + q) / 2
    if abs(cross) > CROSS:
        x = p + u * (((q - p)[0] * v[1] - (q - p)[1] * v[0]) / cross)
        at = x if max(np.hypot(*(x - p)), np.hypot(*(x - q))) < width / 2 else at
    return at, (one.end + other.begin) / 2


def ended(own: Own, at: Floats, place: float, width: float) -> Own:
    """The part up to a place near its end."""
    # Near the end only: a line that comes back to the place is none of it.
    kept = ((own.at - at) @ _leaving(own) < -GAP) | (own.place < own.end - width)
    kept[0] = True
    return Own(
        begin=own.begin,
        end=place,
        at=np.concatenate([own.at[kept], at[None]]),
        width=np.append(own.width[kept], own.width[-1]),
        place=np.append(np.minimum(own.place[kept], place), place),
    )


def begun(own: Own, at: Floats, place: float, width: float) -> Own:
    """The part from a place near its beginning."""
    kept = ((own.at - at) @ _entering(own) > GAP) | (own.place > own.begin + width)
    kept[-1] = True
    return Own(
        begin=place,
        end=own.end,
        at=np.concatenate([at[None], own.at[kept]]),
        width=np.concatenate([own.width[:1], own.width[kept]]),
        place=np.concatenate([[place], np.maximum(own.place[kept], place)]),
    )


def _leaving(own: Own) -> Floats:
    """Direction of the middle at the end of a part."""
    way = own.at[-1] - own.at[max(int(np.searchsorted(own.place, own.end - CHORD)) - 1, 0)]
    return np.asarray(way / np.hypot(*way))


def _entering(own: Own) -> Floats:
    """Direction of the middle at the beginning of a part."""
    row = min(int(np.searchsorted(own.place, own.begin + CHORD)), len(own.at) - 1)
    way = own.at[row] - own.at[0]
    return np.asarray(way / np.hypot(*way))
