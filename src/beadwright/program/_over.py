"""Ways that pass over what stands already beside the part: parts that an earlier program printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from beadwright.program._events import Approach, BeadBegin, Dwell, Event, Stop, Traverse
from beadwright.program._program import LayerProgram


def passing_over(program: LayerProgram, height: float, *, first: bool) -> LayerProgram:
    """The layer with its ways from and to other places raised to a height, mm, where they are lower.

    Those are the ways before the first bead, if the program begins with this layer or the nozzle waits or purges
    off the part before it. Above the bead's start the nozzle comes down again.

    Parameters
    ----------
    program : LayerProgram
    height : float
    first : bool
        Whether the program begins with this layer.
    """
    end = _first_bead(program.events)
    before = program.events[:end]
    ways = [event for event in before if isinstance(event, Traverse)]
    waits = any(isinstance(event, (Dwell, Stop, BeadBegin)) for event in before)
    if not ways or not (first or waits) or all(way.z >= height for way in ways):
        return program
    raised: list[Event] = [
        replace(event, z=max(event.z, height)) if isinstance(event, Traverse) else event for event in before
    ]
    if end < len(program.events) and isinstance(program.events[end], Approach):
        raised.append(ways[-1])
    return replace(program, events=(*raised, *program.events[end:]), top=max(program.top, height))


def _first_bead(events: Sequence[Event]) -> int:
    """Place of the way down to the first bead that is no purge; without one the end, if there is a stop."""
    first = next((i for i, e in enumerate(events) if isinstance(e, BeadBegin) and not e.purge), None)
    if first is None:
        return len(events) if any(isinstance(event, Stop) for event in events) else 0
    return max((i for i, event in enumerate(events[:first]) if isinstance(event, Approach)), default=0)
