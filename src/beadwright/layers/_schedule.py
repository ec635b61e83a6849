"""Layer heights by a limit of the cusp: as few layers as it allows, flat faces met by a layer's top."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Steep = Callable[[Array], Array]
"""Ascending heights (m + 1,) to the greatest |n_z| in each slab between them (m,)."""

STEP = 0.1
"""Heights are multiples of about this, mm: far finer than a machine's flow follows."""
SLACK = 1e-9
"""Share of a height by which a whole number of layers may be missed."""
EXCESS = 1000.0
"""A layer whose cusp is too large although it is the lowest allowed costs this many layers a mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Schedule:
    """Where layers end.

    Attributes
    ----------
    edges : (n + 1,) float
        Ascending, mm.
    cusp : (n,) float
        Bound of the cusp of each layer, height times |n_z|, mm.
    missed : tuple of float
        Heights of flat faces that no layer's top meets, since the range of heights does not allow it.
    """

    edges: Array
    cusp: Array
    missed: tuple[float, ...]


def cusps(edges: Array, steep: Steep) -> Array:
    """Bound of the cusp of each layer, mm: its height times the vertical part of the normal.

    A. Dolenc, I. Makela, Slicing procedures for layered manufacturing techniques, Computer-Aided Design 26 (1994)
    119-126.
    """
    return np.diff(edges) * steep(edges)


def schedule(
    low: float, high: float, *, least: float, greatest: float, limit: float, steep: Steep, flats: Array
) -> Schedule:
    """Heights between a range, none with a larger cusp than a limit where that can be had, in the fewest layers.

    Between two flat faces the layers are the cheapest way from one to the other, by dynamic programming over
    multiples of a step; of equal numbers of layers the one with the least sum of squared heights, the most even one.

    Parameters
    ----------
    low, high : float
        Lowest and highest point, mm; the first layer begins at `low`, the last one ends at `high` or, where
        no number of layers allows it, above.
    least, greatest : float
        Range of layer heights, mm.
    limit : float
        Of the cusp, mm.
    steep : callable
    flats : (k,) float
        Heights of horizontal faces, mm.

    Returns
    -------
    Schedule
    """
    stops, missed = _stops(low, high, flats, least, greatest)
    edges = [low]
    for end in stops:
        edges += _between(edges[-1], end, least, greatest, limit, steep)
    made = np.array(edges)
    return Schedule(edges=made, cusp=cusps(made, steep), missed=tuple(missed))


def _fits(length: float, least: float, greatest: float) -> bool:
    """Whether some whole number of layers makes a length."""
    count = np.ceil(length / greatest - SLACK)
    return bool(count >= 1 and count * least <= length * (1 + SLACK))


def _stops(
    low: float, high: float, flats: Array, least: float, greatest: float
) -> tuple[list[float], list[float]]:
    """Heights at which a layer must end, and flat faces that cannot be met."""
    stops, missed = [], []
    at = low
    inner = [float(z) for z in flats if low + SLACK < z < high - SLACK]
    for place, z in enumerate(inner):
        ahead = inner[place + 1] if place + 1 < len(inner) else high
        if _fits(z - at, least, greatest) and (_fits(ahead - z, least, greatest) or ahead - z >= 2 * least):
            stops.append(z)
            at = z
        else:
            missed.append(z)
    last = high
    if not _fits(high - at, least, greatest):
        count = max(1, int(np.ceil((high - at) / greatest - SLACK)))
        last = at + count * least if (high - at) < count * least else high
        if not _fits(last - at, least, greatest):
            last = at + count * greatest
        missed.append(high)
    stops.append(last)
    return stops, missed


def _between(
    low: float, high: float, least: float, greatest: float, limit: float, steep: Steep
) -> list[float]:
    """Tops of the layers from one stop to the next."""
    cells = max(1, round((high - low) / STEP))
    step = (high - low) / cells
    grid: Array = np.asarray(low + step * np.arange(cells + 1), dtype=np.float64)
    inside = steep(grid)
    first = max(1, int(np.ceil(least / step - SLACK)))
    last = max(first, int(np.floor(greatest / step + SLACK)))
    if last * step > greatest * (1 + 1e-6) or first > cells:
        return _even(low, high, greatest)
    cost, back = np.full(cells + 1, np.inf), np.zeros(cells + 1, dtype=np.int64)
    cost[0] = 0.0
    windows = [inside]  # greatest |n_z| in runs of 1, 2, ... cells, by their first
    for m in range(2, min(last, cells) + 1):
        windows.append(np.maximum(windows[-1][:-1], inside[m - 1 :]))
    for j in range(first, cells + 1):
        runs = np.arange(first, min(last, j) + 1)
        size = runs * step
        slope = np.array([windows[k - 1][j - k] for k in runs.tolist()])
        over = np.maximum(size * slope - limit, 0.0) * EXCESS
        way = cost[j - runs] + 1.0 + over + SLACK * size * size
        best = int(np.argmin(way))
        cost[j], back[j] = way[best], runs[best]
    if not np.isfinite(cost[cells]):
        return _even(low, high, greatest)
    tops, j = [], cells
    while j > 0:
        tops.append(float(grid[j]) if j < cells else high)
        j -= int(back[j])
    return tops[::-1]


def _even(low: float, high: float, greatest: float) -> list[float]:
    """Tops of the fewest equal layers."""
    count = max(1, int(np.ceil((high - low) / greatest - SLACK)))
    return [low + (high - low) * k / count for k in range(1, count)] + [high]
