"""What a machine can be told: one frozen event each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from beadwright.beads import Role
from beadwright.curves import ArcPath
from beadwright.numeric import Budget

PassRole = Literal["approach", "departure", "lap", "wiping"]
"""Roles of moves beside the beads: a lap goes on over a closed bead's own start while the flow fades, or, extruder on,
lays it over on purpose; a wiping pass goes back over an open bead's end, extruder off; an approach with the extruder on
is a run-in, back over an open bead's first stretch while the flow comes up, or a purge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerBegin:
    """A layer opens; heights in mm, area mm2. The rounding of `budget` is 0 until the text is made.

    Of a layer that is `resumed` an earlier program laid a part.
    `mapped`: its beads follow a measured platform. `carried`: its first bead goes on from the last one of the layer
    below, with the extruder on.
    """

    index: int
    z0: float
    z: float
    height: float
    section_z: tuple[float, ...]
    rule: str
    stock: float
    area: float
    perimeter: float
    loops: int
    budget: Budget
    resumed: bool = False
    mapped: bool = False
    carried: bool = False


@dataclass(frozen=True, slots=True)
class LayerEnd:
    """A layer is done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BeadBegin:
    """A bead opens: what it is (see `Bead`); lengths in mm. `index` counts through the whole program.

    The extruder stops `stop_lead` before the bead's end: the rest of its centreline opens the pass that follows. It
    starts `start_lead` before the bead's start: on a run-in of that length, a bead of role approach just before.
    A `purge` is no bead of the part: what it lays is thrown away. A lap that is `laid` adds a bead on top of its
    own start. A wall bead along the `middle` of a thin wall keeps no distance from its boundary.
    """

    index: int
    role: Role | PassRole
    rank: int
    loop: int
    hole: bool
    offset: float
    width: float
    height: float
    closed: bool
    stop_lead: float = 0.0
    start_lead: float = 0.0
    purge: bool = False
    laid: bool = False
    middle: bool = False


@dataclass(frozen=True, slots=True)
class BeadEnd:
    """A bead is done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Traverse:
    """Straight move at traverse rate, extruder off: first to height ``z``, then across to ``x, y``, mm."""

    x: float
    y: float
    z: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Dwell:
    """The nozzle waits where it stands, extruder off, ``time`` in s."""

    time: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """Feed move straight down to the bead's height ``z``, mm, extruder off; feed in mm/s."""

    z: float
    feed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """Feed move straight up to the clearance height ``z``, mm, extruder off; feed in mm/s."""

    z: float
    feed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StartFlow:
    """The extruder starts; its screw speed in rpm where the program commands it."""

    rpm: float | None = None


@dataclass(frozen=True, slots=True)
class StopFlow:
    """The extruder stops."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Climb:
    """Heights along a path of m moves; on each move they run straight, on an arc with its angle.

    Attributes
    ----------
    height : (m + 1,) float
        Of the nozzle where the first move starts and where each ends, mm.
    thickness : (m + 1,) float
        Of the layer there, mm.
    bound : float
        Greatest distance of the height from the one that is wanted, mm.
    slope : float
        By how much the height that is wanted changes at most with a step aside, mm per mm.
    feeds : (m,) float or None
        Along each move, mm/s, where the flow follows the thickness by the speed.
    """

    height: npt.NDArray[np.float64]
    thickness: npt.NDArray[np.float64]
    bound: float
    slope: float
    feeds: npt.NDArray[np.float64] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeadMoves:
    """The feed moves of one bead along `path` at height ``z``, mm, or as `climb` has it; feed in mm/s.

    Where its width varies, ``path.support`` of a move is its row in `widths`, mm, and in `rpms`, the screw speeds
    where the program commands them, or in `feeds`, mm/s, where the screw turns evenly. Where its flow tapers, `shares`
    are those of the full flow along each move.
    """

    path: ArcPath
    z: float
    feed: float
    widths: tuple[float, ...] = ()
    rpms: tuple[float, ...] = ()
    feeds: tuple[float, ...] = ()
    shares: tuple[float, ...] = ()
    climb: Climb | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PassMoves:
    """Feed moves beside the beads, extruder off, along `path` at ``z``, mm, or as `climb` has it; feed in mm/s."""

    path: ArcPath
    z: float
    feed: float
    climb: Climb | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """A device goes on or off, by lines of the program; the axes stand for `halt` s meanwhile."""

    device: str
    on: bool
    lines: tuple[str, ...]
    halt: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """The program waits for the operator, who is told some texts."""

    texts: tuple[str, ...]


Event = (
    LayerBegin
    | LayerEnd
    | BeadBegin
    | BeadEnd
    | Traverse
    | Dwell
    | Approach
    | Departure
    | StartFlow
    | StopFlow
    | BeadMoves
    | PassMoves
    | Switch
    | Stop
)
