"""What the extruder's lag asks of the end of each bead.

A start or stop word halts the axes on many controllers, and the screw goes on meanwhile; there none stands inside a
bead, and the stop command is given at the end point. A closed bead then goes on over its own start while the flow
fades: with the start command given there too, ramp up and ramp down add up to a full bead. An open bead is wiped
back over its own end, where the tail goes into the bead.

The start is met likewise: an open bead begins with a run-in, back over its own first stretch, on which the flow comes
up. The start word stands at the run-in's own start, where it may halt the axes, and no word stands between it and
the bead. As much as then lies on that stretch too early is missing in the bead after it: both are Q tau / e. A closed
bead needs none, since its lap makes up for its start.

Where the words of the extruder stop no axis, the stop comes at its lead inside the bead: reckoned in time along the
real motion, the ramp down to the end included. What still flows then is the end of an open bead. A closed bead closes
without a stop, so that only the difference of the two lags is left to lead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.beads import Bead
from beadwright.curves import ArcPath, cut_at, first_part, joined, length, reversed_path
from beadwright.process import Lag, MotionLimits, Profile, profiles, short_bead
from beadwright.program import LEAD_DIGITS, Pass

Floats = npt.NDArray[np.float64]

# A pass shorter than this is nothing that a gantry can do, mm.
LEAST_PASS = 0.1
# A run-in is fitted to its time until it misses it by less than this, s (half a millimetre at 100 mm/s, far below what
# a lag is known to), or so often.
SAME_TIME, MOST_TRIES = 5e-3, 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Lapping:
    """How closed beads are laid over their own starts.

    Attributes
    ----------
    length : float
        mm.
    steps : int
        In which the flow rises along the start and falls along the lap; 0: it stays full.
    """

    length: float
    steps: int

    def fits(self, bead: Bead) -> bool:
        """Whether a bead is closed and at least two laps long."""
        return bead.closed and length(bead.path) >= 2 * self.length


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ending:
    """How a bead is laid and left.

    Attributes
    ----------
    along : Profile
        The motion along its centreline.
    after : Pass or None
        What comes after it: a tapered lap, a nozzle wiping pass, or nothing.
    tail : float
        Time of the pass beyond the bead's end, s.
    lead : ArcPath or None
        Its run-in: to the bead's start, back over its first stretch.
    run : float
        Time of the run-in, s.
    """

    along: Profile
    after: Pass | None = None
    tail: float = 0.0
    lead: ArcPath | None = None
    run: float = 0.0


def endings(
    beads: Sequence[Bead],
    lag: Lag | None,
    *,
    feed: float,
    limits: MotionLimits,
    wipe: float = 0.0,
    inside: bool = False,
    halt: float | None = None,
    speeds: Sequence[float | Floats] = (),
    rises: Sequence[Floats] = (),
    lapping: Lapping | None = None,
) -> tuple[Ending, ...]:
    """How each bead is laid and left; without a pass while the lag is not calibrated.

    Parameters
    ----------
    beads : sequence of Bead
    lag : Lag or None
    feed : float
        mm/s; the pass goes at the same.
    limits : MotionLimits
    wipe : float
        Length of the wiping pass at an open end, mm; 0 for as long as the flow fades.
    inside : bool
        Whether the extruder's words may stand inside a bead, because they stop no axis.
    halt : float or None
        How long the axes stand for the start word, s; None: no bead gets a run-in.
    speeds : sequence of float or of (m,) float
        Along each bead, or along each of its moves, mm/s; default `feed` along all.
    rises : sequence of (m,) float
        What each move of each bead climbs, mm; none: they are level.
    lapping : Lapping, optional
        How closed beads are laid over their own starts; those shorter than two laps end where they start.

    Returns
    -------
    tuple of Ending
        A pass is as long as the nozzle gets in the dead time and three time constants of the stop: 95 % of the
        tail is gone then. A bead that is shorter than its leads keeps its stop at its end.
    """
    own_speeds = speeds or [feed] * len(beads)
    own_rises = rises or [np.zeros(len(bead.path.bulge)) for bead in beads]
    alone = profiles([bead.path for bead in beads], own_speeds, limits, own_rises)
    lapped = [lapping is not None and lapping.fits(bead) for bead in beads]
    if lag is None:
        return tuple(
            _lapped(bead, lapping, 0.0, feed, limits, speed, rise)
            if lapping is not None and own
            else Ending(along=along)
            for bead, along, own, speed, rise in zip(beads, alone, lapped, own_speeds, own_rises, strict=True)
        )
    leads = [inside and not short_bead(lag, along.duration) for along in alone]
    paths = [bead.path if bead.closed else reversed_path(bead.path) for bead in beads]
    standing = profiles(paths, [feed] * len(paths), limits)
    made: list[Ending] = []
    for bead, path, along, motion, lead, speed, rise, own in zip(
        beads, paths, alone, standing, leads, own_speeds, own_rises, lapped, strict=True
    ):
        if lapping is not None and own:
            fading = feed * (lag.down.dead + lag.run_off)
            made.append(_lapped(bead, lapping, fading, feed, limits, speed, rise))
            continue
        if lead and bead.closed:
            made.append(_carried(bead, along, lag, feed, limits, speed, rise))
            continue
        stop = 0.0
        fading = lag.down.dead + lag.run_off
        if lead:
            stop = length(bead.path) - float(along.place(along.duration - lag.down.lag)[0])
            fading = lag.run_off
        run = wipe if wipe and not bead.closed else float(motion.place(fading)[0])
        after = None
        if run >= LEAST_PASS:
            after = Pass(
                role="lap" if bead.closed else "wiping",
                path=first_part(path, run),
                stop=round(stop, LEAD_DIGITS) if stop >= LEAST_PASS else 0.0,
            )
        made.append(Ending(along=along, after=after))
    own = [each.after.path for each in made if each.after is not None and not each.tail]
    tails = iter(profiles(own, [feed] * len(own), limits))
    made = [
        replace(each, tail=next(tails).duration) if each.after is not None and not each.tail else each
        for each in made
    ]
    return _led_in(beads, made, lag, 0.0 if halt is None else lag.start_lead(halt), own_speeds, limits)


def _led_in(
    beads: Sequence[Bead],
    made: Sequence[Ending],
    lag: Lag,
    wanted: float,
    speeds: Sequence[float | Floats],
    limits: MotionLimits,
) -> tuple[Ending, ...]:
    """Open beads longer than their leads with run-ins of a wanted time, s, from standing to standing."""
    rows = [
        row
        for row, (bead, each) in enumerate(zip(beads, made, strict=True))
        if wanted > 0 and not bead.closed and not short_bead(lag, each.along.duration)
    ]
    if not rows:
        return tuple(made)
    whole = np.array([length(beads[row].path) for row in rows])
    feeds = [float(np.ravel(speeds[row])[0]) for row in rows]
    # Exact on a straight start: up to speed, along, and down again.
    up = np.array(feeds) / limits.acceleration
    run = np.where(
        wanted > 2 * up, np.array(feeds) * (wanted - up), limits.acceleration * wanted * wanted / 4
    )
    for _ in range(MOST_TRIES):
        run = np.minimum(run, whole)
        paths = [
            reversed_path(first_part(beads[row].path, float(v))) for row, v in zip(rows, run, strict=True)
        ]
        times = np.array([each.duration for each in profiles(paths, feeds, limits)])
        if np.abs(times - wanted).max() <= SAME_TIME:
            break
        run = run * wanted / times
    endings = list(made)
    for row, path, time, way in zip(rows, paths, times.tolist(), run.tolist(), strict=True):
        if LEAST_PASS <= way < float(length(beads[row].path)):
            endings[row] = replace(endings[row], lead=path, run=time)
    return tuple(endings)


def _lapped(
    bead: Bead,
    lapping: Lapping,
    fading: float,
    feed: float,
    limits: MotionLimits,
    speed: float | Floats,
    rise: Floats,
) -> Ending:
    """A closed bead that goes on over its own start, extruder on, and `fading` mm farther while the flow fades."""
    lap = first_part(bead.path, lapping.length + fading)
    along, tail, _ = _gone_on(bead, lap, feed, limits, speed, rise)
    after = Pass(role="lap", path=lap, stop=-lapping.length, laid=True, steps=lapping.steps)
    return Ending(along=along, after=after, tail=tail)


def _gone_on(
    bead: Bead, lap: ArcPath, feed: float, limits: MotionLimits, speed: float | Floats, rise: Floats
) -> tuple[Profile, float, Profile]:
    """Motion along a closed bead that goes on into its lap without a stop, the lap's time (s), and both as one."""
    moves, more = len(bead.path.bulge), len(lap.bulge)
    speeds = np.append(np.broadcast_to(speed, moves), np.full(more, feed))
    (whole,) = profiles([joined(bead.path, lap)], [speeds], limits, [np.append(rise, np.zeros(more))])
    along = _part(whole, 0, moves)
    return along, whole.duration - along.duration, whole


def carried_on(
    bead: Bead,
    made: Ending,
    *,
    begins: bool,
    goes_on: bool,
    limits: MotionLimits,
    speed: float | Floats,
    rise: Floats,
) -> Ending:
    """How a bead is laid that goes on from another one, or into another one, at full speed.

    The other one is taken to be like it: the motion before its start is that at its end, and the other way round.
    """
    path, moves = bead.path, len(bead.path.bulge)
    speeds = np.broadcast_to(speed, moves)
    whole, way = length(path), float(speeds.max()) ** 2 / (2 * limits.acceleration)
    before = after = 0
    if way < whole:
        own, feeds, rises = path, speeds, rise
        if begins:
            tail = cut_at(path, whole - way)[1]
            before = len(tail.bulge)
            own = joined(replace(tail, points=tail.points + (path.points[0] - tail.points[-1])), own)
            feeds, rises = np.append(np.full(before, speeds[-1]), feeds), np.append(np.zeros(before), rises)
        if goes_on:
            head = first_part(path, way)
            after = len(head.bulge)
            own = joined(own, replace(head, points=head.points + (own.points[-1] - head.points[0])))
            feeds, rises = np.append(feeds, np.full(after, speeds[0])), np.append(rises, np.zeros(after))
        (found,) = profiles([own], [feeds], limits, [rises])
        made = replace(made, along=_part(found, before, moves))
    if begins:
        made = replace(made, lead=None, run=0.0)
    return replace(made, after=None, tail=0.0) if goes_on else made


def _part(whole: Profile, first: int, count: int) -> Profile:
    """Some moves of a motion."""
    own = slice(first, first + count)
    clock = np.append(whole.begin, whole.duration)
    return Profile(
        length=whole.length[own],
        enter=whole.enter[own],
        peak=whole.peak[own],
        leave=whole.leave[own],
        begin=whole.begin[own] - clock[first],
        duration=float(clock[first + count] - clock[first]),
        acceleration=whole.acceleration,
    )


def _carried(
    bead: Bead,
    alone: Profile,
    lag: Lag,
    feed: float,
    limits: MotionLimits,
    speed: float | Floats,
    rise: Floats,
) -> Ending:
    """A closed bead that goes on into its lap without a stop, the stop word shifted so that its volume is right."""
    shift = lag.closure_shift
    run = feed * (lag.down.dead + lag.run_off - shift)
    if run < LEAST_PASS:
        return Ending(along=alone)
    lap = first_part(bead.path, run)
    along, tail, whole = _gone_on(bead, lap, feed, limits, speed, rise)
    end = along.duration
    stop = length(bead.path) - float(whole.place(end - shift)[0])
    led = (
        LEAST_PASS <= stop <= length(bead.path) - LEAST_PASS
        or LEAST_PASS <= -stop <= length(lap) - LEAST_PASS
    )
    return Ending(
        along=along,
        after=Pass(role="lap", path=lap, stop=round(stop, LEAD_DIGITS) if led else 0.0),
        tail=tail,
    )
