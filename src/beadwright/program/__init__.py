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
    Stop,
    StopFlow,
    Switch,
    Traverse,
)
from beadwright.program._order import ORDER, State, check_order
from beadwright.program._program import (
    AS_READ,
    CopyHead,
    Head,
    LayerProgram,
    Pass,
    Placement,
    Program,
    Setting,
    Wait,
    layer_program,
)
from beadwright.program._switches import Halt, check_halts, switch, with_devices, with_stop

__all__ = [
    "AS_READ",
    "ORDER",
    "Approach",
    "BeadBegin",
    "BeadEnd",
    "BeadMoves",
    "CopyHead",
    "Departure",
    "Dwell",
    "Event",
    "Halt",
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
    "Stop",
    "StopFlow",
    "Switch",
    "Traverse",
    "Wait",
    "check_halts",
    "check_order",
    "layer_program",
    "switch",
    "with_devices",
    "with_stop",
]
