"""Walls of one bead that rise steadily: which layers become one bead, and how it climbs through them.

The first layer of such a bead lies flat. From its end on the nozzle climbs by one layer height a turn, so what it lays
grows from nothing to the whole height within the first turn, and a level turn at the top, from the whole height to
nothing, makes the end flat. So all turns together lay just what the layers would have laid.

A level bead follows the section half a layer height under the nozzle, in the middle of its layer, and so does a
rising one, wherever it is. So the part is cut at so many heights a turn that what the wall leans between two of them
stays within the tolerance; the first turn begins where the flat layer ends, and the level one at the top ends the wall.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from beadwright.beads import Arranged, Bead, Level, Stretch, Trail, stepped, stretches
from beadwright.brep import Steepness
from beadwright.curves import ArcPath, distances, joined, length, samples
from beadwright.numeric import Budget, Finding
from beadwright.pipeline._layer_work import LayerWork
from beadwright.pipeline._risen import RisenLayer
from beadwright.program import ALONE, Carry
from beadwright.settings import PlanSettings, Resolved

Floats = npt.NDArray[np.float64]

# Within a move the thickness changes by at most this share of the height: its flow, even along a move, is then within
# 1 % of the demand, far below what a screw is known to (common practice: 3 to 5 %).
FLOW_STEP = 0.02
# Planes that are not cut anew: a wall that leans by less than this share of the tolerance in a layer is upright.
UPRIGHT = 0.1
# Distance of the samples by which the beads of neighbouring layers are compared, mm.
PITCH = 5.0
# What doubles of some metres may be wrong by, mm.
HAIR = 1e-6
ROLES = frozenset({"contour", "wall", "medial"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One turn of a bead: heights of the nozzle and of what it lays, at its start and at its end, mm.

    Attributes
    ----------
    layer : int
        Index of the layer in which it is laid.
    z, thickness : (float, float)
    middles : (float, float)
        Heights at which the part is followed.
    count : int
        Planes at which the part is cut for it; 0: the layer's own stands for all.
    lean : float
        Bound of how far the wall goes aside with each mm of height.
    """

    layer: int
    z: tuple[float, float]
    thickness: tuple[float, float]
    middles: tuple[float, float]
    count: int = 0
    lean: float = 0.0

    def planes(self) -> list[float]:
        """Heights at which the part is cut, mm."""
        low, high = self.middles
        return [low + (k + 0.5) / self.count * (high - low) for k in range(self.count)]

    def levels(self, paths: Sequence[ArcPath]) -> list[Level]:
        """Closed paths of the turn, from the lowest up, with the part that each has of it."""
        (low, high), count = self.middles, len(paths)
        planes = self.planes() or [high]
        return [
            Level(
                path=path,
                first=k / count,
                last=(k + 1) / count,
                height=plane,
                end=low + (k + 1) / count * (high - low),
            )
            for k, (path, plane) in enumerate(zip(paths, planes, strict=True))
        ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """Layers that become one bead.

    Attributes
    ----------
    works : tuple of LayerWork
        The first of them lies flat, unless there is a `seam`.
    turns : tuple of Turn
        In their order: one for each layer but the flat one, and the level one at the top.
    cut : tuple of tuple of LayerWork
        What was cut for each turn.
    seam : (float, float) or None
        Where it goes on from a bead that is printed already, mm.
    """

    works: tuple[LayerWork, ...]
    turns: tuple[Turn, ...]
    cut: tuple[tuple[LayerWork, ...], ...] = ()
    seam: tuple[float, float] | None = None

    @property
    def climbing(self) -> tuple[LayerWork, ...]:
        """Layers that are no level one."""
        return self.works if self.seam is not None else self.works[1:]

    @property
    def first(self) -> int:
        """Index of the layer that lies flat."""
        return self.works[0].layer.plan.index

    @property
    def last(self) -> int:
        """Index of the topmost layer."""
        return self.works[-1].layer.plan.index

    def work(self, layer: int) -> LayerWork:
        """A layer of the run."""
        return self.works[layer - self.first]

    def paths(self, turn: int) -> tuple[ArcPath, ...]:
        """Closed paths of a turn, from the lowest up."""
        own = self.turns[turn]
        if not own.count:
            return (self.work(own.layer).beads[0].path,)
        return tuple(work.beads[0].path for work in self.cut[turn])

    def budget(self, turn: int) -> Budget:
        """Greatest bounds of the sections of a turn, part by part."""
        own = [self.work(self.turns[turn].layer), *(self.cut[turn] if self.cut else ())]
        names = ("model", "section", "fit", "region", "corner")
        return Budget(**{name: max(getattr(w.layer.budget, name) for w in own) for name in names})


@dataclass(slots=True, eq=False)
class Rising:
    """State while layers are laid one after the other: the runs, and the layers of those that have begun.

    Attributes
    ----------
    runs : tuple of Run
    resolved : Resolved
    flow : {"speed-tied", "s-word", "axis"}
        How the extruder is commanded.
    told : tuple of Finding
        Where it was asked for and cannot be.
    """

    runs: tuple[Run, ...]
    resolved: Resolved
    flow: str
    told: tuple[Finding, ...] = ()
    made: dict[int, RisenLayer] = field(default_factory=dict)

    def layer(self, index: int) -> RisenLayer | None:
        """A layer that climbs."""
        for run in self.runs:
            if run.first == index and run.seam is not None:
                self.made |= dict(self._laid(run, run.seam))
        return self.made.get(index)

    def carry(self, index: int) -> Carry:
        """How a layer hangs together with those beside it."""
        if index in self.made:
            return self.made[index].carry
        return Carry(goes_on=True) if any(run.first == index for run in self.runs) else ALONE

    def fastest(self, index: int) -> float:
        """Greatest speed of a layer, mm/s."""
        row = index if index in self.made else index + 1
        return self.made[row].fastest if row in self.made else math.inf

    def begin(self, index: int, beads: tuple[Bead, ...]) -> tuple[Bead, ...]:
        """The beads of a level layer; where a run begins with it, open, and the run is laid out from there."""
        run = next((run for run in self.runs if run.first == index and run.seam is None), None)
        if run is None:
            return beads
        (bead,) = beads
        closed = bead.path
        opened = replace(closed, points=np.concatenate([closed.points, closed.points[:1]]), closed=False)
        self.made |= dict(self._laid(run, bead.start))
        return (replace(bead, path=opened),)

    def _laid(self, run: Run, start: tuple[float, float]) -> Iterator[tuple[int, RisenLayer]]:
        """The layers of a run above its flat one."""
        levels: list[Level] = []
        of_turn: list[int] = []
        for turn, own in enumerate(run.turns):
            levels += own.levels(run.paths(turn))
            of_turn += [turn] * max(own.count, 1)
        laid = stretches(levels, start)
        strips = [
            _strip(
                own,
                [s for s, row in zip(laid, of_turn, strict=True) if row == turn],
                self.resolved.settings.height,
            )
            for turn, own in enumerate(run.turns)
        ]
        fastest = self._fastest(strips)
        for work in run.climbing:
            index = work.layer.plan.index
            mine = [(s, t) for s, t in zip(strips, run.turns, strict=True) if t.layer == index]
            path, height, thick = mine[0][0].path, mine[0][0].height, mine[0][0].thickness
            for strip, _ in mine[1:]:
                path = joined(path, strip.path)
                height = np.concatenate([height, strip.height[1:]])
                thick = np.concatenate([thick, strip.thickness[1:]])
            climbing = RisenLayer(
                bead=replace(
                    work.beads[0],
                    path=path,
                    role="wall",
                    height=work.layer.plan.height,
                    middle=work.beads[0].role == "medial",
                ),
                height=height,
                thickness=thick,
                carry=Carry(begins=work is not run.works[0], goes_on=index != run.last),
                fastest=fastest,
                by_speed=self.resolved.machine.speeds.greatest if self.flow == "s-word" else None,
                kind=self.resolved.settings.bead_section,
                bound=max(strip.bound for strip, _ in mine),
                planes=sum(each.count for _, each in mine),
                level=work.beads[0].path,
            )
            yield index, climbing

    def _fastest(self, strips: Sequence[_Strip]) -> float:
        """Greatest speed along a run, mm/s: Z keeps up; at one screw speed every turn takes as long as a layer must."""
        steep = max(strip.slope for strip in strips)
        machine, settings = self.resolved.machine, self.resolved.settings
        fastest = machine.speeds.vertical / steep if steep > 0 else math.inf
        least = settings.layer_time.least
        if self.flow == "s-word" and least:
            fastest = min(fastest, min(length(strip.path) for strip in strips) / least)
        return fastest

    def budget(self, index: int) -> Budget:
        """Bounds of a layer that climbs."""
        run = next(run for run in self.runs if run.first <= index <= run.last)
        found = [run.budget(row) for row, turn in enumerate(run.turns) if turn.layer == index]
        names = ("model", "section", "fit", "region", "corner")
        worst = {name: max(getattr(each, name) for each in found) for name in names}
        worst["section"] += self.made[index].bound
        return Budget(**worst)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Strip:
    """A turn as it is laid: path, heights and thickness at its joints, bound of how far it is off, steepest rise."""

    path: ArcPath
    height: Floats
    thickness: Floats
    bound: float
    slope: float


def _strip(turn: Turn, pieces: Sequence[Stretch], height: float) -> _Strip:
    """A turn of its pieces, with joints so near that the flow follows the thickness."""
    change = abs(turn.thickness[1] - turn.thickness[0]) / height
    if change > FLOW_STEP:
        pieces = [stepped(piece, FLOW_STEP / change) for piece in pieces]
    path, share = pieces[0].path, pieces[0].share
    for piece in pieces[1:]:
        path, share = joined(path, piece.path), np.concatenate([share, piece.share[1:]])
    (low, high), (thin, thick) = turn.z, turn.thickness
    heights = low + (high - low) * share
    # The next turn begins just there, so digits must not differ.
    heights[0], heights[-1] = low, high
    middle_low, middle_high = turn.middles
    reach = abs(middle_high - middle_low) / (2 * turn.count or 1)
    run = min(length(piece.path) / float(piece.share[-1] - piece.share[0]) for piece in pieces)
    return _Strip(
        path=path,
        height=heights,
        thickness=np.maximum(thin + (thick - thin) * share, 0.0),
        bound=reach * turn.lean + max(piece.moved for piece in pieces),
        slope=(high - low) / run,
    )


def leaning(steep: Steepness, low: float, high: float) -> float:
    """Bound of how far walls go aside with each mm of height between two heights; infinite where nothing is known."""
    if high <= low:
        return 0.0
    up = min(float(steep.greatest(np.array([low, high]))[0]), 1.0)
    return up / math.sqrt(1.0 - up * up) if up < 1.0 else math.inf


def turns_of(
    works: Sequence[LayerWork], steep: Steepness, settings: PlanSettings, *, flat: bool
) -> tuple[Turn, ...]:
    """Turns of a run, with the planes at which the part is cut for each; whether its first layer lies flat."""
    found = []
    plans = [work.layer.plan for work in works]
    if not flat:
        # What is printed already ends as a turn as high as this one.
        plans = [replace(plans[0], z0=plans[0].z0 - plans[0].height, z=plans[0].z0), *plans]
    for row, (under, plan) in enumerate(itertools.pairwise(plans)):
        low, high = under.z - under.height / 2, plan.z - plan.height / 2
        lean = leaning(steep, low, high)
        aside = (high - low) * lean
        # A piece is off by what the wall leans within half its height, and is shifted by as much to meet the next one.
        count = 0
        if aside > UPRIGHT * settings.tolerance:
            count = min(math.ceil(aside / settings.tolerance), settings.rising_planes)
        found.append(
            Turn(
                layer=plan.index,
                z=(under.z, plan.z),
                thickness=(0.0 if flat and not row else under.height, plan.height),
                middles=(low, high),
                count=count,
                lean=lean,
            )
        )
    top = works[-1].layer.plan
    middle = top.z - top.height / 2
    level = Turn(layer=top.index, z=(top.z, top.z), thickness=(top.height, 0.0), middles=(middle, middle))
    return (*found, level)


def unfit(work: LayerWork, steep: Steepness, settings: PlanSettings, mapped: int) -> str:
    """Why a layer cannot be a turn of a rising bead; empty if it can."""
    layer = work.layer
    plan = layer.plan
    if plan.index < mapped:
        return "they follow a measured platform"
    if plan.rule != "neutral":
        return f"they are covered by the rule {plan.rule}, not by the section at each height"
    if layer.stock:
        return "material is left on their faces, which no section at one height tells"
    if not work.beads:
        return "they hold no bead"
    if len(work.beads) > 1:
        return f"they hold more than one bead, the first of them {len(work.beads)}"
    (bead,) = work.beads
    if not bead.closed:
        return "their bead is open: it does not come back to where it begins"
    if bead.widths:
        return "the width of their bead varies along it"
    if bead.role not in ROLES:
        return f"their bead is {bead.role}, no wall"
    lean = leaning(steep, plan.z0, plan.z - plan.height / 2)
    if lean > math.tan(math.radians(settings.greatest_lean())) * (1 + HAIR):
        return "their walls lean more than the limit, so that each turn must lie on a level one"
    return ""


def step_aside(below: LayerWork, work: LayerWork, steep: Steepness) -> str:
    """Why the bead of a layer does not go on from that of the layer below; empty if it does."""
    one, other = below.beads[0], work.beads[0]
    if one.role != other.role or one.hole != other.hole:
        return "their bead is of another kind than the one below"
    low, high = (_middle(each) for each in (below, work))
    room = (high - low) * leaning(steep, low, high) + HAIR
    room += below.layer.budget.total + work.layer.budget.total
    for a, b in ((one.path, other.path), (other.path, one.path)):
        if float(distances([b], samples([a], PITCH)).max()) > room:
            return "their wall steps aside from the one below"
    return ""


def arranged_as(beads: tuple[Bead, ...], trail: Trail) -> Arranged:
    """The bead of a layer as it is, in its place."""
    ends = np.array([bead.end for bead in beads])
    return Arranged(
        beads=beads,
        trail=Trail(end=ends[-1], starts=(ends, *trail.starts)[: max(len(trail.starts), 1)]),
        bound=0.0,
        findings=(),
    )


def _middle(work: LayerWork) -> float:
    """Height at which a layer was cut, mm."""
    return work.layer.section_z[0]
