"""A program's text against the part, judged by a reader of its own and the CAD kernel's own section.

Shares no code with what it judges. Lengths in mm, time in s, angles in rad.
"""

from beadwright.verify._bed import check_heights
from beadwright.verify._copies import placements, set_up, told_copies
from beadwright.verify._deposit import Deposit, DepositLayer
from beadwright.verify._layer import Job, Measured, measure_layer
from beadwright.verify._moves import Moves
from beadwright.verify._options import FOREIGN_TOLERANCE, VerifyOptions
from beadwright.verify._reader import read
from beadwright.verify._reading import Fault, FlowWords, Reading, Standstill
from beadwright.verify._result import LayerResult, Noted, Outline, Run, Spread, Verification
from beadwright.verify._told import Told, told_head
from beadwright.verify._verify import verify

__all__ = [
    "FOREIGN_TOLERANCE",
    "Deposit",
    "DepositLayer",
    "Fault",
    "FlowWords",
    "Job",
    "LayerResult",
    "Measured",
    "Moves",
    "Noted",
    "Outline",
    "Reading",
    "Run",
    "Spread",
    "Standstill",
    "Told",
    "Verification",
    "VerifyOptions",
    "check_heights",
    "measure_layer",
    "placements",
    "read",
    "set_up",
    "told_copies",
    "told_head",
    "verify",
]
