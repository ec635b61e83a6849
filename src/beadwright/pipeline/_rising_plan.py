"""Which layers become one rising bead, what is cut for it, and what is told of it."""

from __future__ import annotations

import itertools
import pickle
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from beadwright.brep import Model, Steepness, steepness
from beadwright.curves import ArcPath
from beadwright.errors import SettingsError
from beadwright.layers import LayerPlan
from beadwright.numeric import Finding
from beadwright.pipeline._bed import mapped_layers
from beadwright.pipeline._crew import Crew
from beadwright.pipeline._heights import Asked, layer_planes
from beadwright.pipeline._kept import Aside, Kept
from beadwright.pipeline._layer_work import Job, LayerWork
from beadwright.pipeline._rest import Rest, Seam
from beadwright.pipeline._resume import Resume
from beadwright.pipeline._rising import A_MOVE, A_ROW, QUARTER, Followed, Rising, Run
from beadwright.pipeline._rising_fit import NO_BEAD, step_aside, unfit
from beadwright.pipeline._rising_turns import Begins, turns_of
from beadwright.pipeline._writing import Writing
from beadwright.settings import PlanSettings, Resolved

# How many planes are cut at a time: to hire workers costs as much as some hundred, to hold this many some MB.
PLANES = 4000
# Stands where a section holds no bead, so that rows of paths stay rows of planes.
NOWHERE = ArcPath(
    points=np.zeros((1, 2)),
    bulge=np.zeros(0),
    face=np.zeros(0, np.int32),
    support=np.zeros(0, np.int32),
    closed=False,
)


def with_rising(
    works: Iterable[LayerWork],
    crew: Crew,
    job: Job,
    solid: Model,
    resolved: Resolved,
    writing: Writing,
    aside: Aside,
    tell: Callable[[str, int, int], None],
    rest: Rest | Resume | None,
) -> tuple[Iterable[LayerWork], Rising | None]:
    """The layers of a plan, and those that become one bead; None where that is not asked for.

    Raises
    ------
    SettingsError
        A rest would have to go on from the ramp of a rising bead, and cannot.
    """
    if not resolved.settings.rising:
        return works, None
    every: Kept[LayerWork] = Kept(aside, _room, part=QUARTER)
    found = Rising.of(every, aside, resolved, writing.dialect.flow)
    seam = rest.seam if isinstance(rest, Rest) else None
    if resolved.settings.stop:
        text = "planned stops end the flow between layers, so no wall rises steadily; leave out [[stop]] or rising"
        stops = Finding(code="no-rising", level="warning", text=text)
        _begins_level(seam, text)
        return works, replace(found, told=(stops,))
    steep = steepness(solid)
    rows = _Rows(steep=steep, settings=resolved.settings, mapped=mapped_layers(resolved))
    for done, work in enumerate(works, 1):
        rows.add(work)
        every.append(work)
        tell("beads", done, 0)
    with crew.stages.measure("rising"):
        runs, told = rows.runs(seam, even=found.flow == "speed-tied")
        good, faults = _cut(runs, found.cut, crew, job, tell)
        told += faults
        if not good:
            text = "no wall rises steadily: nowhere do two layers in turn hold one closed bead alone each"
            told.append(Finding(code="no-rising", level="warning", text=text))
        begun = bool(good) and good[0].seam is not None
        if seam is not None and not begun and len(every):
            _begins_level(seam, told[0].text)
    return every, replace(found, runs=tuple(good), told=tuple(told))


def _room(work: LayerWork) -> int:
    """About what a layer takes of memory, bytes."""
    moves = sum(len(path.bulge) for path in (*work.layer.region.loops, *(bead.path for bead in work.beads)))
    return 4 * A_ROW + 2 * A_MOVE * moves


def _begins_level(seam: Seam | None, why: str) -> None:
    """Refuse a rest that would lay a level bead on a ramp.

    Raises
    ------
    SettingsError
    """
    if seam is None or not seam.ramp:
        return
    raise SettingsError(
        f"the print ends with a rising bead, whose top climbs by a layer height round the part to X {seam.at[0]:.3f}"
        f" Y {seam.at[1]:.3f} mm, and its rest cannot go on so: {why}. A level layer would lie in the air or inside"
        " what is printed; take the print up within its layer (--from-bead or --at-line), where heights stay as planned"
    )


@dataclass(slots=True)
class _Rows:
    """What of all layers tells where beads go on from one to the next; without the layers themselves."""

    steep: Steepness
    settings: PlanSettings
    mapped: int
    plans: list[LayerPlan] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    roles: list[str] = field(default_factory=list)
    aside: list[str] = field(default_factory=list)
    last: LayerWork | None = None

    def add(self, work: LayerWork) -> None:
        """The next layer."""
        reason = unfit(work, self.steep, self.settings, self.mapped)
        goes_on = not reason and self.last is not None and not self.reasons[-1]
        self.aside.append(
            step_aside(self.last, work, self.steep) if goes_on and self.last is not None else ""
        )
        self.reasons.append(reason)
        self.plans.append(work.layer.plan)
        self.roles.append(work.beads[0].role if work.beads else "")
        self.last = work

    def runs(self, seam: Seam | None, *, even: bool) -> tuple[list[Run], list[Finding]]:
        """Layers that go on from one another, at least two together; and why the others do not.

        `seam` is where the first of them goes on from what is printed already.
        """
        groups: list[list[int]] = []
        for row, reason in enumerate(self.reasons):
            if reason:
                continue
            if not row or self.reasons[row - 1] or self.aside[row]:
                groups.append([row])
            else:
                groups[-1].append(row)
        good = [own for own in groups if len(own) > 1 or (seam is not None and own == [0])]
        taken = {row for own in good for row in own}
        reasons = [
            reason
            or ("" if row in taken else self.aside[row] or "no layer above them goes on from their bead")
            for row, reason in enumerate(self.reasons)
        ]
        told = []
        for reason, rows in itertools.groupby(range(len(reasons)), key=reasons.__getitem__):
            own = [self.plans[row] for row in rows]
            if reason and reason != NO_BEAD:
                told.append(_level(reason, own))
        made = []
        for rows_of in good:
            plans = tuple(self.plans[row] for row in rows_of)
            at = seam if rows_of[0] == 0 else None
            begins: Begins = "flat" if at is None else "on ramp" if at.ramp else "on flat"
            turns = turns_of(plans, self.steep, self.settings, begins, even=even)
            made.append(
                Run(
                    plans=plans,
                    role=self.roles[rows_of[0]],
                    turns=turns,
                    begins=begins,
                    seam=None if at is None else at.at,
                    even=even,
                )
            )
        return made, told


def _level(reason: str, plans: Sequence[LayerPlan]) -> Finding:
    """Layers that stay level."""
    first, last = plans[0].index, plans[-1].index
    which = f"layer {first} stays" if first == last else f"layers {first} to {last} stay"
    return Finding(
        code="not-rising",
        level="note",
        layer=first,
        measured=float(len(plans)),
        text=f"{which} level, since {reason}",
    )


def _cut(
    runs: Sequence[Run], kept: Kept[Followed], crew: Crew, job: Job, tell: Callable[[str, int, int], None]
) -> tuple[list[Run], list[Finding]]:
    """Cut the part for the turns of all runs; those that found paths like theirs everywhere, and faults of the others.

    Paths come in parts, so that no more than some thousand planes are held at a time.
    """
    fill = job.settings.fill.model_copy(update={"decks_top": 0, "decks_base": 0})
    own = job.settings.model_copy(update={"fill": fill, "base_beads": 0, "pad": ()})
    data = pickle.dumps(replace(job, settings=own, finished=None), pickle.HIGHEST_PROTOCOL)
    wanted = [(run, row) for run in runs for row in range(len(run.turns))]
    counts = [len(run.turns[row].planes()) for run, row in wanted]
    ends = [0, *itertools.accumulate(counts)]
    faults: dict[int, Finding] = {}
    done = 0
    while done < len(wanted):
        end = done + 1
        while end < len(wanted) and ends[end + 1] - ends[done] <= PLANES:
            end += 1
        part = wanted[done:end]
        rows = [run for run, row in part for _ in run.turns[row].planes()]
        for run, work in zip(rows, _cut_for(part, data, crew, job, own), strict=True):
            found = _fault(run, work)
            if found is not None:
                faults.setdefault(run.first, found)
                kept.append(Followed(path=NOWHERE, budget=work.layer.budget))
            else:
                kept.append(Followed(path=work.beads[0].path, budget=work.layer.budget))
            tell("turns", len(kept), ends[-1])
        done = end
    at = 0
    for run in runs:
        run.paths = tuple(ends[at : at + len(run.turns) + 1])
        at += len(run.turns)
    return [run for run in runs if run.first not in faults], list(faults.values())


def _cut_for(
    part: Sequence[tuple[Run, int]], data: bytes, crew: Crew, job: Job, settings: PlanSettings
) -> Iterator[LayerWork]:
    """Layers at the heights of some turns."""
    plans = []
    for run, row in part:
        turn = run.turns[row]
        plan = run.plan(turn.layer)
        half = plan.height / 2
        plans += [replace(plan, z0=at - half, z=at + half, section_z=(at,)) for at in turn.planes()]
    if not plans:
        return iter(())
    asked = Asked(plans=tuple(plans), first=0, count=len(plans), beside=0)
    return crew.work(data, asked, [layer_planes(job.cutter, plan) for plan in plans], settings)


def _fault(run: Run, work: LayerWork) -> Finding | None:
    """A section between two layers that holds no bead like theirs."""
    beads = work.beads
    if len(beads) == 1 and beads[0].closed and not beads[0].widths and beads[0].role == run.role:
        return None
    reason = f"the section at {work.layer.section_z[0]:.3f} mm holds no closed bead like theirs"
    return replace(_level(reason, run.plans), layer=work.layer.plan.index)
