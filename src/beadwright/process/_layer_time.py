"""The layer time as a window: too short and the stack sags, too long and the bond is weak.

Below the least layer time the feed goes down first, since that keeps the beads steady, but never below what the
calibrated screw can deliver; what is still missing the nozzle waits off the part.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from beadwright.numeric import Finding, counted

# Of the layer time, far below what a controller keeps.
CLOSE = 1e-9
# Share by which a layer may miss the least time before it is worth telling: times are printed to a millionth.
SHORT = 1e-6
# Secant steps: the time is nearly a constant plus way over feed, so a few are enough.
MAX_STEPS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How fast a layer is laid.

    Attributes
    ----------
    feed : float
        mm/s along its beads.
    dwell : float
        Wait off the part, s.
    """

    feed: float
    dwell: float = 0.0


def pace(time_at: Callable[[float], float], *, feed: float, least: float, slowest: float) -> Pace:
    """Feed and wait that bring a layer to its least time.

    Parameters
    ----------
    time_at : callable
        Layer time without wait (s) at a feed (mm/s); falls with the feed.
    feed : float
        Wanted feed, mm/s.
    least : float
        Least layer time, s; 0 for none.
    slowest : float
        Least feed that the extruder can follow, mm/s.

    Returns
    -------
    Pace
    """
    if least <= 0 or time_at(feed) >= least:
        return Pace(feed=feed)
    slowest = min(slowest, feed)
    at_slowest = time_at(slowest)
    if at_slowest <= least:
        return Pace(feed=slowest, dwell=least - at_slowest)
    low, high = slowest, feed  # too slow, too fast
    for _ in range(MAX_STEPS):
        a, b = time_at(low), time_at(high)
        # Linear in 1 / feed between the two, and never outside them.
        share = (least - b) / (a - b)
        between = 1.0 / (1.0 / high + share * (1.0 / low - 1.0 / high))
        off = time_at(between) - least
        if abs(off) <= CLOSE * least:
            break
        low, high = (between, high) if off > 0 else (low, between)
        if abs(low - high) <= CLOSE * high:
            break
    return Pace(feed=between)


def slowest_feed(*, output: float, area: float, density: float) -> float:
    """Feed at which the screw turns at its least calibrated speed, mm/s.

    Parameters
    ----------
    output : float
        At the least calibrated speed, kg/s; 0 where nothing is calibrated.
    area : float
        Of the bead's section, mm2.
    density : float
        kg/mm3.
    """
    return output / (area * density)


def time_findings(
    times: list[tuple[int, float]], *, least: float, greatest: float = math.inf
) -> tuple[Finding, ...]:
    """Layers outside the window of layer times: at most one finding each way, at the worst layer.

    Parameters
    ----------
    times : list of (layer, s)
    least, greatest : float
        s.
    """
    found = []
    short = [row for row in times if row[1] < least * (1.0 - SHORT)]
    long = [row for row in times if row[1] > greatest]
    if short:
        layer, time = min(short, key=lambda row: row[1])
        found.append(
            Finding(
                code="layer-too-fast",
                level="warning",
                layer=layer,
                measured=time,
                allowed=least,
                unit="s",
                text=f"{counted(len(short), 'layer takes', 'layers take')} less than the least layer time, here least",
            )
        )
    if long:
        layer, time = max(long, key=lambda row: row[1])
        found.append(
            Finding(
                code="layer-too-slow",
                level="warning",
                layer=layer,
                measured=time,
                allowed=greatest,
                unit="s",
                text=f"{counted(len(long), 'layer takes', 'layers take')} longer than the greatest layer time, here"
                " most: more flow (a wider or higher bead), fewer parts at a time, or added heat",
            )
        )
    return tuple(found)
