"""Devices at their moments, and the rule that nothing halts the axes inside a bead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from beadwright.errors import SettingsError
from beadwright.program._events import (
    BeadBegin,
    BeadEnd,
    BeadMoves,
    Dwell,
    Event,
    LayerBegin,
    LayerEnd,
    PassMoves,
    StartFlow,
    Stop,
    StopFlow,
    Switch,
    Traverse,
)
from beadwright.program._program import LayerProgram
from beadwright.settings import Device, Moment


def with_devices(program: LayerProgram, devices: Sequence[Device]) -> LayerProgram:
    """A layer with every device switched at its moments, in the order of the table.

    At the start of a bead a device is switched before the extruder starts, at its end after it stopped; at a
    closure just before the extruder stops.
    """
    if not devices:
        return program
    events: list[Event] = []
    closed, flowing = False, program.begin.carried
    for event in program.events:
        match event:
            case BeadBegin() if not flowing:
                closed = event.closed
            case StartFlow():
                flowing = True
            case StopFlow():
                flowing = False
            case _:
                pass
        # A wait with the extruder on primes it: that is no pause.
        before, after = (
            (None, None) if flowing and isinstance(event, Dwell) else _moments(event, closed=closed)
        )
        events += [*_switches(devices, before), event, *_switches(devices, after)]
    return replace(program, events=tuple(events))


def _moments(event: Event, *, closed: bool) -> tuple[Moment | None, Moment | None]:
    """The moments just before and just after an event."""
    match event:
        case LayerBegin():
            return None, "layer begin"
        case LayerEnd():
            return "layer end", None
        case Traverse():
            return "traverse begin", "traverse end"
        case StartFlow():
            return "bead start", None
        case StopFlow():
            return "closure" if closed else None, "bead end"
        case Dwell() | Stop():
            return "pause begin", "pause end"
        case _:
            return None, None


def _switches(devices: Sequence[Device], moment: Moment | None) -> Iterator[Switch]:
    """Switching at a moment: first what goes off, then what goes on."""
    if moment is None:
        return
    for on in (False, True):
        for device in devices:
            if moment in (device.on_at if on else device.off_at):
                yield switch(device, on=on)


def switch(device: Device, *, on: bool) -> Switch:
    """The event that switches a device."""
    halt = device.halt_time if device.motion == "halts" else 0.0
    return Switch(device=device.name, on=on, lines=device.on if on else device.off, halt=halt)


def check_halts(program: LayerProgram, *, start: float, stop: float) -> None:
    """Check that nothing halts the axes inside a bead, where the extruder would go on in one place.

    Parameters
    ----------
    program : LayerProgram
    start, stop : float
        How long the axes stand for the extruder's start and stop, s.

    Raises
    ------
    SettingsError
        At the first event that does; the message names it.
    """
    bead, flowing, moved, leads = -1, program.begin.carried, False, False
    for place, event in enumerate(program.events):
        halt = 0.0
        match event:
            case BeadBegin():
                bead, moved, leads = event.index, False, event.stop_lead > 0
            case BeadEnd():
                bead = -1
            case BeadMoves():
                moved = True
            case StartFlow():
                flowing, halt = True, start if moved else 0.0
            case StopFlow():
                flowing = False
                halt = stop if leads or _moves_again(program.events[place:]) else 0.0
            case Switch():
                halt = event.halt if flowing else 0.0
            case _:
                pass
        # Between the marks of beads the extruder runs where one goes on from the other.
        if halt > 0 and (bead >= 0 or isinstance(event, Switch)):
            where = f"inside bead {bead}" if bead >= 0 else "between two layers of a rising bead"
            raise SettingsError(
                f"layer {program.begin.index}: {_name(event)} would stop the axes for {halt:g} s {where}"
                " with the extruder on; switch it at the start or end of the bead, or by words that do not halt"
            )


def _moves_again(events: Sequence[Event]) -> bool:
    """Whether the bead goes on after its first event here."""
    for event in events:
        if isinstance(event, BeadEnd):
            return False
        if isinstance(event, (BeadMoves, PassMoves)):
            return True
    return False


def _name(event: Event) -> str:
    if isinstance(event, Switch):
        return f"device {event.device}, {'on' if event.on else 'off'},"
    return "flow_start" if isinstance(event, StartFlow) else "flow_stop"
