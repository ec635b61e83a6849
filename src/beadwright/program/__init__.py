"""What a machine can be told, in which order: events.

Lengths in mm, machine coordinates; feeds in mm/s.
"""

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
    PassRole,
    StartFlow,
    StopFlow,
    Traverse,
)
from beadwright.program._order import ORDER, State, check_order
from beadwright.program._program import (
    AS_READ,
    Head,
    LayerProgram,
    Pass,
    Placement,
    Program,
    Setting,
    Wait,
    layer_program,
)

__all__ = [
    "AS_READ",
    "ORDER",
    "Approach",
    "BeadBegin",
    "BeadEnd",
    "BeadMoves",
    "Departure",
    "Dwell",
    "Event",
    "Head",
    "LayerBegin",
    "LayerEnd",
    "LayerProgram",
    "Pass",
    "PassMoves",
    "PassRole",
    "Placement",
    "Program",
    "Setting",
    "StartFlow",
    "State",
    "StopFlow",
    "Traverse",
    "Wait",
    "check_order",
    "layer_program",
]
