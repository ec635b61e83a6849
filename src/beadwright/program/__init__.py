"""What a machine can be told, in which order: events.

Lengths in mm, machine coordinates; feeds in mm/s.
"""

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
    Switch,
    Traverse,
)
from beadwright.program._head import AS_READ, CopyHead, Head, Placement, Setting
from beadwright.program._order import ORDER, State, check_order
from beadwright.program._over import passing_over
from beadwright.program._program import (
    Follow,
    LayerProgram,
    Program,
    layer_program,
)
from beadwright.program._switches import check_halts, switch, with_devices

__all__ = [
    "ALONE",
    "AS_READ",
    "LEAD_DIGITS",
    "ORDER",
    "Approach",
    "BeadBegin",
    "BeadEnd",
    "BeadMoves",
    "Before",
    "Carry",
    "Climb",
    "CopyHead",
    "Departure",
    "Dwell",
    "Event",
    "Follow",
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
    "Purge",
    "Setting",
    "StartFlow",
    "State",
    "Stop",
    "StopFlow",
    "Switch",
    "Traverse",
    "Wait",
    "Way",
    "check_halts",
    "check_order",
    "entered_at",
    "layer_program",
    "left_at",
    "passing_over",
    "switch",
    "with_devices",
]
