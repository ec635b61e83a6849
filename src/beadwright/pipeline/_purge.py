"""Purging: what is thrown away off the part so that no melt that has stood too long goes into it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from beadwright.curves import ArcPath
from beadwright.pipeline._cards import Cards
from beadwright.process import profiles, straight_time
from beadwright.program import Before, Purge, Wait

# Legs of a track shorter than this are left out: nothing that a gantry can do, mm.
LEAST_LEG = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Purging:
    """One purge: its moves, and the time from the traverse height over their start and back to it, s."""

    moves: Purge
    time: float

    @property
    def place(self) -> tuple[float, float]:
        """Where it begins, mm."""
        x, y = self.moves.path.points[0].tolist()
        return x, y


def purging(cards: Cards, above: float) -> Purging | None:
    """The purge of a machine that tells where to; None where the operator purges by hand.

    Parameters
    ----------
    cards : Cards
    above : float
        Height of the layer's traverses, mm.
    """
    if cards.purge_place is None or not cards.purge:
        return None
    x, y, z = cards.purge_place
    width, height = cards.bead
    run = cards.purge / (cards.density * cards.section(width, height).area)
    path = _track(x, y, cards.purge_track, run)
    (motion,) = profiles([path], [cards.feed], cards.limits)
    lift = straight_time(
        abs(above - z), min(cards.feed, cards.vertical.traverse), cards.vertical.acceleration
    )
    way = abs(float(path.points[-1, 0]) - x)
    back = straight_time(way, cards.limits.traverse, cards.limits.acceleration)
    return Purging(
        moves=Purge(path=path, z=z, width=width, height=height, feed=cards.feed),
        time=motion.duration + 2 * lift + sum(cards.halts) + back,
    )


def _track(x: float, y: float, leg: float, run: float) -> ArcPath:
    """Back and forth along X, as long as `run`, mm."""
    whole = int(run // leg)
    rest = run - whole * leg
    places = [x + leg * (k % 2) for k in range(whole + 1)]
    if rest >= LEAST_LEG or not whole:
        places.append(places[-1] + (rest if whole % 2 == 0 else -rest))
    count = len(places) - 1
    return ArcPath(
        points=np.column_stack([places, np.full(len(places), y)]),
        bulge=np.zeros(count),
        face=np.full(count, -1, np.int32),
        support=np.full(count, -1, np.int32),
        closed=False,
    )


def waits(dwell: float, limit: float, purge: Purging | None, park: tuple[float, float]) -> tuple[Before, ...]:
    """A wait off the part in pieces that melt may stand, each but the last followed by a purge, which is part of it.

    Parameters
    ----------
    dwell : float
        s; whole milliseconds, as they are printed.
    limit : float
        Longest time for which melt may stand, s.
    purge : Purging or None
        None: one wait, however long.
    park : (float, float)
        Where the nozzle waits, mm.

    Returns
    -------
    tuple of (Wait or Purge)
        The fewest purges after which no piece is longer than `limit`; one purge at the least where the whole is.
    """
    if dwell <= 0:
        return ()
    if purge is None or dwell <= limit:
        return (Wait(time=dwell, x=park[0], y=park[1]),)
    # (dwell - k purge) / (k + 1) <= limit
    count = max(1, math.ceil((dwell - limit) / (limit + purge.time)))
    piece = math.ceil(max(dwell - count * purge.time, 0.0) / (count + 1) * 1000) / 1000
    wait = Wait(time=piece, x=park[0], y=park[1])
    parts: list[Before] = []
    for _ in range(count):
        parts += [wait, purge.moves]
    # The last wait ends with the first bead, which the melt is fresh for.
    return (*parts, wait) if piece > 0 else tuple(part for part in parts if part is not wait)
