"""One pass over all layers from the platform up: order, pace, time, text."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from beadwright.beads import Bead, SiteRule, Trail, arrange
from beadwright.curves import ArcPath
from beadwright.pipeline._bead_findings import Seen
from beadwright.pipeline._bed import Bed
from beadwright.pipeline._build import Clock, build_layer
from beadwright.pipeline._cards import Cards
from beadwright.pipeline._course import Course
from beadwright.pipeline._document import Laid
from beadwright.pipeline._kept import Aside, Kept
from beadwright.pipeline._layer_work import LayerWork
from beadwright.pipeline._resume import Resume
from beadwright.pipeline._rising import Rising, arranged_as
from beadwright.pipeline._set_up import SetUp
from beadwright.pipeline._short_moves import without_short
from beadwright.pipeline._sites import rank_order
from beadwright.pipeline._stages import Stages
from beadwright.pipeline._varied import varied_areas, width_feeds
from beadwright.pipeline._ways_inside import layer_ways, outside_findings
from beadwright.pipeline._writing import Writing
from beadwright.program import ALONE, layer_program
from beadwright.settings import ROUNDING_UNITS, PlanSettings


def lay(
    works: Iterable[LayerWork],
    seen: Seen,
    settings: PlanSettings,
    card: Cards,
    writing: Writing,
    course: Course,
    stages: Stages,
    tell: Callable[[str, int, int], None],
    total: int,
    rule: SiteRule,
    source: SetUp,
    aside: Aside,
    *,
    resumed: Resume | None = None,
    axis: float = 0.0,
    bed: Bed | None = None,
    rising: Rising | None = None,
) -> Kept[Laid]:
    """Order, pace and time all layers in one pass from the platform up, and write each layer's text.

    Of a print that is taken up within a layer what is laid already goes the same way, and is left out. The extruder
    axis stands at `axis` before the first layer. What is done goes `aside` where there is much of it.
    Layers of `rising` become one bead.
    """
    trail, clock, n_beads, advance = Trail(), Clock(), 0, axis
    laid: Kept[Laid] = Kept(aside, Laid.room)
    ways_of = layer_ways(settings)
    for done, work in enumerate(works, 1):
        with stages.measure("order"):
            layer = work.layer
            index = layer.plan.index
            halt = course.stop(index, clock.time)
            risen = None if rising is None else rising.layer(work)
            if rising is not None and risen is not None:
                # Its place is that of the layer below: nothing is left to choose.
                arranged = arranged_as(risen.beads, trail)
                layer = replace(layer, budget=rising.budget(work))
            else:
                arranged = arrange(
                    work.beads,
                    trail,
                    layer=index,
                    z=layer.plan.z,
                    order=rank_order(settings),
                    rule=rule,
                    groups=source.groups(work.beads),
                    restart=halt is not None,
                )
            trail = arranged.trail
            layer = replace(
                layer,
                budget=replace(layer.budget, region=layer.budget.region + arranged.bound),
                findings=(*layer.findings, *arranged.findings),
            )
            if risen is None:
                layer, joined = without_short(
                    layer,
                    arranged.beads,
                    least=settings.feed * course.resolved.machine.controller.block_time,
                    tolerance=settings.tolerance,
                    rounding=ROUNDING_UNITS * writing.words.place,
                )
                if rising is not None:
                    joined = rising.begin(index, joined)
                arranged = replace(arranged, beads=joined)
            carry, fastest = (
                (ALONE, math.inf) if rising is None else (rising.carry(index), rising.fastest(index))
            )
        with stages.measure("process"):
            mapped = None if bed is None else bed.ground(layer.plan, arranged.beads)
            ground = mapped if risen is None else risen
            beads: Sequence[Bead] = arranged.beads if ground is None else ground.beads
            ways = ways_of(layer)
            build, clock = build_layer(
                card,
                clock,
                layer,
                beads,
                stopped=halt is not None,
                ground=ground,
                ways=ways,
                carry=carry,
                fastest=fastest,
            )
        first, before = n_beads, tuple[ArcPath, ...]()
        if resumed is not None and layer.plan.index <= resumed.layer:
            if layer.plan.index < resumed.layer:
                course.pass_over(build.mass)
                n_beads += build.n_beads
                tell("layers", done, total)
                continue
            course.made.clear()
            beads, first, before = resumed.left(arranged.beads, build, n_beads)
            if risen is not None and beads:
                ground = risen = risen.rest(beads)
            carry = replace(carry, begins=False)
            with stages.measure("process"):
                build, clock = build_layer(
                    card,
                    Clock(),
                    layer,
                    beads,
                    ground=ground,
                    ways=ways,
                    carry=carry,
                    fastest=min(fastest, build.pace.feed),
                    paced=False,
                )
            halt = None
        with stages.measure("text"):
            program = layer_program(
                layer,
                beads,
                first_bead=first,
                prime=card.prime,
                passes=build.passes,
                leads=build.leads,
                follow=None if ground is None else ground.follow(build.pace.feed),
                clearance=settings.clearance,
                feed=build.pace.feed,
                feeds=[width_feeds(card, bead, build.pace.feed) for bead in beads],
                before=(*(() if halt is None else (halt,)), *map(writing.before, build.before)),
                rpm=writing.rpm([build.pace.feed] * len(build.areas), varied_areas(card, beads, build.areas)),
                ways=ways,
                carry=carry,
            )
            layer = replace(layer, findings=(*layer.findings, *outside_findings(program, ways, settings)))
            if resumed is not None and layer.plan.index == resumed.layer:
                program = replace(program, events=(replace(program.begin, resumed=True), *program.events[1:]))
            program = course.layer(program, mass=build.mass)
            # Files are split by the time that the machine's motion takes.
            text = replace(writing.layer(program, advance), seconds=build.times.total)
        advance = text.advance
        n_beads = first + program.n_beads
        work = replace(work, layer=layer, beads=tuple(beads))
        with stages.measure("findings"):
            seen.add(work)
        laid.append(Laid(work=work, text=text, build=build, before=before, ground=mapped, risen=risen))
        tell("layers", done, total)
    return laid
