"""What may follow what, as a table.

The nozzle is ``LIFTED`` at the clearance height, ``LOWERED`` at the bead's height with the extruder off,
``READY`` and ``LAID`` inside a bead's marks with the extruder off, ``FLOWING`` with the extruder on, ``CARRIED``
likewise between the marks of a bead and those of the lap that goes on from it, or of a run-in and its bead. ``RISING``
is between two layers with the extruder on: a bead goes on from the one into the other.
A wait in state ``FLOWING`` primes the extruder before the nozzle moves.
So no program that this table lets through extrudes in a traverse or outside a bead.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import Enum
from types import MappingProxyType

from beadwright.errors import InternalError
from beadwright.program._events import (
    Approach,
    BeadBegin,
    BeadEnd,
    BeadMoves,
    Departure,
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


class State(Enum):
    """Where a program stands between two events."""

    BETWEEN = "between layers"
    LIFTED = "lifted"
    LOWERED = "lowered"
    READY = "ready"
    FLOWING = "flowing"
    CARRIED = "carried on"
    RISING = "carried on between layers"
    LAID = "laid"


ORDER: Mapping[State, Mapping[type[Event], State]] = MappingProxyType(
    {
        State.BETWEEN: {LayerBegin: State.LIFTED},
        State.LIFTED: {
            Traverse: State.LIFTED,
            Dwell: State.LIFTED,
            Stop: State.LIFTED,
            Approach: State.LOWERED,
            LayerEnd: State.BETWEEN,
        },
        State.LOWERED: {BeadBegin: State.READY, Departure: State.LIFTED},
        State.READY: {StartFlow: State.FLOWING, PassMoves: State.LAID},
        State.FLOWING: {
            Dwell: State.FLOWING,
            BeadMoves: State.FLOWING,
            StopFlow: State.LAID,
            BeadEnd: State.CARRIED,
        },
        State.CARRIED: {BeadBegin: State.FLOWING, LayerEnd: State.RISING},
        State.RISING: {LayerBegin: State.CARRIED},
        State.LAID: {PassMoves: State.LAID, BeadEnd: State.LOWERED},
    }
)


ANYWHERE = frozenset({Switch})
"""What may stand in every layer state and changes none; `check_halts` judges whether it may stand in a bead."""


def check_order(events: Iterable[Event], *, start: State = State.BETWEEN, end: State = State.BETWEEN) -> None:
    """Check that events follow one another as `ORDER` allows, from between layers to between layers.

    Parameters
    ----------
    events : iterable of Event
    start, end : State
        Between which layers: those of a bead that goes on from layer to layer are ``RISING``.

    Raises
    ------
    InternalError
        At the first event that may not stand where it does, or if the events stop half way.

    Examples
    --------
    >>> check_order(())
    >>> check_order([LayerEnd()])
    Traceback (most recent call last):
    ...
    beadwright.errors.InternalError: event 0, LayerEnd, cannot follow in state BETWEEN
    """
    state = start
    between = {State.BETWEEN, State.RISING}
    for place, event in enumerate(events):
        if type(event) in ANYWHERE and state not in between:
            continue
        following = ORDER[state].get(type(event))
        if following is None:
            msg = f"event {place}, {type(event).__name__}, cannot follow in state {state.name}"
            raise InternalError(msg)
        state = following
    if state is not end:
        msg = f"the events end in state {state.name}"
        raise InternalError(msg)
