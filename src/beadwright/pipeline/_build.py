"""Layer by layer what a build takes: pace, time, mass, and how long each place waits for the next layer."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from beadwright.beads import Bead
from beadwright.curves import ArcPath, length
from beadwright.layers import LayerRegion
from beadwright.pipeline._cards import Cards
from beadwright.pipeline._moved import Ground, detour, moved_at
from beadwright.pipeline._purge import purging, waits
from beadwright.process import (
    Pace,
    ReturnTimes,
    Times,
    Track,
    pace,
    return_times,
    short_bead,
    track,
)
from beadwright.program import ALONE, Before, Carry, Pass, Purge, Wait, Way, entered_at, left_at

# Feed below which no machine runs steadily, mm/s; where the screw is calibrated its own limit is higher.
SLOWEST = 1.0
# Share of a layer's area that its beads must cover for it to count as filled.
FILLED = 0.9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clock:
    """What the layers below leave for the next one.

    Attributes
    ----------
    time : float
        s since the start of the build.
    place : (float, float, float) or None
        Where the nozzle waits, mm; None before the first bead.
    track : Track or None
        Of the layer below.
    """

    time: float = 0.0
    place: tuple[float, float, float] | None = None
    track: Track | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerBuild:
    """What one layer takes.

    Attributes
    ----------
    index : int
    pace : Pace
        Feed along its beads and wait off the part before it.
    times : Times
    mass : float
        kg.
    length : float
        Of its beads, mm.
    height : float
        mm.
    thickness : float
        Of its walls, mm.
    returns : ReturnTimes or None
        Since the layer below.
    short : int
        Beads that end before the extruder's leads have had their time.
    areas : tuple of float
        Of each bead's section, mm2.
    passes : tuple of (Pass or None)
        What the nozzle does after each bead.
    leads : tuple of (ArcPath or None)
        Run-in before each bead.
    before : tuple of (Wait or Purge)
        What it does before the first, off the part.
    closures : Closures or None
        How closed beads meet themselves; None where they end at their starts.
    sections : tuple of float
        Least and greatest area of its beads' sections, mm2; empty without beads.
    missed : float
        Wait that the layer should have had before it, and cannot have inside a bead, s.
    """

    index: int
    pace: Pace
    times: Times
    mass: float
    length: float
    height: float
    thickness: float
    returns: ReturnTimes | None
    short: int
    areas: tuple[float, ...]
    passes: tuple[Pass | None, ...]
    leads: tuple[ArcPath | None, ...] = ()
    before: tuple[Before, ...] = ()
    closures: Closures | None = None
    sections: tuple[float, ...] = ()
    missed: float = 0.0

    @property
    def n_beads(self) -> int:
        """Marks of beads that the layer takes in the program: beads, run-ins, passes and purges."""
        beside = sum(each is not None for each in (*self.passes, *self.leads))
        return len(self.areas) + beside + self.purges

    def summed(self) -> LayerBuild:
        """Without what belongs to single beads, of which a tall part has millions."""
        return replace(self, areas=(), passes=(), leads=())

    @property
    def purges(self) -> int:
        """How often the extruder is purged before the layer."""
        return sum(isinstance(each, Purge) for each in self.before)


def build_layer(
    cards: Cards,
    clock: Clock,
    layer: LayerRegion,
    beads: Sequence[Bead],
    *,
    stopped: bool = False,
    ground: Ground | None = None,
    ways: Way | None = None,
    carry: Carry = ALONE,
    fastest: float = math.inf,
    paced: bool = True,
) -> tuple[LayerBuild, Clock]:
    """Pace, time and mass of a layer.

    Parameters
    ----------
    cards : Cards
    clock : Clock
        As the layer below left it.
    layer : LayerRegion
    beads : sequence of Bead
        In their order, each from its start point.
    stopped : bool
        Whether the program stops for the operator before it.
    ground : MappedLayer or RisenLayer, optional
        The same beads, where they follow a measured platform, or climb.
    ways : callable, optional
        Tells where traverses between its beads bend.
    carry : Carry
        Whether its only bead goes on from the layer below, or into the one above.
    fastest : float
        Greatest speed along its beads, mm/s.
    paced : bool
        Whether it keeps the least layer time; what is left of a layer goes as fast as all of it.

    Returns
    -------
    LayerBuild
    Clock
        For the next layer.
    """
    plan = layer.plan
    above = plan.z + cards.clearance
    areas = [cards.section(bead.width, bead.height).area for bead in beads]
    runs = [length(bead.path) for bead in beads]
    least = cards.least_time if beads and paced else 0.0
    # The feed that is taken was tried mostly: its motion is not reckoned twice.
    motion = functools.cache(
        lambda feed: moved_at(cards, clock.place, beads, above, feed, ground, ways, carry)
    )
    own = pace(
        lambda feed: motion(feed).total,
        feed=min(cards.feed, fastest),
        least=least,
        slowest=max(cards.slowest(min(areas, default=1.0)), SLOWEST),
    )
    if clock.track is None:
        # The first layer slows down, since the next one comes so long after it, but waits for nothing.
        own = replace(own, dwell=0.0)
    moved = motion(own.feed)
    missed = own.dwell if carry.begins else 0.0
    own = replace(own, dwell=own.dwell - missed)
    volumes = [a * run for a, run in zip(areas, runs, strict=True)] if ground is None else ground.volumes()
    # A tapered lap lays what the bead's own start lacks.
    over = [0.0 if own is None or own.steps else own.lap for own in moved.passes]
    volumes = [volume + a * more for volume, a, more in zip(volumes, areas, over, strict=True)]
    gaps = list(moved.gaps)
    purge = purging(cards, above) if beads and not carry.begins else None
    # A wait that melt may not stand is spent where it can be purged.
    place = cards.park if purge is None or own.dwell <= cards.idle_limit else purge.place
    by = [place] if own.dwell else []
    if own.dwell and clock.place is not None:
        longer = detour(cards, clock.place, entered_at(beads[0], moved.leads[0]), place)
        # Up to a full millisecond, as it is printed.
        own = Pace(feed=own.feed, dwell=math.ceil(max(own.dwell - longer, 0.001) * 1000) / 1000)
    before = waits(own.dwell, cards.idle_limit, purge, place)
    if purge is not None and (stopped or clock.place is None):
        before, by = (purge.moves, *before), [purge.place]
    if by and clock.place is not None:
        gaps[0] += detour(cards, clock.place, entered_at(beads[0], moved.leads[0]), by[0])
    purges = sum(isinstance(each, Purge) for each in before)
    purged = 0.0 if purge is None else purges * purge.time
    waited = math.fsum(each.time for each in before if isinstance(each, Wait))
    begin, now = [], clock.time + waited + purged
    for gap, each, run, tail in zip(gaps, moved.along, moved.runs, moved.tails, strict=True):
        now += gap + run + (0.0 if carry.begins else moved.lift + cards.halts[0] + cards.prime)
        begin.append(now)
        now += each.duration + tail + (0.0 if carry.goes_on else cards.halts[1] + moved.lift)
    extruding = math.fsum(each.duration for each in moved.along)
    laid = track(
        [bead.path for bead in beads], moved.along, begin, pitch=max((b.width for b in beads), default=1.0)
    )
    widest = max((b.width for b in beads), default=0.0)
    # An empty layer leaves what is below it in view: the next one may lie on that.
    below = clock.track
    made = LayerBuild(
        index=plan.index,
        pace=own,
        times=Times(
            extruding=extruding,
            traverse=math.fsum([*gaps, *moved.runs, *moved.tails, moved.lifts(carry)]),
            dwell=waited + moved.stands(cards, carry),
            purge=purged,
        ),
        mass=cards.density * math.fsum(volumes),
        length=math.fsum(runs),
        height=plan.height,
        thickness=_thickness(
            layer,
            *(_of_part(beads, areas, runs) if carry == ALONE else (areas, [v / areas[0] for v in volumes])),
            plan.height,
        ),
        returns=None if below is None else return_times(laid, below, reach=widest),
        areas=tuple(areas),
        sections=(min(areas), max(areas)) if areas else (),
        passes=moved.passes,
        leads=moved.leads,
        before=before,
        short=0 if cards.lag is None else sum(short_bead(cards.lag, each.duration) for each in moved.along),
        closures=_closures(cards, beads, moved.passes, areas),
        missed=missed,
    )
    end = clock.place if not beads else (*left_at(beads[-1], made.passes[-1]), above)
    return made, Clock(time=now, place=end, track=laid if beads else below)


@dataclass(frozen=True, slots=True, kw_only=True)
class Closures:
    """How the closed beads of a layer meet themselves.

    Attributes
    ----------
    lapped, short : int
        Laid over their own starts, and too short for that.
    length : float
        Of each lap, mm.
    volume : float
        Laid along all laps, mm3.
    """

    lapped: int
    short: int
    length: float
    volume: float

    def as_dict(self) -> dict[str, float]:
        """Keys of the plan's JSON."""
        return {
            "lapped": self.lapped,
            "too_short": self.short,
            "lap_mm": self.length,
            "lap_mm3": self.volume,
        }


def _closures(
    cards: Cards, beads: Sequence[Bead], passes: Sequence[Pass | None], areas: Sequence[float]
) -> Closures | None:
    if cards.lapping is None:
        return None
    own = [(each, area) for each, area in zip(passes, areas, strict=True) if each is not None and each.lap]
    return Closures(
        lapped=len(own),
        short=sum(bead.closed for bead in beads) - len(own),
        length=cards.lapping.length,
        # of a falling flow half
        volume=math.fsum(area * each.lap * (0.5 if each.steps else 1.0) for each, area in own),
    )


def _of_part(
    beads: Sequence[Bead], areas: Sequence[float], runs: Sequence[float]
) -> tuple[list[float], list[float]]:
    """Areas and lengths without those of base beads, which lie beside the part."""
    rows = [row for row, bead in enumerate(beads) if bead.role != "base"]
    return [areas[row] for row in rows], [runs[row] for row in rows]


def _thickness(layer: LayerRegion, areas: Sequence[float], runs: Sequence[float], height: float) -> float:
    """Thickness of the walls of a layer as the wall model sees them, mm.

    Where the beads fill the region, heat leaves through its boundary: twice the area over the perimeter. Where
    they run along it and leave the inside open, it leaves on both sides of the beads: their area over the
    perimeter. Never less than what one bead covers.
    """
    covered = math.fsum(a * run for a, run in zip(areas, runs, strict=True)) / height
    one = max((a / height for a in areas), default=0.0)
    if not layer.perimeter:
        return one
    both = 2.0 if covered >= FILLED * layer.area else 1.0
    return max(one, both * covered / layer.perimeter)
