"""The main job: from a part to a program."""

from __future__ import annotations

import datetime as dt
import pickle
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any, Unpack

from beadwright.brep import Model
from beadwright.errors import SettingsError
from beadwright.layers import find_folds, ruled_plans
from beadwright.pipeline._base_findings import base_findings
from beadwright.pipeline._bead_findings import Seen, width_findings, widths_follow
from beadwright.pipeline._bed import bed_of
from beadwright.pipeline._build import LayerBuild
from beadwright.pipeline._built import Built, built
from beadwright.pipeline._cards import Cards, cards, halt_findings, output_findings
from beadwright.pipeline._chosen import read_earlier, revision_findings
from beadwright.pipeline._course import Course
from beadwright.pipeline._crew import Crew
from beadwright.pipeline._document import for_readers, plan_document, run_document, stops_told, worst
from beadwright.pipeline._findings import plan_findings
from beadwright.pipeline._finished import finished_findings, finished_told, read_finished
from beadwright.pipeline._head import program_head
from beadwright.pipeline._heights import LEVEL, asked_layers, layer_planes, plan_heights, reach
from beadwright.pipeline._joint_findings import joint_findings
from beadwright.pipeline._json import as_text, text_parts
from beadwright.pipeline._kept import Aside
from beadwright.pipeline._later import asked_ids, find_later, later_findings, later_rows
from beadwright.pipeline._lay import lay
from beadwright.pipeline._layer_work import Job
from beadwright.pipeline._lean import lean_findings
from beadwright.pipeline._load import kernels_loading
from beadwright.pipeline._mesh import arc_findings
from beadwright.pipeline._output import Output, output_folder
from beadwright.pipeline._release import write_release
from beadwright.pipeline._rest import Rest, join_findings, rest_document
from beadwright.pipeline._result import PlannedLayer, PlanResult
from beadwright.pipeline._resume import Resume
from beadwright.pipeline._rising_plan import with_rising
from beadwright.pipeline._rising_told import rising_document, rising_findings
from beadwright.pipeline._rules import face_rules
from beadwright.pipeline._safety import check_safety
from beadwright.pipeline._set_up import in_turn, set_up
from beadwright.pipeline._sheet import plan_sheet
from beadwright.pipeline._sites import site_rule
from beadwright.pipeline._stages import COMPILE, Stages
from beadwright.pipeline._stand import stand
from beadwright.pipeline._stock import make_blank, stock_amounts, stock_findings, stock_left, stocked_of
from beadwright.pipeline._tamper import tamper_findings
from beadwright.pipeline._thin_tops import thin_tops
from beadwright.pipeline._warm import SAMPLE, Warmed, is_warm, warm
from beadwright.pipeline._writing import settle
from beadwright.section import prepare
from beadwright.settings import ROUNDING_UNITS, PlanOptions, PlanSettings, Resolved, resolve

Progress = Callable[[str, int, int], None]
"""Called with the stage, how many layers are done, and how many there are (0: not known yet)."""


def plan(
    part: Any,
    out: str | Path | None = None,
    *,
    job: str | Path | None = None,
    machine: str | Path | None = None,
    material: str | Path | None = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
    **options: Unpack[PlanOptions],
) -> PlanResult:
    """Plan a part: sections, beads, and the program that lays them.

    Parameters
    ----------
    part : str, Path, Model, cadquery.Workplane, cadquery.Shape or TopoDS_Shape
        A STEP file, or a shape in mm.
    out : str or Path, optional
        Folder for program.nc, plan.json, report.html and run.json, made whole or not at all. Without it nothing is
        written.
    job, machine, material : str or Path, optional
        TOML files; an option wins over the job file. For the material also the name of a card that comes
        with the package, for example ``cf-pc-20``.
    progress : callable, optional
        Called as ``progress(stage, done, total)``.
    executor : concurrent.futures.Executor, optional
        Where chunks of layers are made; default processes of this machine (`workers`).
    **options
        As of the command, with ``_`` for ``-``: ``tolerance``, ``width``, ``height``, ... in mm; see
        `beadwright.settings.PlanSettings` for all of them with their ranges.

    Returns
    -------
    PlanResult
        ``result.bounds.total`` is a proven bound of how far the program's beads stray from where the exact
        solid wants them, mm. Same input, same bytes, for any number of workers.

    Raises
    ------
    SettingsError
        Options at fault; the message lists all of them.
    StepError
        The part cannot be read, or holds nothing to print.
    OutputError
        The folder cannot be written.
    GeometryError
        The geometry cannot be made as asked.

    Examples
    --------
    >>> import beadwright
    >>> result = beadwright.plan("part.step", width=10.0, height=4.0)  # doctest: +SKIP
    >>> result.bounds.total < 0.0103  # doctest: +SKIP
    True
    """
    resolved = resolve(options, job=job, machine=machine, material=material)
    return plan_part(part, out, resolved=resolved, progress=progress, executor=executor)


def _silent(_stage: str, _done: int, _total: int) -> None:
    """Nobody wants to know how far it is."""


def plan_part(
    part: Any,
    out: str | Path | None,
    *,
    resolved: Resolved,
    progress: Progress | None = None,
    executor: Executor | None = None,
    warm_first: bool = True,
    rest: Rest | Resume | None = None,
    recorded: Path | None = None,
    over: float = 0.0,
) -> PlanResult:
    """`plan` with settings that are resolved already; kernels are compiled first, unless it is for that.

    `recorded` is where the part will lie, if that is elsewhere; `over` the height of ways past other parts, mm.
    """
    stages = Stages()
    resolved, writing = settle(resolved)
    settings = resolved.settings
    if settings.cut or in_turn(settings):
        raise SettingsError("this job makes several programs; call beadwright.plan_pieces")
    when = dt.datetime.now(dt.UTC)
    tell = progress or _silent
    with ExitStack() as stack:
        output: Output | None = None
        if out is not None:
            output = stack.enter_context(output_folder(out, overwrite=settings.overwrite))
        aside = Aside(None if output is None else output.folder)
        tell("reading", 0, 0)
        with stages.measure("read"), kernels_loading():
            source = set_up(part, resolved, picture=output is not None)
            model, stands = source.model, bool(source.copies)
        if warm_first:
            with stages.measure("load"):
                compiled = is_warm()
            if not compiled:
                with stages.measure(COMPILE):
                    compile_kernels(tell)
        with stages.measure("place"):
            place = stand(model, settings, stands=stands)
            solid = place.solid
            writing.check_closure(settings)
            card = replace(
                cards(resolved),
                cold=rest is not None,
                halts=writing.halts(),
                leads_inside=writing.leads_inside(),
                by_speed=writing.dialect.by_speed,
                over=over,
            )
            earlier = None if settings.earlier is None else read_earlier(settings.earlier, model)
            later = find_later(solid, settings, earlier)
            rule = site_rule(solid, settings, earlier)
            amounts = stock_amounts(solid, settings, later, earlier)
            blank = make_blank(solid, amounts, settings)
            if blank is not None and blank.box[0, 2] < -LEVEL:
                # stock below the part: the part stands that much higher
                place = stand(model, settings, lift=-float(blank.box[0, 2]), stands=stands)
                solid = place.solid
                blank = make_blank(solid, amounts, settings)
            matrix = place.matrix
            ends = reach(solid, blank)
            heights = plan_heights(solid, ends, settings)
            bed = None if rest is not None else bed_of(resolved, writing.dialect.flow, heights.plans)
            own = rest.layers(ends[1], settings, solid) if isinstance(rest, Rest) else None
            asked = asked_layers(
                heights.plans, settings, own, top=rest.top if isinstance(rest, Rest) else None
            )
            ruled = face_rules(solid, settings, earlier)
            judged_by = read_finished(resolved, matrix)
            asked = replace(asked, plans=ruled_plans(asked.plans, ruled))
            plans = asked.chosen
        tell("preparing", 0, len(plans))
        with stages.measure("prepare"):
            cutter = prepare(solid)
            planes = tuple(layer_planes(cutter, plan) for plan in asked.plans)
            folds = None if settings.rule == "neutral" or ruled is not None else find_folds(solid)
            job = Job(
                cutter=cutter,
                settings=settings,
                fallback=place.fallback,
                folds=folds,
                ruled=ruled,
                finished=None if judged_by is None else judged_by.ready,
                later=later.features,
                stock=None if blank is None else stocked_of(blank, solid, amounts, later),
                rounding=ROUNDING_UNITS * writing.words.place,
                vary=widths_follow(settings, writing.dialect),
                amounts=amounts,
            )
            data = pickle.dumps(job, pickle.HIGHEST_PROTOCOL)
        lost: list[str] = []
        crew = Crew(executor=executor, asked=settings.workers, lost=lost, stages=stages)
        course = Course.of(resolved, writing.dialect, aside, over)
        works_of, rising = with_rising(
            crew.work(data, asked, planes, settings), crew, job, solid, resolved, writing, aside, tell, rest
        )
        if isinstance(rest, Rest):
            course.goes_on(rest.below)
        resumed = rest if isinstance(rest, Resume) else None
        axis = writing.goes_on_from(None if rest is None else rest.axis)
        seen = Seen(amounts)
        laid = lay(
            works_of,
            seen,
            settings,
            card,
            writing,
            course,
            stages,
            tell,
            len(plans),
            rule,
            source,
            aside,
            resumed=resumed,
            axis=axis,
            bed=bed,
            rising=rising,
        )
        plans = plans[len(plans) - len(laid) :]
        works, builds, texts = laid.each("work"), laid.each("build"), laid.each("text")
        with stages.measure("process"):
            stops = len({layer for layer, _ in course.made})
            whole = _built(card, builds, settings, solid, stops=stops, whole=rest is None)
            judged = check_safety(resolved, course.reaches)
        with stages.measure("text"):
            head = program_head(
                model,
                matrix,
                resolved,
                plans,
                [
                    *judged.notes,
                    *(note for each in (course, whole, rest, bed) if each for note in each.notes()),
                ],
                later=[feature.faces for feature in later.features],
                copies=tuple(zip(source.copies, source.matrices(matrix), strict=True)),
                bed=bed,
                axis_at=axis,
                lag=card.lag is not None,
            )
            program, files = writing.program(head, texts), writing.files(head, texts)
        complete = rest is None and len(laid) == len(heights.plans)
        machined = finished_told(judged_by, works, settings, whole=complete)
        left = {} if blank is None else stock_left(blank, solid, plans, settings)
        cut_away = {row for feature in later.features for row in feature.faces}
        more = (
            *join_findings(rest, settings.stop),
            *seen.findings(),
            *width_findings(works, settings, writing.dialect),
            *base_findings(works, resolved.machine, settings, len(heights.plans)),
            *joint_findings(works, amounts, settings),
            *rising_findings(rising, laid, card.density, settings),
            *tamper_findings(resolved.machine, settings, works),
            *whole.findings,
            *course.findings(),
            *judged.findings,
            *(() if folds is None else folds.findings()),
            *(() if ruled is None else ruled.findings(solid)),
            *revision_findings(earlier, solid, asked_ids(settings), list(amounts)),
            *stock_findings(blank, solid, amounts, left),
            *later_findings(solid, later, works),
            *finished_findings(judged_by, machined),
            *lean_findings(solid, works, settings),
            *(bed.findings(laid.each("ground")) if bed else ()),
            *heights.findings(solid, settings),
            *(thin_tops(own or heights.plans, solid, cutter, works, cut_away) if blank is None else ()),
            *arc_findings(settings, works),
        )
        findings = plan_findings(solid, works, more, fill=settings.fill, strict=settings.strict)
        document = plan_document(
            model,
            matrix,
            resolved,
            laid,
            findings,
            whole,
            cut_later=later_rows(solid, later, works, resolved.material.density.value),
            stock={row: (each.least, each.greatest) for row, each in left.items()},
            heights=heights.told(settings, [each.times.total for each in builds]),
        )
        document |= {
            **rest_document(rest, plans),
            **source.document(matrix),
            **rising_document(rising, laid),
            **machined,
            **stops_told(course.made, laid, card.purge),
            **(bed.as_dict() if bed else {}),
        }
        if output is not None:
            tell("writing", len(plans), len(plans))
            with stages.measure("write"):
                ending = resolved.machine.controller.line_ending
                output.write("program.nc", program, ending=ending)
                for file in files:
                    output.write(file.name, file.text, ending=ending)
                if settings.release is not None:
                    write_release(
                        output,
                        program,
                        files,
                        model=model,
                        resolved=resolved,
                        writing=writing,
                        reaches=course.reaches,
                        notes=judged.notes,
                    )
                output.write("plan.json", text_parts(for_readers(document, laid)))
            with stages.measure("sheet"):
                output.write("report.html", plan_sheet(source, program, laid, document, resolved, aside))
        run = run_document(
            stages,
            workers=crew.count,
            peak_memory=crew.peak_memory,
            lost=lost,
            when=when,
            part=recorded or part,
            folder=resolved.job_folder,
            finished=None if judged_by is None else judged_by.path,
        )
        if output is not None:
            output.write("run.json", as_text(run))
    return PlanResult(
        text=program,
        document=document,
        run=run,
        layers=laid.viewed(
            lambda each: PlannedLayer(layer=each.work.layer, beads=each.work.beads, budget=each.text.budget)
        ),
        findings=findings,
        bounds=worst([each.budget for each in texts]),
        out=None if out is None else Path(out),
        build=whole,
    )


def compile_kernels(progress: Progress | None = None) -> Warmed:
    """Compile all numeric kernels now, or see that they are there.

    Parameters
    ----------
    progress : callable, optional
        Called as ``progress(stage, done, total)``.
    """
    return warm(_plan_sample, progress)


def _plan_sample() -> None:
    """Meet every kernel that a plan needs."""
    plan_part(SAMPLE, None, resolved=resolve({"workers": "1"}), warm_first=False)


def _built(
    card: Cards,
    builds: Sequence[LayerBuild],
    settings: PlanSettings,
    solid: Model,
    *,
    stops: int,
    whole: bool,
) -> Built:
    """What the build takes; mass that is machined off again is known where the whole part is planned."""
    later = bool(settings.stock or settings.cut_later)
    complete = whole and settings.layers == (0, None) and settings.wall is None
    return built(
        card,
        builds,
        finished_volume=solid.volume if later and complete else None,
        stops=stops,
        told=(*output_findings(card, settings), *halt_findings(card, settings)),
    )
