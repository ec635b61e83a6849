"""Walls of one bead that rise steadily: layers that become one bead, and how it climbs through them.

The first layer of such a bead lies flat. From its end on the nozzle climbs by one layer height a turn, so what it lays
grows from nothing to the whole height within the first turn, and a level turn at the top, from the whole height to
nothing, makes the end flat. So all turns together lay just what the layers would have laid.

Where every millimetre of way gets as much melt, whatever the nozzle's height, nothing can grow from nothing. There the
climb begins where it is half a layer thick, and ends likewise: what is laid too much from there on is what lacks
before, and no place gets a thickness beside half to one and a half of the layer's.

A level bead follows the section half a layer height under the nozzle, in the middle of its layer, and so does a
rising one, wherever it is. So the part is cut at so many heights a turn that what the wall leans between two of them
stays within the tolerance; the first turn begins where the flat layer ends, and the level one at the top ends the wall.

Layers, paths and turns lie in `Kept` rows, so that a tall wall takes no more memory than layers that are apart.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from beadwright.beads import Arranged, Bead, Level, Trail, stretches
from beadwright.curves import ArcPath, joined, length
from beadwright.layers import LayerPlan
from beadwright.numeric import Budget, Finding
from beadwright.pipeline._kept import Aside, Kept
from beadwright.pipeline._layer_work import LayerWork
from beadwright.pipeline._risen import RisenLayer
from beadwright.pipeline._rising_turns import Begins, Strip, Turn, strip
from beadwright.program import ALONE, Carry
from beadwright.settings import Resolved

Floats = npt.NDArray[np.float64]

# Parts of a section's bound; that of rounding is the text's.
PARTS = ("model", "section", "fit", "region", "corner")
# About what a move of a path takes, and an array beside its numbers, bytes.
A_MOVE, A_ROW = 40, 2000
# Layers, paths and turns may each take such a part of the memory that layers that are done may.
QUARTER = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Followed:
    """A closed path that a turn follows, and what the section that gave it may be off."""

    path: ArcPath
    budget: Budget

    def room(self) -> int:
        """About what it takes of memory, bytes."""
        return A_ROW + A_MOVE * len(self.path.bulge)


def room(own: Strip) -> int:
    """About what a turn as it is laid takes of memory, bytes."""
    return A_ROW + A_MOVE * len(own.path.bulge)


@dataclass(slots=True, eq=False)
class Run:
    """Layers that become one bead.

    Attributes
    ----------
    plans : tuple of LayerPlan
        Their heights, from the lowest up.
    role : str
        Of their beads.
    turns : tuple of Turn
        In their order: one for each layer but the flat one, and the level one at the top.
    begins : {"flat", "on flat", "on ramp"}
        With a flat layer of its own; or what the first layer lies on, which is printed already.
    seam : (float, float) or None
        Where what is printed already ends, mm.
    even : bool
        Whether every place of it gets as much melt.
    paths : tuple of int
        Row of the first path that was cut for each turn, and that behind the last.
    first_strip : int
        Row of the first of its turns as it is laid; -1 before.
    fastest : float
        Greatest speed along it, mm/s.
    bounds : list of float
        Of each turn as it is laid: how far it may be from where its own height wants it, mm.
    """

    plans: tuple[LayerPlan, ...]
    role: str
    turns: tuple[Turn, ...]
    begins: Begins
    seam: tuple[float, float] | None = None
    even: bool = False
    paths: tuple[int, ...] = ()
    first_strip: int = -1
    fastest: float = math.inf
    bounds: list[float] = field(default_factory=list)

    @property
    def first(self) -> int:
        """Index of the lowest layer."""
        return self.plans[0].index

    @property
    def last(self) -> int:
        """Index of the topmost layer."""
        return self.plans[-1].index

    def plan(self, layer: int) -> LayerPlan:
        """Heights of a layer of it."""
        return self.plans[layer - self.first]

    def climbs(self, layer: int) -> bool:
        """Whether a layer of it is no level one."""
        return layer > self.first or self.begins != "flat"

    def own(self, layer: int) -> list[int]:
        """Which turns are laid in a layer."""
        row = layer - self.turns[0].layer
        return [row, row + 1] if layer == self.last else [row]

    def carry(self, layer: int) -> Carry:
        """How a layer hangs together with those beside it."""
        apart = self.first + (1 if self.begins == "flat" and self.even else 0)
        if layer < apart:
            return ALONE
        return Carry(begins=layer > apart, goes_on=layer < self.last, climbs=self.climbs(layer))


@dataclass(slots=True, eq=False)
class Rising:
    """State while layers are laid one after the other: the runs, and what they are made of.

    Attributes
    ----------
    works : Kept of LayerWork
        All layers of the plan.
    runs : tuple of Run
    cut : Kept of Followed
        What was cut for their turns.
    resolved : Resolved
    flow : {"speed-tied", "s-word", "axis"}
        How the extruder is commanded.
    strips : Kept of Strip
        Turns of the runs that have begun.
    told : tuple of Finding
        Where it was asked for and cannot be.
    """

    works: Kept[LayerWork]
    runs: tuple[Run, ...]
    cut: Kept[Followed]
    resolved: Resolved
    flow: str
    strips: Kept[Strip]
    told: tuple[Finding, ...] = ()

    @classmethod
    def of(cls, works: Kept[LayerWork], aside: Aside, resolved: Resolved, flow: str) -> Rising:
        """Without any run yet."""
        paths: Kept[Followed] = Kept(aside, Followed.room, part=QUARTER)
        return cls(
            works=works,
            runs=(),
            cut=paths,
            resolved=resolved,
            flow=flow,
            strips=Kept(aside, room, part=QUARTER),
        )

    def layer(self, work: LayerWork) -> RisenLayer | None:
        """A layer that climbs."""
        index = work.layer.plan.index
        run = self._run(index)
        if run is None or not run.climbs(index):
            return None
        if run.first_strip < 0:
            assert run.seam is not None
            self._lay_out(run, run.seam)
        rows = run.own(index)
        mine = [self.strips[run.first_strip + row] for row in rows]
        path, height, thick = mine[0].path, mine[0].height, mine[0].thickness
        for each in mine[1:]:
            path = joined(path, each.path)
            height = np.concatenate([height, each.height[1:]])
            thick = np.concatenate([thick, each.thickness[1:]])
        (bead,) = work.beads
        return RisenLayer(
            bead=replace(
                bead, path=path, role="wall", height=work.layer.plan.height, middle=bead.role == "medial"
            ),
            height=height,
            thickness=thick,
            carry=run.carry(index),
            fastest=run.fastest,
            by_speed=self.resolved.machine.speeds.greatest if self.flow == "s-word" else None,
            even=run.even,
            kind=self.resolved.settings.bead_section,
            bound=max(each.bound for each in mine),
            planes=sum(run.paths[row + 1] - run.paths[row] for row in rows),
            level=bead.path,
        )

    def carry(self, index: int) -> Carry:
        """How a layer hangs together with those beside it."""
        run = self._run(index)
        return ALONE if run is None else run.carry(index)

    def fastest(self, index: int) -> float:
        """Greatest speed of a layer, mm/s."""
        run = self._run(index)
        return math.inf if run is None or run.carry(index) == ALONE else run.fastest

    def begin(self, index: int, beads: tuple[Bead, ...]) -> tuple[Bead, ...]:
        """The beads of a level layer; where a run begins with it the run is laid out from there.

        What goes on without a stop is opened.
        """
        run = self._run(index)
        if run is None or run.climbs(index):
            return beads
        (bead,) = beads
        self._lay_out(run, bead.start)
        if run.even:
            return beads
        closed = bead.path
        opened = replace(closed, points=np.concatenate([closed.points, closed.points[:1]]), closed=False)
        return (replace(bead, path=opened),)

    def budget(self, work: LayerWork) -> Budget:
        """Bounds of a layer that climbs."""
        run = self._run(work.layer.plan.index)
        assert run is not None
        rows = run.own(work.layer.plan.index)
        found = [work.layer.budget]
        for row in rows:
            found += [self.cut[at].budget for at in range(run.paths[row], run.paths[row + 1])]
        worst = {name: max(getattr(each, name) for each in found) for name in PARTS}
        worst["section"] += max(run.bounds[row] for row in rows)
        return Budget(**worst)

    def _run(self, index: int) -> Run | None:
        """The run that a layer belongs to."""
        return next((run for run in self.runs if run.first <= index <= run.last), None)

    def _levels(self, run: Run) -> Iterator[tuple[int, Level]]:
        """Closed paths of all turns, each with its turn."""
        beads = self.works.each("beads")
        below = self.works[0].layer.plan.index
        for at, turn in enumerate(run.turns):
            paths = [self.cut[row].path for row in range(run.paths[at], run.paths[at + 1])]
            for level in turn.levels(paths or [beads[turn.layer - below][0].path]):
                yield at, level

    def _lay_out(self, run: Run, start: tuple[float, float]) -> None:
        """Make all turns of a run, which begins where a bead ends."""
        run.first_strip = len(self.strips)
        of_turn, levels = _apart(self._levels(run))
        goes_on = run.begins == "flat" and not run.even
        laid = zip(of_turn, stretches(levels, start, goes_on=goes_on), strict=True)
        steep, least = 0.0, math.inf
        for at, pieces in itertools.groupby(laid, key=lambda each: each[0]):
            own = strip(run.turns[at], [piece for _, piece in pieces], self.resolved.settings.height)
            self.strips.append(own)
            run.bounds.append(own.bound)
            steep, least = max(steep, own.slope), min(least, length(own.path))
        run.fastest = self._fastest(steep, least)

    def _fastest(self, steep: float, least: float) -> float:
        """Greatest speed along a run, mm/s: Z keeps up; at one screw speed every turn takes as long as a layer must."""
        machine, settings = self.resolved.machine, self.resolved.settings
        fastest = machine.speeds.vertical / steep if steep > 0 else math.inf
        if self.flow == "s-word" and settings.layer_time.least:
            fastest = min(fastest, least / settings.layer_time.least)
        return fastest


def _apart(rows: Iterator[tuple[int, Level]]) -> tuple[Iterator[int], Iterator[Level]]:
    """Turns and levels as two iterators, of which the first runs behind the second by little."""
    one, other = itertools.tee(rows)
    return (at for at, _ in one), (level for _, level in other)


def arranged_as(beads: tuple[Bead, ...], trail: Trail) -> Arranged:
    """The bead of a layer as it is, in its place."""
    ends = np.array([bead.end for bead in beads])
    return Arranged(
        beads=beads,
        trail=Trail(end=ends[-1], starts=(ends, *trail.starts)[: max(len(trail.starts), 1)]),
        bound=0.0,
        findings=(),
    )
