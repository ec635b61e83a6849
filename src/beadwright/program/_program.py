"""A whole program: its head and, layer by layer, its events."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from beadwright.beads import Bead, Role, jointed
from beadwright.curves import ArcPath, cut_at, joined, length, lengths
from beadwright.errors import SettingsError
from beadwright.layers import LayerRegion
from beadwright.program._between import (
    ALONE,
    LEAD_DIGITS,
    Before,
    Carry,
    Halt,
    Pass,
    Purge,
    Wait,
    Way,
    entered_at,
    left_at,
)
from beadwright.program._events import (
    Approach,
    BeadBegin,
    BeadEnd,
    BeadMoves,
    Climb,
    Departure,
    Dwell,
    Event,
    LayerBegin,
    LayerEnd,
    PassMoves,
    PassRole,
    StartFlow,
    Stop,
    StopFlow,
    Traverse,
)
from beadwright.program._head import Head
from beadwright.program._order import State, check_order

# What is left of a pass after its lap is nothing below this length, mm.
LEAST_REST = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerProgram:
    """One layer's events, legal by `ORDER`, which holds when built.

    Attributes
    ----------
    events : tuple of Event
        From `LayerBegin` to `LayerEnd`.
    n_beads : int
        Beads in it, passes with marks of their own among them.
    length : float
        Of all bead centrelines, mm.
    top : float
        Greatest height that the nozzle reaches, mm; that of the layer if it does not move.
    goes_on : bool
        Whether its last bead goes on into the layer above, extruder on.
    """

    events: tuple[Event, ...]
    n_beads: int
    length: float
    top: float
    goes_on: bool = False

    def __post_init__(self) -> None:
        check_order(
            self.events,
            start=State.RISING if self.begin.carried else State.BETWEEN,
            end=State.RISING if self.goes_on else State.BETWEEN,
        )

    def traverses(self) -> list[tuple[Traverse, Traverse]]:
        """Straight traverses between beads: from the place above a bead's end, or a bend, to the next."""
        found: list[tuple[Traverse, Traverse]] = []
        at: Traverse | None = None
        for event in self.events:
            match event:
                case Traverse():
                    if at is not None:
                        found.append((at, event))
                    at = event
                case BeadMoves() | PassMoves():
                    x, y = event.path.points[0 if event.path.closed else -1].tolist()
                    at = Traverse(x=x, y=y, z=event.z)
                case _:
                    pass
        return found

    @property
    def begin(self) -> LayerBegin:
        """The event that opens the layer."""
        opening = self.events[0]
        assert isinstance(opening, LayerBegin)
        return opening


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """A program: head and layers, from the platform up."""

    head: Head
    layers: tuple[LayerProgram, ...] = field(default=())

    @property
    def n_beads(self) -> int:
        """Beads in all layers."""
        return sum(layer.n_beads for layer in self.layers)


Beside = tuple[Bead, ArcPath, bool]
"""A path along or beside a bead, and whether the extruder runs on it."""
Follow = Callable[[Sequence[Beside]], Sequence[tuple[ArcPath, Climb]]]
"""Cuts paths where their height bends, and tells their heights: all of a layer at once, for most are a few moves."""


def layer_program(
    layer: LayerRegion,
    beads: Sequence[Bead],
    *,
    first_bead: int,
    clearance: float,
    feed: float,
    before: Sequence[Before] = (),
    rpm: float | Sequence[float | tuple[float, ...]] | None = None,
    prime: float = 0.0,
    passes: Sequence[Pass | None] = (),
    leads: Sequence[ArcPath | None] = (),
    feeds: Sequence[float | tuple[float, ...]] = (),
    follow: Follow | None = None,
    ways: Way | None = None,
    carry: Carry = ALONE,
) -> LayerProgram:
    """Events of one layer: to each bead above the layer, down, extruder on, along, extruder off, up.

    Every layer begins with its own rise to its clearance height and leaves the nozzle there, so a layer's
    events, and its text, depend on no other layer.

    Parameters
    ----------
    layer : LayerRegion
        What the layer must cover, and its bounds.
    beads : sequence of Bead
        In the order in which they are laid, each from its start point.
    first_bead : int
        Index of the first of them in the whole program.
    clearance : float
        Height of traverses above the layer's top, mm, above 0.
    feed : float
        Travel speed of the nozzle along beads, mm/s, above 0.
    before : sequence of Wait, Halt or Purge
        In their order, before the first bead.
    rpm : float or sequence of (float or tuple of float), optional
        Screw speed of all beads, or of each, where the program commands it; of a bead whose width varies one for
        each of its widths.
    prime : float
        Time that the extruder runs standing before each bead, s.
    passes : sequence of Pass or None
        After each bead; default none.
    leads : sequence of ArcPath or None
        Run-in before each bead, from where the extruder starts to the bead's start; default none.
    feeds : sequence of (float or tuple of float)
        Along each bead, mm/s; default `feed` along all. Of a bead whose width varies one for each of its widths, where
        the screw turns evenly.
    follow : callable, optional
        Where the layer follows a measured platform, or its bead climbs: called with beads, paths along them or beyond
        them, and whether the extruder runs; gives the paths, cut where their height bends, with their heights.
    ways : callable, optional
        Tells where a traverse from one place to another bends; default nowhere. The first of a layer is straight.
    carry : Carry
        Whether its only bead goes on from the layer below, or into the one above.

    Raises
    ------
    SettingsError
        If `clearance` or `feed` is not above 0.
    """
    for name, value in (("clearance", clearance), ("feed", feed)):
        if not (math.isfinite(value) and value > 0):
            msg = f"{name} must be above 0, not {value}"
            raise SettingsError(msg)
    plan = layer.plan
    climbs = [] if follow is None else [own for _, own in follow([(bead, bead.path, True) for bead in beads])]
    above = max([plan.z, *(float(own.height.max()) for own in climbs)]) + clearance
    events: list[Event] = [
        LayerBegin(
            index=plan.index,
            z0=plan.z0,
            z=plan.z,
            height=plan.height,
            section_z=layer.section_z,
            rule=plan.rule,
            stock=layer.stock,
            area=layer.area,
            perimeter=layer.perimeter,
            loops=layer.n_loops,
            budget=layer.budget,
            mapped=follow is not None and carry == ALONE,
            carried=carry.begins,
        )
    ]
    index, top = first_bead, above if beads else plan.z
    for each in before:
        made, top = _before(each, index, above=above, feed=feed, top=top)
        events += made
        index += isinstance(each, Purge)
    speeds = [rpm] * len(beads) if rpm is None or isinstance(rpm, (int, float)) else rpm
    passes, leads = passes or [None] * len(beads), leads or [None] * len(beads)
    laid: list[list[Event]] = []
    for bead, after, lead, own, speed in zip(
        beads, passes, leads, feeds or [feed] * len(beads), speeds, strict=True
    ):
        made = _laid(bead, after, lead, index, z=plan.z, feed=own, prime=prime, rpm=speed)
        if carry.begins:
            made = [event for event in made if not isinstance(event, (StartFlow, Dwell))]
        if carry.goes_on:
            made = [event for event in made if not isinstance(event, StopFlow)]
        laid.append(made)
        index += 1 + (after is not None) + (lead is not None)
    if follow is not None:
        laid = _followed(beads, laid, follow)
    place: tuple[float, float] | None = None
    for bead, after, lead, made in zip(beads, passes, leads, laid, strict=True):
        x, y = entered_at(bead, lead)
        bends = () if ways is None or place is None else ways(place, (x, y))
        events += [Traverse(x=bend[0], y=bend[1], z=above) for bend in bends]
        if not carry.begins:
            events += [Traverse(x=x, y=y, z=above), Approach(z=_lowered(made, plan.z), feed=feed)]
        events += made
        place = left_at(bead, after)
        if not carry.goes_on:
            events.append(Departure(z=above, feed=feed))
    events.append(LayerEnd())
    return LayerProgram(
        events=tuple(events),
        n_beads=index - first_bead,
        length=math.fsum(length(bead.path) for bead in beads),
        top=top,
        goes_on=carry.goes_on,
    )


def _before(each: Before, index: int, *, above: float, feed: float, top: float) -> tuple[list[Event], float]:
    """Events of a wait, a planned stop or a purge, and the greatest height then, mm."""
    match each:
        case Wait():
            return [Traverse(x=each.x, y=each.y, z=above), Dwell(time=each.time)], max(top, above)
        case Halt():
            # Between two layers, so that no bead is broken and the next begins at a start point of its own.
            return [Traverse(x=each.x, y=each.y, z=top), Stop(texts=each.texts)], top
        case Purge():
            x, y = each.path.points[0].tolist()
            high = max(above, each.z)
            begin = BeadBegin(
                index=index,
                role="approach",
                rank=1,
                loop=0,
                hole=False,
                offset=0.0,
                width=each.width,
                height=each.height,
                closed=False,
                purge=True,
            )
            events: list[Event] = [
                Traverse(x=x, y=y, z=high),
                Approach(z=each.z, feed=feed),
                begin,
                StartFlow(rpm=each.rpm),
                BeadMoves(path=each.path, z=each.z, feed=each.feed),
                StopFlow(),
                BeadEnd(),
                Departure(z=high, feed=feed),
            ]
            return events, max(top, high)


def _followed(beads: Sequence[Bead], laid: Sequence[Sequence[Event]], follow: Follow) -> list[list[Event]]:
    """Events of each bead, their moves cut where the height bends, with their heights."""
    asked = [
        (bead, event.path, isinstance(event, BeadMoves))
        for bead, events in zip(beads, laid, strict=True)
        for event in events
        if isinstance(event, (BeadMoves, PassMoves))
    ]
    made = iter(follow(asked))
    found: list[list[Event]] = []
    for events in laid:
        found.append([])
        for event in events:
            if isinstance(event, (BeadMoves, PassMoves)):
                path, climb = next(made)
                event = replace(event, path=path, climb=climb)
            found[-1].append(event)
    return found


def _lowered(events: Sequence[Event], z: float) -> float:
    """Height at which a bead, or the run-in before it, begins."""
    climb = next(event.climb for event in events if isinstance(event, BeadMoves))
    return z if climb is None else float(climb.height[0])


def _laid(
    bead: Bead,
    after: Pass | None,
    lead: ArcPath | None,
    index: int,
    *,
    z: float,
    feed: float | tuple[float, ...],
    prime: float,
    rpm: float | tuple[float, ...] | None,
) -> list[Event]:
    """A bead with the run-in before it and the pass after it, from mark to mark."""
    rpms = rpm if isinstance(rpm, tuple) else ()
    paces, feed = (feed, max(feed)) if isinstance(feed, tuple) else ((), feed)

    def moves(path: ArcPath, shares: Sequence[float] = ()) -> BeadMoves:
        full: tuple[float, ...] = ()
        if shares and after is not None:
            path, full = _tapered(path, shares, after.lap)
        return BeadMoves(path=path, z=z, feed=feed, widths=bead.widths, rpms=rpms, feeds=paces, shares=full)

    stop = 0.0 if after is None else after.stop
    path, rest = bead.path, None if after is None else after.path
    on: ArcPath | None = None
    if stop > 0 and rest is not None:
        path, tail = cut_at(path, length(path) - stop)
        rest = joined(tail, rest)
    elif stop < 0 and rest is not None:
        on, rest = cut_at(rest, -stop) if length(rest) + stop > LEAST_REST else (rest, None)
    up = () if after is None else after.shares()
    start: list[Event] = [
        StartFlow(rpm=rpm[bead.path.support[0]] if isinstance(rpm, tuple) else rpm),
        *([Dwell(time=prime)] if prime > 0 else []),
    ]
    before: list[Event] = []
    if lead is not None:
        before = [_begin(bead, index, "approach", closed=False), *start, moves(lead), BeadEnd()]
        index, start = index + 1, []
    begin = _begin(bead, index, bead.role, closed=bead.closed)
    events: list[Event] = [
        *before,
        replace(
            begin,
            stop_lead=max(stop, 0.0),
            start_lead=0.0 if lead is None else round(length(lead), LEAD_DIGITS),
        ),
        *start,
        moves(path, up),
        *([] if on is not None else [StopFlow()]),
        BeadEnd(),
    ]
    if after is not None:
        mark = _begin(bead, index + 1, after.role, closed=False)
        events.append(replace(mark, laid=after.laid and not after.steps))
        if on is not None:
            events += [moves(on, [1.0 - share for share in up]), StopFlow()]
        if rest is not None:
            events.append(PassMoves(path=rest, z=z, feed=feed))
        events.append(BeadEnd())
    return events


def _tapered(path: ArcPath, shares: Sequence[float], lap: float) -> tuple[ArcPath, tuple[float, ...]]:
    """A path with joints where the flow steps along its first `lap` mm, and the share of the full flow on each move."""
    steps = lap * np.arange(1, len(shares) + 1) / len(shares)
    cut = jointed(path, steps)
    middle = np.cumsum(lengths(cut)) - lengths(cut) / 2
    row = np.searchsorted(steps, middle)
    return cut, tuple(np.append(shares, 1.0)[row].tolist())


def _begin(bead: Bead, index: int, role: Role | PassRole, *, closed: bool) -> BeadBegin:
    """The mark that opens a bead, or a pass beside it."""
    return BeadBegin(
        index=index,
        role=role,
        rank=bead.rank,
        loop=bead.loop,
        hole=bead.hole,
        offset=bead.offset,
        width=bead.width,
        height=bead.height,
        closed=closed,
        middle=bead.middle and role == bead.role,
    )
