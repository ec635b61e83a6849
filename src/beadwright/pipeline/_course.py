"""From a layer's events to what the machine really does: devices, planned stops, speeds; and how far it reaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, bounding_box
from beadwright.numeric import Finding
from beadwright.pipeline._kept import Aside, Kept
from beadwright.post import Dialect, piece_boxes
from beadwright.program import (
    Approach,
    BeadBegin,
    BeadMoves,
    Departure,
    Event,
    Halt,
    LayerProgram,
    PassMoves,
    Traverse,
    check_halts,
    passing_over,
    with_devices,
)
from beadwright.settings import Machine, PlannedStop, Resolved

Floats = npt.NDArray[np.float64]

# Arcs are cut into pieces of this turn, rad, before they are held against boxes: half a percent of the radius.
FINE = np.pi / 32
# Of a layer's reach without its boxes and ways: an object and five arrays, bytes.
BARE = 1_000

WHY = {
    "insert": "put in the insert",
    "measure": "measure the built height",
    "refill": "fill the hopper",
    "shift": "hand over the shift",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reach:
    """How far one layer's moves go, program coordinates, mm.

    Attributes
    ----------
    layer : int
    low, high : (3,) float
        Least and greatest of all places.
    least_traverse : float
        Least height of a traverse; infinite without one.
    moves : (n, 2, 3) float
        Least and greatest corner of the box of each bead or of each of its moves.
    purges : (k, 2, 3) float
        Likewise of each purge, off the part.
    traverses : (m, 2, 3) float
        Start and end of each straight traverse.
    feeds : (2,) float
        Least and greatest feed along beads, mm/s; empty range without a bead.
    """

    layer: int
    low: Floats
    high: Floats
    least_traverse: float
    moves: Floats
    purges: Floats
    traverses: Floats
    feeds: tuple[float, float]

    def room(self) -> int:
        """About what it takes of memory, bytes."""
        return BARE + self.moves.nbytes + self.purges.nbytes + self.traverses.nbytes


@dataclass(slots=True)
class Course:
    """State while layers follow one another: stops that are still to come, and how far the layers reach."""

    resolved: Resolved
    dialect: Dialect
    reaches: Kept[Reach]
    waiting: list[PlannedStop] = field(default_factory=list)
    made: list[tuple[int, PlannedStop]] = field(default_factory=list)
    mass: float = 0.0
    before: float = 0.0
    area: float = 0.0
    over: float = 0.0

    @classmethod
    def of(cls, resolved: Resolved, dialect: Dialect, aside: Aside, over: float = 0.0) -> Course:
        """At the start of a plan; ways from and to other places pass at the height `over` or above, mm."""
        return cls(
            resolved=resolved,
            dialect=dialect,
            reaches=Kept(aside, Reach.room),
            waiting=list(resolved.settings.stop),
            area=resolved.settings.bead_area(resolved.settings.widest()),
            over=over,
        )

    def stop(self, layer: int, time: float) -> Halt | None:
        """The stop that is due before a layer that begins at a time (s), of all planned stops together."""
        due = [stop for stop in self.waiting if self._is_due(stop, layer, self.before + time)]
        if not due:
            return None
        machine = self.resolved.machine
        x, y, _ = machine.park_place()
        self.made += [(layer, stop) for stop in due]
        self.waiting = [stop for stop in self.waiting if stop not in due]
        return Halt(x=x, y=y, texts=_told(due, machine))

    def goes_on(self, below: Sequence[tuple[int, float, float]]) -> None:
        """That layers are printed already: index, time (s) and mass (kg) of each; stops before one of them are past."""
        for layer, time, mass in below:
            self.waiting = [stop for stop in self.waiting if not self._is_due(stop, layer, self.before)]
            self.before += time
            self.mass += mass

    def pass_over(self, mass: float) -> None:
        """A layer of some mass (kg) that is there already."""
        self.mass += mass

    def layer(self, program: LayerProgram, *, mass: float) -> LayerProgram:
        """What the machine does in a layer that lays a mass (kg).

        Raises
        ------
        SettingsError
            If something would halt the axes inside a bead.
        """
        machine = self.resolved.machine
        program = _within_vertical(program, machine.speeds.vertical)
        program = passing_over(program, self.over, first=not any(len(each.moves) for each in self.reaches))
        program = with_devices(program, machine.device)
        events = self.dialect.events
        check_halts(program, start=events.flow_start.halt, stop=events.flow_stop.halt)
        self.mass += mass
        self.reaches.append(reach_of(program, each=bool(machine.volume.keep_out)))
        return program

    def _is_due(self, stop: PlannedStop, layer: int, time: float) -> bool:
        if stop.layer is not None:
            return layer >= stop.layer
        if stop.time is not None:
            return time >= stop.time
        return stop.mass is not None and self.mass >= stop.mass

    def notes(self) -> tuple[str, ...]:
        """What the program says at its top of parts that stand beside it."""
        if not self.over:
            return ()
        return (
            f"OTHER PARTS STAND ON THE PLATFORM: the ways from and to the park place pass at Z {self.over:g} mm; start"
            " with the nozzle above that",
        )

    def findings(self) -> tuple[Finding, ...]:
        """Stops that no layer was late enough for, and what a halting start may leave in one place."""
        found = [
            Finding(
                code="stop-not-reached",
                level="warning",
                text=f"a planned stop, {stop.why}, lies after the last layer and is not in the program",
            )
            for stop in self.waiting
        ]
        halt = self.dialect.events.flow_start.halt
        if halt > 0 and self.reaches:
            found.append(
                Finding(
                    code="halt-at-start",
                    level="note",
                    measured=self.area * self.resolved.settings.feed * halt,
                    unit="mm3",
                    text=f"the axes may stand for {halt:g} s after the word that starts the extruder; as much as this,"
                    " less what its dead time takes, then lies at the start of every bead: the dialect says how long",
                )
            )
        return tuple(found)


def _told(stops: Sequence[PlannedStop], machine: Machine) -> tuple[str, ...]:
    """What the operator is told at a stop."""
    texts = [f"STOP {WHY[stop.why]}" + (f", {stop.text}" if stop.text else "") for stop in stops]
    extruder = machine.extruder
    if extruder.purge_place is not None:
        texts.append(f"the program then purges {extruder.purge:g} kg: keep its place clear")
        return tuple(texts)
    texts.append(
        f"after more than {extruder.idle_limit:g} s purge {extruder.purge:g} kg off the part before going on"
    )
    return tuple(texts)


def _within_vertical(program: LayerProgram, greatest: float) -> LayerProgram:
    """Feed moves up and down no faster than the machine moves in Z."""
    if all(e.feed <= greatest for e in program.events if isinstance(e, (Approach, Departure))):
        return program
    events: tuple[Event, ...] = tuple(
        replace(e, feed=min(e.feed, greatest)) if isinstance(e, (Approach, Departure)) else e
        for e in program.events
    )
    return replace(program, events=events)


def reach_of(program: LayerProgram, *, each: bool) -> Reach:
    """How far the moves of a layer go; `each` keeps a box of every move, else one of a bead."""
    runs: dict[bool, list[tuple[ArcPath, Floats]]] = {False: [], True: []}
    ways = []
    feeds: list[float] = []
    purging = False
    at: tuple[float, float, float] | None = None
    for event in program.events:
        match event:
            case Traverse():
                to = (event.x, event.y, event.z)
                ways.append(((at[0], at[1], event.z) if at is not None else to, to))
                at = to
            case BeadBegin():
                purging = event.purge
            case BeadMoves() | PassMoves():
                climb = event.climb
                height = np.full(len(event.path.bulge) + 1, event.z) if climb is None else climb.height
                runs[purging].append((event.path, height))
                end = event.path.points[0 if event.path.closed else -1]
                at = (float(end[0]), float(end[1]), float(height[-1]))
                own = (isinstance(event, BeadMoves) and event.feeds) or (event.feed,)
                feeds += own if climb is None or climb.feeds is None else climb.feeds.tolist()
            case _:
                pass
    moves, off = ((_boxes if each else _whole_boxes)(runs[purge]) for purge in (False, True))
    traverses = np.array(ways, dtype=float).reshape(-1, 2, 3)
    every = np.concatenate([moves.reshape(-1, 3), off.reshape(-1, 3), traverses.reshape(-1, 3)])
    z = program.begin.z
    return Reach(
        layer=program.begin.index,
        low=every.min(axis=0) if len(every) else np.array([0.0, 0.0, z]),
        high=every.max(axis=0) if len(every) else np.array([0.0, 0.0, z]),
        least_traverse=float(traverses[:, :, 2].min(initial=np.inf)),
        moves=moves,
        purges=off,
        traverses=traverses,
        feeds=(min(feeds, default=np.inf), max(feeds, default=0.0)),
    )


def _whole_boxes(runs: Sequence[tuple[ArcPath, Floats]]) -> Floats:
    """Boxes of whole paths with heights at the ends of their moves, (n, 2, 3)."""
    boxes = [np.zeros((0, 2, 3))]
    for path, height in runs:
        low, high = bounding_box(path)
        boxes.append(np.array([[[*low, height.min()], [*high, height.max()]]]))
    return np.concatenate(boxes)


def _boxes(runs: Sequence[tuple[ArcPath, Floats]]) -> Floats:
    """Boxes of the pieces of paths, each as high as its move, (n, 2, 3)."""
    if not runs:
        return np.zeros((0, 2, 3))
    row, boxes = piece_boxes([path for path, _ in runs], FINE)
    first, last = (
        np.concatenate([height[own] for _, height in runs])[row] for own in (slice(-1), slice(1, None))
    )
    heights = np.stack([np.minimum(first, last), np.maximum(first, last)], axis=1)
    return np.concatenate([boxes, heights[:, :, None]], axis=2)
