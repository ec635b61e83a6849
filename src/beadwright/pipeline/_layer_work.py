"""What a worker does with a chunk of layers: section, fit, region, beads. Every layer stands for itself."""

from __future__ import annotations

import functools
import pickle
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice

import numpy as np
import numpy.typing as npt

from beadwright.arcs import Lost
from beadwright.beads import (
    AS_ASKED,
    NOTHING,
    Bead,
    Coverage,
    LayerBeads,
    Refilled,
    hollow_cells,
    wall_beads,
)
from beadwright.curves import ArcPath, ArcRegion, lengths
from beadwright.layers import (
    Finished,
    Folds,
    Hanging,
    LaterFeature,
    LayerLeft,
    LayerPlan,
    LayerRegion,
    LeftOut,
    Ruled,
    Stocked,
    fit_layer,
    follow_polygons,
    layer_left,
    layer_region,
    leave_out,
    wall_region,
    with_stock,
)
from beadwright.numeric import Budget
from beadwright.pipeline._hanging import hanging_over
from beadwright.pipeline._kernel_fallback import KernelFallback
from beadwright.pipeline._layer_beads import solid_beads, with_base
from beadwright.pipeline._load import load_kernels
from beadwright.pipeline._rules import region_by_rule
from beadwright.pipeline._section_findings import section_findings
from beadwright.pipeline._stages import Stages, peak_memory_mb
from beadwright.pipeline._traced import cut_for_fit
from beadwright.pipeline._united import united
from beadwright.section import Cutter, Section, TakenPlane
from beadwright.settings import Fill, PlanSettings

Planes = tuple[TakenPlane, ...]  # of one layer: one by the neutral rule, else two


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """What all layers of a plan share; pickled once, so that each call carries plain bytes.

    Attributes
    ----------
    cutter : Cutter
        Of the placed model.
    settings : PlanSettings
    fallback : KernelFallback
        For faces that cannot be cut.
    rounding : float
        What printing may move an arc by, mm.
    folds : Folds or None
        Of the placed model, for the rules outer and inner.
    ruled : Ruled or None
        Rules by face.
    finished : Finished or None
        The finished part that the stock is judged against.
    later : tuple of LaterFeature
        What is printed full and cut later.
    stock : Stocked or None
    vary : bool
        Whether the flow can change inside a bead.
    amounts : mapping of int to float
        Stock by face, mm.
    """

    cutter: Cutter
    settings: PlanSettings
    fallback: KernelFallback
    rounding: float
    folds: Folds | None = None
    ruled: Ruled | None = None
    finished: Finished | None = None
    later: tuple[LaterFeature, ...] = ()
    stock: Stocked | None = None
    vary: bool = False
    amounts: Mapping[int, float] = field(default_factory=dict)

    @property
    def solid_of_face(self) -> npt.NDArray[np.int64]:
        """Row of the solid that each face bounds, -1 for a loose one."""
        return self.cutter.shell_solid[self.cutter.face_shell]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerWork:
    """A layer's region and beads, not yet in order, and what was met on the way.

    Attributes
    ----------
    layer : LayerRegion
        With all bounds but that of rounding.
    beads : tuple of Bead
    taken : tuple of TakenPlane
        The planes asked for and those used.
    near_tangent : int
        Pieces along which plane and surface are nearly parallel.
    chords : int
        Stretches of curves of free-form faces that are carried as straight lines.
    hidden : float
        What cells of free-form faces could hide, mm.
    grey : int
        Places where an offset vanishes within its audit's reach.
    lost : tuple of Lost
        Places about as wide as a bead, where one may be missing; one entry for 4 mm at most.
    fallbacks : int
        Faces that the CAD kernel cut, and regions for which polygons had to stand in.
    overlap : float
        Area covered more than once before the union, mm2.
    shared : float
        Length of boundary along which pieces that do not overlap touch, mm.
    coverage : Coverage or None
        What the beads cover; None for walls, and where it could not be had.
    hollow : tuple of ArcRegion
        What stays hollow on purpose, piece by piece.
    joined : int
        Lines, ribs and rings inside the contour beads, before some were joined into one bead.
    refilled : Refilled
        What was filled otherwise than asked.
    rounded : int
        Corners that were rounded.
    left : LayerLeft or None
        What stays beyond the finished part; None without one, and where it does not reach.
    left_out : tuple of LeftOut
        Holes that are printed full.
    later_open : frozenset of int
        Faces of features to be cut later that stay cut here, since they open to the side.
    hanging : tuple of Hanging or None
        Over the layer below; None where that is not known.
    """

    layer: LayerRegion
    beads: tuple[Bead, ...]
    taken: Planes
    near_tangent: int
    chords: int
    hidden: float
    grey: int
    lost: tuple[Lost, ...]
    fallbacks: int
    overlap: float = 0.0
    shared: float = 0.0
    coverage: Coverage | None = None
    hollow: tuple[ArcRegion, ...] = ()
    joined: int = 0
    refilled: Refilled = AS_ASKED
    rounded: int = 0
    left: LayerLeft | None = None
    left_out: tuple[LeftOut, ...] = ()
    later_open: frozenset[int] = frozenset()
    hanging: tuple[Hanging, ...] | None = None

    def face_lengths(self) -> dict[int, float]:
        """Length of bead centrelines that follows each face, mm."""
        faces = [bead.path.face for bead in self.beads]
        if not faces:
            return {}
        face, run = np.concatenate(faces), np.concatenate([lengths(bead.path) for bead in self.beads])
        known = face >= 0
        summed = np.bincount(face[known], run[known])
        return {int(row): float(summed[row]) for row in np.flatnonzero(summed)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChunkWork:
    """Layers of a chunk, seconds by stage, and the greatest memory of the process that made them, MB."""

    layers: tuple[LayerWork, ...]
    seconds: dict[str, float]
    peak_memory: float


@functools.lru_cache(maxsize=1)
def _job(data: bytes) -> Job:
    """The job of a plan, unpacked once in each process."""
    job: Job = pickle.loads(data)
    return job


def work_on(
    data: bytes,
    plans: tuple[LayerPlan, ...],
    planes: tuple[Planes, ...],
    first: int = 0,
    count: int | None = None,
) -> ChunkWork:
    """Make the regions and beads of some layers.

    Parameters
    ----------
    data : bytes
        A pickled `Job`.
    plans : tuple of LayerPlan
    planes : tuple of tuple of TakenPlane
        Those of each.
    first, count : int
        Which of them are made; the others stand beside them and tell what is exposed. All by default.

    Returns
    -------
    ChunkWork
        A layer's result depends on no other layer, but for decks on as many beside it as these count; so any
        split into chunks that come with them gives the same.

    Raises
    ------
    GeometryError
        The geometry cannot be made as asked, for example at this tolerance.
    """
    stages = Stages()
    with stages.measure("load"):
        load_kernels()
        job = _job(data)
    with stages.measure("section"):
        every = [plane for own in planes for plane in own]
        sections = iter(cut_for_fit(job.cutter, every, job.fallback, job.settings.tolerance))
    grounds = [
        _ground(job, plan, own, tuple(islice(sections, len(own))), stages)
        for plan, own in zip(plans, planes, strict=True)
    ]
    rows = range(first, len(plans) if count is None else first + count)
    made = [_made(job, grounds[row], _beside(job.settings.fill, grounds, row), stages) for row in rows]
    with stages.measure("lean"):
        made = [
            replace(work, hanging=hanging_over(work.layer, below.layer if below else None, job.settings))
            for below, work in zip([None, *made], made, strict=False)
        ]
    return ChunkWork(layers=tuple(made), seconds=stages.seconds(), peak_memory=peak_memory_mb())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """A layer before its beads: its region, and what cutting and uniting told."""

    layer: LayerRegion
    planes: Planes
    sections: tuple[Section, ...]
    left_out: tuple[LeftOut, ...]
    stays: frozenset[int]
    overlap: float = 0.0
    shared: float = 0.0
    walls: tuple[ArcPath, ...] = ()


def _beside(fill: Fill, grounds: Sequence[_Ground], row: int) -> tuple[ArcRegion, ...]:
    """Regions of the layers beside one that tell where it is exposed; empty ones beyond the part."""
    wanted = [
        *range(row + 1, row + 1 + fill.decks_top),
        *range(row - 1, row - 1 - fill.decks_base, -1),
    ]
    return tuple(grounds[i].layer.region if 0 <= i < len(grounds) else NOTHING for i in wanted)


def _made(job: Job, ground: _Ground, beside: tuple[ArcRegion, ...], stages: Stages) -> LayerWork:
    """The beads of a layer."""
    settings, layer = job.settings, ground.layer
    covered: Coverage | None = None
    hollow: tuple[ArcRegion, ...] = ()
    if settings.wall is not None:
        with stages.measure("beads"):
            laid = wall_beads(
                layer, ground.walls, side=settings.wall, width=settings.width, height=layer.plan.height
            )
    else:
        laid, covered = solid_beads(settings, job, layer, beside, stages)
        low, high = job.cutter.z_range
        if not any(low <= z <= high for z in layer.section_z):
            # stock beyond the part: what closes it above or below
            beads = tuple(replace(b, role="deck") if b.role == "contour" else b for b in laid.beads)
            laid = replace(laid, beads=beads)
        with stages.measure("fill"):
            hollow = hollow_cells(laid.rest, laid.beads)
        with stages.measure("beads"):
            laid = with_base(settings, layer, laid)
    left = None
    if job.finished is not None:
        with stages.measure("finished"):
            left = layer_left(layer, job.finished, tolerance=settings.tolerance)
    work = _work(layer, laid, ground.planes, ground.sections)
    return replace(
        work,
        overlap=ground.overlap,
        shared=ground.shared,
        coverage=covered,
        hollow=hollow,
        left_out=ground.left_out,
        later_open=ground.stays,
        left=left,
    )


def _ground(
    job: Job, plan: LayerPlan, planes: Planes, sections: tuple[Section, ...], stages: Stages
) -> _Ground:
    sections, left, stays = leave_out(sections, job.later)
    share = 1.0 / len(left)
    left_out = tuple(replace(part, area=share * part.area) for own in left for part in own)
    settings, section = job.settings, sections[0]
    overlap = shared = 0.0
    walls: tuple[ArcPath, ...] = ()
    if plan.rule != "neutral":
        with stages.measure("region"):
            layer = _stocked(job, region_by_rule(job, plan, sections, stays))
        return _Ground(layer=layer, planes=planes, sections=sections, left_out=left_out, stays=stays)
    with stages.measure("fit"):
        solids = job.solid_of_face if len(np.unique(section.solid)) > 1 else None
        fitted = (
            follow_polygons(section.loops, tolerance=settings.fit_arcs)
            if settings.fit_arcs is not None
            else fit_layer(
                section.loops,
                tolerance=settings.tolerance,
                solid_of_face=solids,
                layer=plan.index,
                z=plan.z,
            )
        )
    budget = Budget(model=section.model, section=section.bound, fit=fitted.bound, region=fitted.crossing)
    heights = (section.taken,)
    findings = (*section_findings(plan, section), *fitted.findings)
    if settings.wall is not None:
        walls = fitted.paths
        layer = wall_region(plan, section.loops, section_z=heights, budget=budget, findings=findings)
    else:
        with stages.measure("region"):
            layer = layer_region(
                plan,
                section.loops,
                fitted.region,
                section_z=heights,
                budget=budget,
                findings=findings,
                solid_of_face=solids,
            )
            overlap, shared = united(fitted.region, layer)
            layer = _stocked(job, layer)
    return _Ground(
        layer=layer,
        planes=planes,
        sections=sections,
        left_out=left_out,
        stays=stays,
        overlap=overlap,
        shared=shared,
        walls=walls,
    )


def _stocked(job: Job, layer: LayerRegion) -> LayerRegion:
    """A layer's region with stock, if there is any."""
    if job.stock is None:
        return layer
    return with_stock(layer, job.stock, tolerance=job.settings.tolerance)


def _work(layer: LayerRegion, laid: LayerBeads, planes: Planes, sections: tuple[Section, ...]) -> LayerWork:
    return LayerWork(
        layer=replace(
            layer,
            budget=replace(layer.budget, region=layer.budget.region + laid.bound, corner=laid.corner),
            findings=(*layer.findings, *laid.findings),
        ),
        beads=laid.beads,
        taken=planes,
        near_tangent=sum(len(section.near_tangent) for section in sections),
        chords=sum(len(section.chords) for section in sections),
        hidden=max(section.hidden for section in sections),
        grey=laid.grey,
        lost=laid.lost,
        joined=laid.joined,
        refilled=laid.refilled,
        rounded=laid.rounded,
        fallbacks=sum(section.fallbacks for section in sections) + layer.fallbacks + laid.fallbacks,
    )
