"""A program's text against a part: read, rebuild, measure, judge."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from beadwright.brep import Model
from beadwright.errors import InputError
from beadwright.kernel import height_range
from beadwright.numeric import Finding
from beadwright.verify._bed import check_bed, the_grid
from beadwright.verify._check_closure import check_closures
from beadwright.verify._check_run import check_faults, check_flow, check_limits, run_of
from beadwright.verify._check_told import check_reach, check_told
from beadwright.verify._check_widths import check_widths
from beadwright.verify._complete import common_offsets, usual_beside
from beadwright.verify._copies import check_copies
from beadwright.verify._cut import Floats, cut, flat_heights
from beadwright.verify._deposit import Deposit, rebuild
from beadwright.verify._foreign import check_levels, infer_width
from beadwright.verify._layer import Job, Measured, measure_layer
from beadwright.verify._options import VerifyOptions
from beadwright.verify._profile import gathered
from beadwright.verify._reader import read
from beadwright.verify._reading import FlowWords, Reading
from beadwright.verify._result import Notes, OnMap, Run, Spread, Verification
from beadwright.verify._rising import check_rising

Progress = Callable[[str, int, int], None]
Crew = Callable[[Job, Sequence[int]], Iterator[Measured | None]]

# Layers whose distance to the beads tells the width of beads that nothing else tells.
WIDTH_FROM = 3


def verify(
    text: str,
    model: Model,
    options: VerifyOptions | None = None,
    progress: Progress | None = None,
    *,
    crew: Crew | None = None,
) -> Verification:
    """Judge a program by its text alone, against a part.

    Parameters
    ----------
    text : str
        The program.
    model : Model
        The part as read, with the shape of the kernel's.
    options : VerifyOptions, optional
    progress : callable, optional
        Called with a stage, what is done and what there is to do.
    crew : callable, optional
        Measures layers elsewhere: takes the job and their places in the deposit and gives what `measure_layer`
        does, in that order. Without it they are measured here, one after the other.

    Returns
    -------
    Verification

    Raises
    ------
    InputError
        There is no motion in the text, or no place for the part.
    """
    options = options or VerifyOptions()
    show = progress or _silent
    show("reading the program", 0, 0)
    reading = read(text, _flow_words(text, options.flow))
    if not len(reading.moves) and not reading.told.layers:
        raise InputError("the program holds no motion that could be verified")
    notes = Notes()
    deposit = rebuild(reading, width=options.width, height=options.height)
    section = options.bead_section or reading.told.settings.get("bead_section", "flat")
    matrix, source = _matrix(reading, options)
    check_faults(reading, notes)
    if deposit.told:
        check_told(reading, deposit, model, notes)
        check_closures(reading, notes)
        check_widths(reading, deposit, notes)
        check_rising(reading, deposit, section, notes)
        check_copies(reading.told, notes)
        check_reach(reading, deposit, model, matrix, notes)
    elif deposit.layers:
        check_levels(deposit, model, matrix, notes)
    else:
        text_ = "no bead: nothing switches an extruder on, and no axis of its own advances"
        notes.add(Finding(code="no-bead", level="error", text=text_), None)
    if not deposit.told and deposit.layers and options.width is None:
        deposit = _with_width(reading, deposit, model, matrix, options)
    job = Job(
        moves=reading.moves,
        deposit=deposit,
        model=model,
        matrix=matrix,
        flats=flat_heights(model, matrix),
        offsets=common_offsets(deposit),
        usual=usual_beside(deposit),
        section=section,
        options=options,
        later=tuple(map(frozenset, reading.told.later.values())),
    )
    measured, silent = _measure(job, show, crew or _here)
    for one in measured:
        notes.take(one.notes)
    for index in silent:
        told = "the kernel gave no section that closes, here and a hair above and below: not checked"
        notes.add(Finding(code="not-checked", level="warning", text=told, layer=index), None)
    if deposit.layers and not any(m.side < 2 for m in measured):
        told = "no layer could be measured"
        notes.add(Finding(code="nothing-checked", level="error", text=told), None)
    check_flow(reading, deposit, options, section, notes)
    check_limits(reading.moves, options, notes)
    grid = the_grid(reading.told, options.bed_map, notes)
    on_map = check_bed(reading, deposit, grid, notes)
    run = run_of(reading, deposit, options, section, grid if on_map else None)
    return _verdict(reading, deposit, model, source, measured, silent, notes, run, on_map)


def _silent(_stage: str, _done: int, _total: int) -> None:
    return None


def _flow_words(text: str, told: FlowWords) -> FlowWords:
    """The extruder's own axis: as the program says, or where nothing else can switch it."""
    stated = re.search(r"\(program [^)]*\baxis=([A-Z])\b", text)
    if stated is not None and not told.axis and told.on is None:
        return replace(told, axis=stated[1])
    if told.axis or told.on is not None or re.search(r"\(program [^)]*\bon=", text):
        return told
    bare = re.sub(r"\([^)]*\)|;[^\n]*", "", text.upper())
    if re.search(r"(?m)^[^\n]*\bM0*[34](?!\d)", bare):
        return told
    return replace(told, axis="E") if re.search(r"\bG0*[123]\b[^\n]*E[-+.\d]", bare) else told


def _matrix(reading: Reading, options: VerifyOptions) -> tuple[Floats, str]:
    """From the part to the machine, and who says so."""
    if options.matrix is not None:
        return np.asarray(options.matrix, dtype=float), "option"
    told = reading.told.placement()
    if told is not None:
        return told, "program"
    return np.eye(3, 4), "file"


def _with_width(
    reading: Reading, deposit: Deposit, model: Model, matrix: Floats, options: VerifyOptions
) -> Deposit:
    """The deposit with a width of its beads inferred from where the outermost run."""
    chosen = _spread(deposit, model, matrix, WIDTH_FROM)
    pairs = [(deposit.layers[k], cut(model, matrix, deposit.layers[k].cuts)) for k in chosen]
    width = infer_width(reading.moves, [p for p in pairs if p[1].closed], options.step)
    layers = tuple(
        replace(layer, beads=tuple(replace(b, width=width, offset=width / 2) for b in layer.beads))
        for layer in deposit.layers
    )
    return replace(deposit, layers=layers)


def _spread(deposit: Deposit, model: Model, matrix: Floats, count: int | None) -> list[int]:
    """Layers evenly spread over those with beads or a section, the first and the last with beads among them."""
    low, high = height_range(model, matrix)
    some = [
        k for k, layer in enumerate(deposit.layers) if layer.beads or any(low < z < high for z in layer.cuts)
    ]
    if count is None or not some:
        return some
    picked = {int(i) for i in np.linspace(0, len(some) - 1, max(1, count)).round()}
    laid = [i for i, k in enumerate(some) if deposit.layers[k].beads]
    return [some[i] for i in sorted(picked.union(laid[:1], laid[-1:]))]


def _within(chosen: list[int], index: Sequence[int], only: tuple[int, int | None]) -> list[int]:
    """Those of the layers whose index lies in a range."""
    first, end = only
    found = [k for k in chosen if first <= index[k] and (end is None or index[k] < end)]
    if not found:
        told = f"{first}:{'' if end is None else end}"
        raise InputError(
            f"--layers {told}: the program has nothing to measure there; its layers go from {min(index)} to"
            f" {max(index)}"
        )
    return found


def _here(job: Job, places: Sequence[int]) -> Iterator[Measured | None]:
    """Layers measured one after the other."""
    return (measure_layer(job, place) for place in places)


def _measure(job: Job, show: Progress, crew: Crew) -> tuple[list[Measured], list[int]]:
    """Measure the chosen layers; the indices of those without an answer."""
    options, layers = job.options, job.deposit.layers
    count = None if options.every or options.only is not None else options.layers
    chosen = _spread(job.deposit, job.model, job.matrix, count)
    if options.only is not None and layers:
        chosen = _within(chosen, [layer.index for layer in layers], options.only)
    whole = [place for place in chosen if np.isfinite(layers[place].cuts).all()]
    done: list[Measured] = []
    silent = [layers[place].index for place in chosen if place not in set(whole)]
    show("layers", 0, len(whole))
    for count, (place, found) in enumerate(zip(whole, crew(job, whole), strict=True), 1):
        if found is None:
            silent.append(layers[place].index)
        else:
            done.append(found)
        show("layers", count, len(whole))
    return done, sorted(silent)


def _verdict(
    reading: Reading,
    deposit: Deposit,
    model: Model,
    source: str,
    measured: list[Measured],
    silent: list[int],
    notes: Notes,
    run: Run,
    on_map: OnMap | None,
) -> Verification:
    samples = gathered([m.samples for m in measured])
    spreads: dict[int, Spread] = {}
    for face in np.unique(samples.face).tolist():
        spread = samples.spread(face) if face >= 0 else None
        if spread is not None:
            spreads[face] = spread
    width = None
    if not deposit.told and deposit.beads:
        width = deposit.beads[0].width
    return Verification(
        part=model.file,
        part_sha256=model.sha256,
        told=deposit.told,
        placement_from=source,
        layers=len(deposit.layers),
        beads=len(deposit.beads),
        checked=tuple(m.result for m in measured),
        without_answer=tuple(silent),
        one_sided=tuple(m.result.index for m in measured if abs(m.side) == 1),
        not_judged=tuple(m.result.index for m in measured if m.side == 2),
        profile=samples.spread(),
        faces=spreads,
        width=width,
        run=run,
        on_map=on_map,
        findings=notes.numbered(),
        counts=dict(notes.counts),
        reading=reading,
        deposit=deposit,
        outlines={m.result.index: m.outline for m in measured if m.outline is not None},
        deviation=samples.value,
        deviation_row=samples.row,
    )
