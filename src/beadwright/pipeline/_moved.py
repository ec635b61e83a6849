"""The motion of a layer: between its beads, along them, and beside them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from beadwright.beads import Bead
from beadwright.curves import ArcPath
from beadwright.pipeline._bed import MappedLayer
from beadwright.pipeline._cards import Cards
from beadwright.pipeline._passes import carried_on, endings
from beadwright.pipeline._risen import RisenLayer
from beadwright.pipeline._varied import bead_speeds
from beadwright.process import Profile, straight_time
from beadwright.program import ALONE, Carry, Pass, Way, entered_at, left_at

Place = tuple[float, float, float]
Ground = MappedLayer | RisenLayer
"""Beads that are not level."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moved:
    """Motion of a layer at one feed: traverses (s), along beads, passes and run-ins and their times (s).

    ``lift`` is the way down to a bead, or up from it, s; ``total`` is the time of the layer, s.
    """

    gaps: list[float]
    along: list[Profile]
    passes: tuple[Pass | None, ...]
    tails: list[float]
    leads: tuple[ArcPath | None, ...]
    runs: list[float]
    lift: float
    total: float = 0.0

    def lifts(self, carry: Carry) -> float:
        """Time of the ways down to beads and up from them, s."""
        return self.lift * (2 * len(self.along) - carry.begins - carry.goes_on)

    def stands(self, cards: Cards, carry: Carry) -> float:
        """What the nozzle stands at beads for priming and for the extruder's words, s."""
        count = len(self.along)
        start, stop = cards.halts
        return (count - carry.begins) * (cards.prime + start) + (count - carry.goes_on) * stop

    def timed(self, cards: Cards, carry: Carry) -> Moved:
        """With the time of the whole."""
        each = self.lifts(carry) + self.stands(cards, carry)
        motion = (each.duration for each in self.along)
        return replace(self, total=math.fsum([*self.gaps, *motion, *self.runs, *self.tails, each]))


def moved_at(
    cards: Cards,
    place: Place | None,
    beads: Sequence[Bead],
    above: float,
    feed: float,
    ground: Ground | None,
    ways: Way | None,
    carry: Carry,
) -> Moved:
    """The motion of a layer at a feed, mm/s; the nozzle comes from a place, mm."""
    speeds = bead_speeds(cards, beads, feed) if ground is None else ground.feeds(feed)
    rises = [np.zeros(len(bead.path.bulge)) for bead in beads] if ground is None else ground.rises()
    made = endings(
        beads,
        cards.lag,
        feed=feed,
        limits=cards.limits,
        wipe=cards.wipe,
        inside=cards.leads_inside and carry == ALONE,
        halt=cards.halts[0] if cards.run_in else None,
        speeds=speeds,
        rises=rises,
        lapping=cards.lapping,
    )
    if carry != ALONE:
        made = tuple(
            carried_on(
                bead,
                each,
                begins=carry.begins,
                goes_on=carry.goes_on,
                limits=cards.limits,
                speed=speed,
                rise=rise,
            )
            for bead, each, speed, rise in zip(beads, made, speeds, rises, strict=True)
        )
    passes, leads = tuple(each.after for each in made), tuple(each.lead for each in made)
    return Moved(
        gaps=[0.0] if carry.begins else _gaps(cards, place, beads, passes, leads, above, ways),
        along=[each.along for each in made],
        passes=passes,
        tails=[each.tail for each in made],
        leads=leads,
        runs=[each.run for each in made],
        lift=straight_time(cards.clearance, min(feed, cards.vertical.traverse), cards.vertical.acceleration),
    ).timed(cards, carry)


def _gaps(
    cards: Cards,
    place: Place | None,
    beads: Sequence[Bead],
    passes: Sequence[Pass | None],
    leads: Sequence[ArcPath | None],
    above: float,
    ways: Way | None,
) -> list[float]:
    """Time of the traverse to each bead: up to the clearance height, then across, s."""
    gaps = []
    at = place
    for row, (bead, own, lead) in enumerate(zip(beads, passes, leads, strict=True)):
        time, start = 0.0, entered_at(bead, lead)
        if at is not None:
            bends = ways(at[:2], start) if ways is not None and row else ()
            time += straight_time(abs(above - at[2]), cards.vertical.traverse, cards.vertical.acceleration)
            time += math.fsum(
                straight_time(math.dist(a, b), cards.limits.traverse, cards.limits.acceleration)
                for a, b in itertools.pairwise([at[:2], *bends, start])
            )
        gaps.append(time)
        at = (*left_at(bead, own), above)
    return gaps


def detour(
    cards: Cards, at: tuple[float, float, float], start: tuple[float, float], place: tuple[float, float]
) -> float:
    """How much longer the traverse to a bead takes by way of a place off the part, up over other parts, s."""

    def across(one: tuple[float, float], other: tuple[float, float]) -> float:
        return straight_time(math.dist(one, other), cards.limits.traverse, cards.limits.acceleration)

    over = straight_time(max(cards.over - at[2], 0.0), cards.vertical.traverse, cards.vertical.acceleration)
    return across(at[:2], place) + across(place, start) - across(at[:2], start) + 2 * over
