"""Which layers become one rising bead, what is cut for it, and what is told of it."""

from __future__ import annotations

import itertools
import pickle
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from beadwright.brep import Model, Steepness, steepness
from beadwright.layers import LayerPlan
from beadwright.numeric import Finding, counted
from beadwright.pipeline._bed import mapped_layers
from beadwright.pipeline._crew import Crew
from beadwright.pipeline._document import Laid
from beadwright.pipeline._heights import Asked, layer_planes
from beadwright.pipeline._layer_work import Job, LayerWork
from beadwright.pipeline._rest import Rest
from beadwright.pipeline._resume import Resume
from beadwright.pipeline._rising import Rising, Run, step_aside, turns_of, unfit
from beadwright.pipeline._stages import Stages
from beadwright.pipeline._writing import Writing
from beadwright.settings import PlanSettings, Resolved

# What too much of a bead is told from on, and from when on it is a warning, kg: a hundredth of a gram, and a gram.
HUNDREDTH, GRAM = 1e-5, 1e-3


def with_rising(
    works: Iterable[LayerWork],
    crew: Crew,
    job: Job,
    solid: Model,
    resolved: Resolved,
    writing: Writing,
    stages: Stages,
    rest: Rest | Resume | None,
) -> tuple[Iterable[LayerWork], Rising | None]:
    """The layers of a plan, and those that become one bead; None where that is not asked for."""
    if not resolved.settings.rising:
        return works, None
    every = list(works)
    with stages.measure("rising"):
        seam = rest.seam if isinstance(rest, Rest) else None
        found = plan_rising(
            every, crew, job, solid, resolved, writing.dialect.flow, mapped_layers(resolved), seam=seam
        )
    return every, found


def plan_rising(
    works: Sequence[LayerWork],
    crew: Crew,
    job: Job,
    solid: Model,
    resolved: Resolved,
    flow: str,
    mapped: int,
    seam: tuple[float, float] | None = None,
) -> Rising:
    """Find the layers of a plan that become one bead, and cut the part for its turns.

    Parameters
    ----------
    works : sequence of LayerWork
        All, from the platform up.
    crew : Crew
        Makes what is cut.
    job : Job
    solid : Model
        The placed part.
    resolved : Resolved
    flow : {"speed-tied", "s-word", "axis"}
        How the extruder is commanded.
    mapped : int
        Layers that share a measured platform.
    seam : (float, float), optional
        Where the first layer goes on from a rising bead that is printed already, mm.
    """
    settings = resolved.settings
    if settings.stop:
        text = "planned stops end the flow between layers, so no wall rises steadily; leave out [[stop]] or rising"
        stops = Finding(code="no-rising", level="warning", text=text)
        return Rising(runs=(), resolved=resolved, flow=flow, told=(stops,))
    steep = steepness(solid)
    groups, told = _groups(works, steep, settings, mapped, on=seam is not None)
    runs = []
    for own in groups:
        at = seam if own[0] is works[0] else None
        turns = turns_of(own, steep, settings, flat=at is None)
        runs.append(Run(works=tuple(own), turns=turns, seam=at))
    made = list(_cut(runs, crew, job))
    good = []
    for run in made:
        fault = _fault(run)
        if fault is None:
            good.append(run)
        else:
            told.append(fault)
    if not good:
        text = "no wall rises steadily: nowhere do two layers follow each other that each hold one closed bead alone"
        told.append(Finding(code="no-rising", level="warning", text=text))
    told += _coarse(good, settings)
    return Rising(runs=tuple(good), resolved=resolved, flow=flow, told=tuple(told))


def _groups(
    works: Sequence[LayerWork], steep: Steepness, settings: PlanSettings, mapped: int, *, on: bool
) -> tuple[list[list[LayerWork]], list[Finding]]:
    """Layers that go on from one another, at least two together; and why the others do not.

    Whether the first of them goes on from what is printed already.
    """
    reasons = [unfit(work, steep, settings, mapped) for work in works]
    groups: list[list[LayerWork]] = []
    for row, (work, reason) in enumerate(zip(works, reasons, strict=True)):
        if reason:
            continue
        if not row or reasons[row - 1]:
            groups.append([work])
            continue
        aside = step_aside(works[row - 1], work, steep)
        if aside:
            groups.append([work])
        else:
            groups[-1].append(work)
    alone = {id(own[0]) for own in groups if len(own) == 1 and not (on and own[0] is works[0])}
    for row, work in enumerate(works):
        if id(work) in alone:
            below = step_aside(works[row - 1], work, steep) if row and not reasons[row - 1] else ""
            reasons[row] = below or "no layer above them goes on from their bead"
    told = []
    for reason, rows in itertools.groupby(range(len(works)), key=lambda row: reasons[row]):
        own = [works[row].layer.plan for row in rows]
        if reason and any(works[row].beads for row in range(len(works)) if works[row].layer.plan in own):
            told.append(_level(reason, own))
    return [own for own in groups if id(own[0]) not in alone], told


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


def _cut(runs: Sequence[Run], crew: Crew, job: Job) -> Iterator[Run]:
    """The runs with what is cut for their turns."""
    plans = [
        replace(
            run.work(turn.layer).layer.plan,
            z0=at - run.work(turn.layer).layer.plan.height / 2,
            z=at + run.work(turn.layer).layer.plan.height / 2,
            section_z=(at,),
        )
        for run in runs
        for turn in run.turns
        for at in turn.planes()
    ]
    if not plans:
        yield from runs
        return
    fill = job.settings.fill.model_copy(update={"decks_top": 0, "decks_base": 0})
    own = job.settings.model_copy(update={"fill": fill, "base_beads": 0, "pad": ()})
    data = pickle.dumps(replace(job, settings=own, finished=None), pickle.HIGHEST_PROTOCOL)
    asked = Asked(plans=tuple(plans), first=0, count=len(plans), beside=0)
    works = crew.work(data, asked, [layer_planes(job.cutter, plan) for plan in plans], own)
    for run in runs:
        cut = tuple(tuple(itertools.islice(works, turn.count)) for turn in run.turns)
        yield replace(run, cut=cut)


def _fault(run: Run) -> Finding | None:
    """A section between two layers that holds no bead like theirs."""
    bead = run.works[0].beads[0]
    for turn, cut in zip(run.turns, run.cut, strict=False):
        for work in cut:
            beads = work.beads
            if len(beads) == 1 and beads[0].closed and not beads[0].widths and beads[0].role == bead.role:
                continue
            reason = f"the section at {work.layer.section_z[0]:.3f} mm holds no closed bead like theirs"
            found = _level(reason, [each.layer.plan for each in run.works])
            return replace(found, layer=turn.layer)
    return None


def _coarse(runs: Sequence[Run], settings: PlanSettings) -> list[Finding]:
    """A wall that leans so much that more planes than allowed would follow it."""
    found = [
        (abs(turn.middles[1] - turn.middles[0]) * turn.lean / max(turn.count, 1), turn.layer)
        for run in runs
        for turn in run.turns
    ]
    off, layer = max(found, default=(0.0, 0))
    if off <= settings.tolerance * 1.001:
        return []
    return [
        Finding(
            code="rising-coarse",
            level="note",
            layer=layer,
            measured=off,
            allowed=settings.tolerance,
            unit="mm",
            text=f"a rising wall leans so much that {counted(settings.rising_planes, 'plane')} a turn follow it only"
            " this closely, which is in the bound `section`; rising_planes (--rising-planes) sets how many",
        )
    ]


def rising_findings(rising: Rising | None, laid: Sequence[Laid], density: float) -> tuple[Finding, ...]:
    """What is told of rising walls: where there are none, and what wait and flow they cannot have.

    `density` in kg/mm3.
    """
    if rising is None:
        return ()
    found = list(rising.told)
    short, at = max(((each.build.missed, each.build.index) for each in laid), default=(0.0, 0))
    if short > 0:
        found.append(
            Finding(
                code="rising-time",
                level="warning",
                layer=at,
                measured=short,
                allowed=0.0,
                unit="s",
                text="a rising bead cannot wait, and even at the least speed this layer is over so much sooner than"
                " layer_time.least asks; take a larger part, more copies, or no rising",
            )
        )
    tied = rising.flow == "speed-tied"
    over = [
        (density * each.risen.excess(each.build.pace.feed, tied=tied), each.build.index)
        for each in laid
        if each.risen is not None and (tied or each.risen.by_speed is not None)
    ]
    mass = sum(each for each, _ in over)
    if mass < HUNDREDTH:
        return tuple(found)
    worst, at = max(over)
    if tied:
        why = "the drive follows the path speed by itself"
        remedy = "take flow control axis, which follows the thickness (machine extruder.flow_control)"
    else:
        why = "the thinnest part of its first and last turn would be laid faster than the machine goes"
        remedy = "take a lower feed, or flow control axis"
    told = Finding(
        code="rising-flow",
        level="warning" if mass >= GRAM else "note",
        layer=at,
        measured=1000 * mass,
        unit="g",
        text=f"{why}, so where a rising bead grows from nothing and ends so too much is laid: this mass in all,"
        f" {1000 * worst:.2g} g of it in this layer; {remedy}",
    )
    return (*found, told)


def rising_document(rising: Rising | None, laid: Sequence[Laid]) -> dict[str, Any]:
    """What plan.json says of beads: how many there are without rising walls, and with them."""
    if rising is None:
        return {}
    beads = sum(len(each.work.beads) for each in laid)
    rows: list[dict[str, Any]] = []
    for run in rising.runs:
        own = [each for each in laid if run.first <= each.build.index <= run.last]
        if not own:
            continue
        turns = [turn for turn in run.turns if turn.layer >= own[0].build.index]
        rows.append(
            {
                "from_layer": own[0].build.index,
                "to_layer": run.last,
                "beads": {"before": len(own), "after": 1},
                "planes": sum(turn.count for turn in turns),
                "off_mm": max((each.risen.bound for each in own if each.risen is not None), default=0.0),
            }
        )
    after = beads - sum(row["beads"]["before"] - 1 for row in rows)
    return {"continuity": {"beads": {"before": beads, "after": after}, "rising": rows}}
