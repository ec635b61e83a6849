"""What a layer's beads must cover: the region, its measures and its bounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs import unite
from beadwright.curves import ArcPath, ArcRegion, CurveLoops, chain_measures, length, signed_area
from beadwright.layers._plan import LayerPlan
from beadwright.layers._weld import HAIR, Welded, weld
from beadwright.numeric import Budget, Finding

# Loops shorter than this around, and inverted pieces smaller, come from rounding where solids meet: mm, mm2.
DUST = 5.0 * HAIR
DUST_AREA = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerRegion:
    """The region of one layer: fitted lines and arcs, all solids united.

    Attributes
    ----------
    plan : LayerPlan
        The slab.
    section_z : tuple of float
        Heights of the planes *really used*, mm.
    region : ArcRegion
        Material on the left of every loop; empty where the slab misses the part.
    area, perimeter : float
        Of the region *before fitting*, mm2 and mm.
    n_loops, n_holes : int
        Loops of the region, and those of them that bound a hole.
    stock : float
        Amount by which the region was grown, mm.
    budget : Budget
        Bounds so far: model, section, fit, region (of the union).
    findings : tuple of Finding
        What was met on the way.
    fallbacks : int
        How often polygons had to stand in for lines and arcs in the union.
    inverted : tuple of (float, float, float)
        Area (mm2) and a place of each piece of winding number below 0, which is left out.
    hairs : int
        Gaps between solids, narrower than a hair, that were filled.
    part : tuple of ArcPath
        Boundary of the part alone, where stock was added to the region; else empty.
    gap : float or None
        How far what the rule asks for may reach beyond the region, where planes had to stand in for silhouettes, mm:
        infinite where no bound is known, None where none stood in.
    """

    plan: LayerPlan
    section_z: tuple[float, ...]
    region: ArcRegion
    area: float
    perimeter: float
    n_loops: int
    n_holes: int
    stock: float = 0.0
    budget: Budget = field(default_factory=Budget)
    findings: tuple[Finding, ...] = ()
    fallbacks: int = 0
    inverted: tuple[tuple[float, float, float], ...] = ()
    hairs: int = 0
    part: tuple[ArcPath, ...] = ()
    gap: float | None = None


def layer_region(
    plan: LayerPlan,
    section: CurveLoops,
    fitted: ArcRegion,
    *,
    section_z: tuple[float, ...],
    budget: Budget,
    findings: tuple[Finding, ...] = (),
    solid_of_face: npt.NDArray[np.int64] | None = None,
) -> LayerRegion:
    """The region of a layer by the neutral rule: where the winding number of all fitted loops is above 0.

    Loops of all shells of all solids are united at once, so solids that touch or overlap become one region
    and voids need no case of their own.

    Parameters
    ----------
    plan : LayerPlan
        The slab.
    section : CurveLoops
        The exact section, for the measures.
    fitted : ArcRegion
        Its closed chains as lines and arcs.
    section_z : tuple of float
        Heights of the planes really used, mm.
    budget : Budget
        Bounds of what came before: model, section and fit, and as region that of corners between solids.
    findings : tuple of Finding
        Of what came before; they are carried on.
    solid_of_face : (faces,) int, optional
        Given where the loops come from more than one solid: gaps narrower than a hair between them are
        filled, since bodies that are placed to touch miss each other by rounding.

    Returns
    -------
    LayerRegion
        ``area`` and ``perimeter`` are those of the exact section: of the united region, plus what the fit
        changed in area and length, loop by loop. Where solids overlap that share is taken as if all of it lay
        on the union's boundary, which errs by at most the fit's bound times the length of the hidden part.
    """
    united = unite(fitted)
    welded = Welded(region=united.region) if solid_of_face is None else weld(united.region, solid_of_face)
    loops = tuple(loop for loop in welded.region.loops if length(loop) >= DUST)
    region = ArcRegion(loops=loops, supports=welded.region.supports)
    areas, lengths = chain_measures(section)
    area, perimeter = _measures(loops)
    fitted_area, fitted_length = _measures(fitted.loops)
    closed = section.closed
    return LayerRegion(
        plan=plan,
        section_z=section_z,
        region=region,
        area=area + (float(np.sum(areas[closed])) - fitted_area),
        perimeter=perimeter + (float(np.sum(lengths[closed])) - fitted_length),
        n_loops=len(loops),
        n_holes=sum(signed_area(loop) < 0 for loop in loops),
        budget=replace(budget, region=budget.region + united.bound.mm + welded.bound),
        findings=findings,
        fallbacks=united.fallbacks + welded.fallbacks,
        inverted=tuple(piece for piece in united.inverted if piece[0] > DUST_AREA),
        hairs=welded.hairs,
    )


def wall_region(
    plan: LayerPlan,
    section: CurveLoops,
    *,
    section_z: tuple[float, ...],
    budget: Budget,
    findings: tuple[Finding, ...] = (),
) -> LayerRegion:
    """What a layer of surfaces taken as walls prints: no area, the length of its section curves.

    Parameters
    ----------
    plan, section, section_z, budget, findings
        As for `layer_region`; ``section`` may have open chains.
    """
    _, lengths = chain_measures(section)
    return LayerRegion(
        plan=plan,
        section_z=section_z,
        region=ArcRegion(loops=(), supports=np.zeros((0, 4))),
        area=0.0,
        perimeter=float(np.sum(lengths)),
        n_loops=section.n_chains,
        n_holes=0,
        budget=budget,
        findings=findings,
    )


def _measures(loops: Sequence[ArcPath]) -> tuple[float, float]:
    """Signed area and length of some closed paths."""
    return sum(map(signed_area, loops), 0.0), sum(map(length, loops), 0.0)
