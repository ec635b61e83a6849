"""A program as it was read: motion, waits, structured comments, broken rules."""

from __future__ import annotations

from dataclasses import dataclass

from beadwright.verify._moves import Moves
from beadwright.verify._told import Told

MAX_FAULTS_OF_A_RULE = 50


@dataclass(frozen=True, slots=True)
class Fault:
    """A rule of the standard that a line breaks.

    Attributes
    ----------
    line : int
        Counted from 1.
    rule, text : str
        A short name and a sentence.
    measured, allowed : float or None
        Where the rule has a limit, mm.
    strict : bool
        False where the standard allows it, but it is not what one wants or not followed here.
    """

    line: int
    rule: str
    text: str
    measured: float | None = None
    allowed: float | None = None
    strict: bool = True


@dataclass(frozen=True, slots=True)
class Standstill:
    """A wait: G4, a stop for a hand, or the extruder's axis alone.

    Attributes
    ----------
    line : int
    what : str
        Word that waits.
    seconds : float
        nan where it lasts until somebody acts.
    flow : bool
        Whether the extruder runs.
    feed : float
        mm/s in force, 0 before any.
    at : (float, float, float)
        Place, mm.
    """

    line: int
    what: str
    seconds: float
    flow: bool
    feed: float
    at: tuple[float, float, float]
    advance: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """A program as it was read.

    Attributes
    ----------
    moves : Moves
    standstills : tuple of Standstill
    told : Told
        Its structured comments.
    faults : tuple of Fault
        At most `MAX_FAULTS_OF_A_RULE` of each rule; `counts` has how many there were.
    counts : dict
        Faults by rule.
    state : dict
        Modes at the end: G codes times ten by group, ``flow``, ``coolant``.
    units : tuple of float
        mm a unit of each motion's words, without repetition.
    unit_line : int
        First line with a motion, 0 if there is none.
    lines : int
        Of the text.
    """

    moves: Moves
    standstills: tuple[Standstill, ...]
    told: Told
    faults: tuple[Fault, ...]
    counts: dict[str, int]
    state: dict[str, int | bool]
    units: tuple[float, ...]
    unit_line: int
    lines: int


@dataclass(frozen=True, slots=True)
class FlowWords:
    """Which words switch the extruder, and its axis, if it has one.

    Attributes
    ----------
    on, off : str or None
        Words as in a program, ``M3``; None: those of the program's own comments, else M3 or M4, and M5.
    axis : str
        Letter of an axis whose advance is flow; "" for none.
    """

    on: str | None = None
    off: str | None = None
    axis: str = ""
