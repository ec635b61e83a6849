"""One layer against the kernel's section: profile, completeness, coverage, support."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from beadwright.brep import Model
from beadwright.verify._complete import check_complete
from beadwright.verify._cover import laid_area, sweep
from beadwright.verify._cut import Cut, Floats, cut, shifts
from beadwright.verify._deposit import Deposit, DepositLayer
from beadwright.verify._foreign import measure_from_section
from beadwright.verify._limits import check_cover
from beadwright.verify._moves import Moves, at_parameter
from beadwright.verify._options import FOREIGN_TOLERANCE, VerifyOptions
from beadwright.verify._outline import outline
from beadwright.verify._profile import Deviations, gathered, measure_beads
from beadwright.verify._result import LayerResult, Notes, Outline
from beadwright.verify._rising import begins, climbs, lies_on, measure_rising, risen_volume
from beadwright.verify._ruled import ruled_slab
from beadwright.verify._stock import measure_stocked
from beadwright.verify._witness import passes

# Where the kernel has no answer at the plane itself, but has one beside it: what that may add, mm.
NUDGED = 1e-3
# How far off a plane may stand in where there is none nearer, mm.
FAR = 1e-3
# How far off it is tried first, mm: just beyond what counts as on a flat face.
FINE = 3e-6
# A rounding runs out into a flat face as a square root of the height below it: from s to 2 s its level curve moves by
# sqrt(2) - 1 of what it moves from 0 to s, and by more in proportion if that begins lower.
ROOT = 1 / (math.sqrt(2) - 1)
# A program may say that the file's own gaps are this much wider than they are measured here, mm.
GAP_ROOM = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """What all layers of a verification share.

    Attributes
    ----------
    moves, deposit, model : Moves, Deposit, Model
    matrix : (3, 4) float
    flats : (k,) float
        Heights of flat faces in the machine, mm.
    offsets : dict of str to float
        Common offset of each rank of contour beads.
    usual : dict of str to dict of str to float
        See `usual_beside`.
    section : str
        ``flat`` or ``round``.
    options : VerifyOptions
    later : tuple of frozenset of int
        Faces of each feature that is printed full and cut later.
    swept : dict of int to shapely.Geometry
        What the last layers cover, by their places: each is asked for twice.
    """

    moves: Moves
    deposit: Deposit
    model: Model
    matrix: Floats
    flats: Floats
    offsets: dict[str, float]
    usual: dict[str, dict[str, float]]
    section: str
    options: VerifyOptions
    later: tuple[frozenset[int], ...] = ()
    swept: dict[int, shapely.Geometry] = field(default_factory=dict, repr=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A layer that was measured: its numbers, the samples behind them, its findings, which sides were judged."""

    result: LayerResult
    samples: Deviations
    notes: Notes
    side: int
    outline: Outline | None = None


def measure_layer(job: Job, place: int) -> Measured | None:
    """Measure a layer by the plane that speaks best for it; None where the kernel gives no section that closes.

    The kernel's generic section may lose a curve. So a plane that gives errors is tried a hair above and below;
    what remains there too is a finding.
    """
    layer = job.deposit.layers[place]
    best: tuple[Notes, Deviations, Cut, float, float] | None = None
    for found, slack in _answers(job, layer):
        notes = Notes()
        allowed = allowed_deviation(job, layer) + found.accuracy + slack
        samples = (_judge_risen if climbs(job.moves, layer) else _judge)(job, place, found, allowed, notes)
        if best is None or sum(notes.counts.values()) < sum(best[0].counts.values()):
            best = notes, samples, found, allowed, slack
        if not notes.counts:
            break
    if best is None:
        return None
    notes, samples, found, allowed, slack = best
    result = LayerResult(
        index=layer.index,
        line=layer.line,
        section_z=layer.cuts,
        profile=samples.spread(),
        allowed=allowed,
        accuracy=found.accuracy + slack,
    )
    judged = found.closed or bool(len(samples.value))
    result, deposit = _covered(job, place, found, result)
    check_cover(job.moves, layer, found, deposit, result, job.options, notes, section=job.section)
    outlined = job.options.outlines and found.closed
    return Measured(
        result=result,
        samples=samples,
        notes=notes,
        side=_side(job, layer, found) if judged else 2,
        outline=outline(job.moves, layer, found, by_face=stocked(job, layer)) if outlined else None,
    )


def _answers(job: Job, layer: DepositLayer) -> Iterator[tuple[Cut, float]]:
    """Sections by the plane of a layer and by planes a hair beside it, as far as the kernel gives them whole.

    With each goes what the shift may add, mm. Close to a flat face the kernel may give nothing at all, or lose a curve:
    then a plane farther off stands in, and what the next step of the same size changes is allowed for, `ROOT` times.
    """
    walls = any(bead.role == "wall" for bead in layer.beads)
    any_answer = False
    for shift in shifts(layer.cuts, job.flats):
        found = _whole(job, layer, shift, walls)
        if found is not None and shift and not any_answer:
            # the plane itself has no answer: where a rounding runs out into a flat face, a hair is much in the plane
            for near in (math.copysign(FINE, shift), shift):
                yield from _beside(job, layer, near, walls)
            any_answer = True
        elif found is not None:
            any_answer = True
            yield found, NUDGED if shift else 0.0
    if any_answer:
        return
    for shift in (-FAR, FAR):
        yield from _beside(job, layer, shift, walls)


def _beside(job: Job, layer: DepositLayer, shift: float, walls: bool) -> Iterator[tuple[Cut, float]]:
    """The section by a plane that stands in for one without an answer, if it and the next one are whole."""
    found, next_one = _whole(job, layer, shift, walls), _whole(job, layer, 2 * shift, walls)
    if found is not None and next_one is not None and len(found.segments) and len(next_one.segments):
        yield found, max(NUDGED, ROOT * float(next_one.distance(found.segments[:, 0]).max()))


def _whole(job: Job, layer: DepositLayer, shift: float, walls: bool) -> Cut | None:
    """The section by a shifted plane; None where the kernel lost a part of it."""
    cuts = tuple(z + shift for z in layer.cuts)
    if layer.rule == "faces":
        cuts = cuts[1:2]
    found = cut(job.model, job.matrix, cuts, layer.rule)
    if not (found.closed or walls) or not passes(found, job.model, job.matrix, cuts):
        return None
    return cut(job.model, job.matrix, cuts, layer.rule, job.later) if job.later else found


def allowed_deviation(job: Job, layer: DepositLayer) -> float:
    """What contour beads of a layer may be off by, mm: as the program says, but never more than asked for."""
    asked = job.options.tolerance
    told = layer.allowed
    if not np.isfinite(told) or told < 0:
        return FOREIGN_TOLERANCE if asked is None else asked
    size = float(np.cbrt(abs(np.linalg.det(job.matrix[:, :3]))))
    told -= max(0.0, layer.model - (job.model.gap * size + GAP_ROOM))
    return told if asked is None else min(told, asked)


def _judge_risen(job: Job, place: int, found: Cut, allowed: float, notes: Notes) -> Deviations:
    """A layer whose bead climbs: against the part at its own heights, and whether it goes all the way round."""
    layer = job.deposit.layers[place]
    below = lies_on(job.moves, job.deposit.layers, place)
    samples, aside = measure_rising(
        job.moves, job.model, job.matrix, below, layer, allowed=allowed, notes=notes, later=job.later
    )
    if found.closed and not layer.resumed:
        # What lacks before the begin of a climb the turn above lies over.
        own = job.deposit.layers
        after = own[place + 1] if begins(job.moves, own, place) else None
        level = tuple(
            replace(bead, role="medial" if bead.middle else "contour") if bead.role == "wall" else bead
            for bead in (*layer.beads, *(after.beads if after is not None else ()))
        )
        check_complete(
            job.moves, replace(layer, beads=level), found, job.offsets, allowed=allowed, step=job.options.step,
            notes=notes, room=aside,
        )  # fmt: skip
    return samples


def _judge(job: Job, place: int, found: Cut, allowed: float, notes: Notes) -> Deviations:
    step, layer = job.options.step, job.deposit.layers[place]
    if not job.deposit.told:
        width = next((b.width for b in layer.beads), np.nan)
        return measure_from_section(
            job.moves, layer, found, width=width, allowed=allowed, step=step, notes=notes
        )
    if not stocked(job, layer) and (not np.isfinite(layer.stock) or beyond(layer, found)):
        return gathered([])
    slab = None
    if layer.rule == "faces":
        slab = ruled_slab(job.model, job.matrix, layer, found, job.options.rules, job.later)
        if slab is None:
            return gathered([])
        allowed += max(slab.joined.accuracy, slab.shared.accuracy) + NUDGED
    if stocked(job, layer):
        whole = job.options.stretched
        part = (job.model, job.matrix) if whole is None else (whole, np.eye(3, 4))
        return measure_stocked(
            job.moves, layer, found, part, job.options, allowed=allowed, notes=notes,
            span=None if slab is None else slab.depths,
        )  # fmt: skip
    side = side_of(layer)
    samples = measure_beads(
        job.moves, layer, found, allowed=allowed, step=step, notes=notes, side=side,
        span=None if slab is None else slab.depths,
    )  # fmt: skip
    # Of a layer that an earlier program began, what is missing here may be there already.
    if found.closed and not layer.resumed:
        room = 0.0 if side == 0 and slab is None else max(job.offsets.values(), default=0.0)
        room += 0.0 if slab is None else slab.spread()
        check_complete(
            job.moves, layer, found, job.offsets, allowed=allowed, step=step, notes=notes, room=room,
            usual=job.usual,
        )  # fmt: skip
    return samples


def beyond(layer: DepositLayer, found: Cut) -> bool:
    """Whether a layer lies beside the part, in its stock alone: there is nothing to measure it against."""
    return layer.stock > 0 and not len(found.segments)


def stocked(job: Job, layer: DepositLayer) -> bool:
    """Whether a layer has stock whose amounts are known by face."""
    return bool(job.options.stock) and layer.stock != 0


def _side(job: Job, layer: DepositLayer, found: Cut) -> int:
    """Which side of a layer was judged, as `side_of` has it; 2 for none."""
    if stocked(job, layer):
        return -1
    return side_of(layer) if np.isfinite(layer.stock) and not beyond(layer, found) else 2


def side_of(layer: DepositLayer) -> int:
    """0 where a section is the layer's region; -1 where that is at least the sections joined, 1 where at most.

    By the rule ``outer`` a region holds every section of its slab, by ``inner`` it lies in every one, whatever planes
    are told. Grown by a ball on leaning walls, it holds the section grown in its plane.
    """
    if layer.rule == "inner":
        return 1
    return -1 if layer.rule == "outer" or layer.stock > 0 else 0


def _covered(job: Job, place: int, found: Cut, result: LayerResult) -> tuple[LayerResult, shapely.Geometry]:
    """Areas of a layer: covered, not covered, beyond, twice, without support; and what is covered."""
    layer = job.deposit.layers[place]
    own = tuple(bead for bead in layer.beads if bead.role != "base")  # beside the part, none of it
    whole = len(own) == len(layer.beads)
    deposit = _swept(job, place) if whole else sweep(job.moves, own, job.section)
    area = float(deposit.area)
    below = job.deposit.layers[place - 1] if place else None
    hanging: float | None = None
    length: float | None = None
    if below is not None:
        under = _swept(job, place - 1)
        hanging = max(0.0, area - float(shapely.intersection(deposit, under).area))
        length = _length_outside(job.moves, layer, under)
    if climbs(job.moves, layer):
        # What thins out at an end of the bead lies under or on another turn of it.
        under_it = lies_on(job.moves, job.deposit.layers, place)
        laid = sum(
            risen_volume(job.moves, under_it, layer, bead, job.section) for bead in own if len(bead.rows)
        )
        laid /= layer.z - layer.z0
    else:
        laid = laid_area(job.moves, own, job.section)
    result = replace(
        result,
        covered_mm2=area,
        doubled_mm2=max(0.0, laid - area),
        unsupported_mm2=hanging,
        unsupported_mm=length,
    )
    if not found.closed:
        return result, deposit
    region, both = float(found.region.area), float(shapely.intersection(found.region, deposit).area)
    result = replace(
        result,
        region_mm2=region,
        underfilled_mm2=max(0.0, region - both),
        outside_mm2=max(0.0, area - both),
    )
    return result, deposit


def _swept(job: Job, place: int) -> shapely.Geometry:
    """What all beads of a layer cover, kept for the layer above it."""
    if place not in job.swept:
        for old in [one for one in job.swept if one != place - 1]:
            del job.swept[old]
        job.swept[place] = sweep(job.moves, job.deposit.layers[place].beads, job.section)
    return job.swept[place]


def _length_outside(moves: Moves, layer: DepositLayer, under: shapely.Geometry) -> float:
    """Length of centrelines with nothing under them, by samples, mm."""
    rows = np.concatenate([np.zeros(0, np.int64)] + [bead.rows for bead in layer.beads])
    if not len(rows):
        return 0.0
    shares = (np.arange(8) + 0.5) / 8
    row, t = np.repeat(rows, 8), np.tile(shares, len(rows))
    points = at_parameter(moves, row, t)
    shapely.prepare(under)
    free = ~shapely.intersects_xy(under, points[:, 0], points[:, 1])
    return float((moves.length[row] / 8)[free].sum())
