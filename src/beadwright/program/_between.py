"""What happens between beads: waits, stops, purging, passes, and the ways of traverses."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from beadwright.beads import Bead
from beadwright.curves import ArcPath
from beadwright.program._events import PassRole

# Digits of a lead's length in mm, far below what is printed of a place.
LEAD_DIGITS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """A wait off the part: s, and where in the plane, mm."""

    time: float
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Halt:
    """A planned stop before a layer: where the nozzle waits (mm), and what the operator is told, line by line."""

    x: float
    y: float
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Purge:
    """What is purged off the part before the extruder goes on: a bead of its own.

    Attributes
    ----------
    path : ArcPath
        mm.
    z : float
        Of the nozzle, mm.
    width, height : float
        Of a bead with the same flow, mm.
    feed : float
        mm/s.
    rpm : float or None
        Screw speed, where the program commands it.
    """

    path: ArcPath
    z: float
    width: float
    height: float
    feed: float
    rpm: float | None = None


Before = Wait | Halt | Purge
"""What may come before the first bead of a layer."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pass:
    """Where the nozzle goes after a bead: on its own path, mm, at the bead's height.

    Attributes
    ----------
    role : {"approach", "departure", "lap", "wiping"}
    path : ArcPath
        From the bead's end.
    stop : float
        Where the extruder stops: so far before the bead's end, or, below 0, so far after the start of this path, mm.
        0 is at the bead's end, where every machine can.
    laid : bool
        Whether what flows after the bead's end is laid on purpose, at the bead's own flow, and not what its late start
        lacks.
    steps : int
        Above 0 it tapers: in so many equal steps the flow rises along the bead's first `-stop` mm and falls along the
        same length of the pass, so that both make one full bead.
    """

    role: PassRole
    path: ArcPath
    stop: float = 0.0
    laid: bool = False
    steps: int = 0

    @property
    def lap(self) -> float:
        """Length that is laid over the bead's start, mm."""
        return -self.stop if self.laid else 0.0

    def shares(self) -> tuple[float, ...]:
        """Shares of the full flow along the bead's start, step by step; along the lap it is what is left of one."""
        return tuple((step + 0.5) / self.steps for step in range(self.steps))


@dataclass(frozen=True, slots=True, kw_only=True)
class Carry:
    """How a layer of one bead hangs together with those beside it, extruder on.

    Attributes
    ----------
    begins : bool
        Its bead goes on from the one of the layer below.
    goes_on : bool
        It goes on into the one of the layer above.
    climbs : bool
        It is no level one.
    """

    begins: bool = False
    goes_on: bool = False
    climbs: bool = False


ALONE = Carry()


def entered_at(bead: Bead, lead: ArcPath | None) -> tuple[float, float]:
    """Where the extruder starts for a bead, mm: at the start of its run-in, if it has one."""
    if lead is None:
        return bead.start
    x, y = lead.points[0].tolist()
    return x, y


Way = Callable[[tuple[float, float], tuple[float, float]], Sequence[tuple[float, float]]]
"""Places at which a traverse from one place to another bends, mm."""


def left_at(bead: Bead, after: Pass | None) -> tuple[float, float]:
    """Where the nozzle leaves a bead, mm."""
    if after is None:
        return bead.end
    x, y = after.path.points[-1].tolist()
    return x, y
