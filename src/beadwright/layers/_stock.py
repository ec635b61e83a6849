"""Stock in a layer: the region of the part united with all that the stock's own solids cover in the slab."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs import unite
from beadwright.curves import ArcPath, ArcRegion, length, region_area, region_length, signed_area
from beadwright.layers._cut_later import LaterFeature, leave_out, without_folds
from beadwright.layers._folds import Folds
from beadwright.layers._plan import OPEN
from beadwright.layers._region import DUST, LayerRegion
from beadwright.layers._rule import rule_region
from beadwright.section import Cutter, Section, cut, take_plane

BY_FACE = math.nan
"""Told as the amount of a layer in which it differs from face to face."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stocked:
    """The stock of a placed part as solids of its own, ready for planes; pickles.

    Attributes
    ----------
    cutter : Cutter
    folds : Folds
    face : (faces,) int64
        Face of the part that each face of the stock stems from.
    later : tuple of LaterFeature
        Faces of the stock that stand on features that are cut later.
    uniform : float or None
        The amount, mm, if it is the same on all faces.
    off : float
        How far what had to be fitted strays, mm.
    """

    cutter: Cutter
    folds: Folds
    face: npt.NDArray[np.int64]
    later: tuple[LaterFeature, ...]
    uniform: float | None
    off: float


def with_stock(
    layer: LayerRegion,
    stock: Stocked,
    *,
    tolerance: float,
) -> LayerRegion:
    """A layer's region with stock: united with all that the stock covers anywhere in the slab.

    So faces with stock keep it everywhere, whatever the rule of the layer is.

    Parameters
    ----------
    layer : LayerRegion
        Of the part alone.
    stock : Stocked
    tolerance : float
        Of the fit, mm.

    Returns
    -------
    LayerRegion
        ``stock`` is the amount where it is uniform and the region follows from the section, `BY_FACE` where not,
        0 where there is none in the slab.
    """
    plan = layer.plan
    low = take_plane(stock.cutter, plan.z0 + OPEN, "above").taken
    high = take_plane(stock.cutter, plan.z - OPEN, "below").taken
    if not low < high:
        return layer

    def cut_at(heights: Sequence[float]) -> tuple[tuple[Section, ...], frozenset[int]]:
        sections = cut(stock.cutter, list(heights))
        made, _, stays = leave_out(sections, stock.later)
        return made, stays

    (bottom, top), stays = cut_at([low, high])
    added = rule_region(
        replace(plan, rule="outer"),
        without_folds(stock.folds, stock.later, stays) if stock.later else stock.folds,
        bottom,
        top,
        cut_at=lambda z: cut_at([take_plane(stock.cutter, v, "below").taken for v in z])[0],
        tolerance=tolerance,
    )
    if not added.region.loops:
        return layer
    named = replace(added.region, loops=tuple(_named(loop, stock.face) for loop in added.region.loops))
    whole = unite((layer.region, named))
    loops = tuple(loop for loop in whole.region.loops if length(loop) >= DUST)
    region = ArcRegion(loops=loops, supports=whole.region.supports)
    before, after = layer.budget, added.budget
    return replace(
        layer,
        region=region,
        area=region_area(region),
        perimeter=region_length(region),
        n_loops=len(loops),
        n_holes=sum(signed_area(loop) < 0 for loop in loops),
        part=layer.region.loops,
        stock=stock.uniform if stock.uniform is not None and plan.rule == "neutral" else BY_FACE,
        budget=replace(
            before,
            section=max(before.section, after.section + after.model + stock.off),
            fit=max(before.fit, after.fit),
            region=before.region + after.region + whole.bound.mm,
        ),
        gap=max((gap for gap in (layer.gap, added.gap) if gap is not None), default=None),
        findings=(*layer.findings, *added.findings),
        fallbacks=layer.fallbacks + added.fallbacks + whole.fallbacks,
    )


def _named(loop: ArcPath, face: npt.NDArray[np.int64]) -> ArcPath:
    """A loop whose moves know the faces of the part."""
    known = loop.face >= 0
    told = loop.face.copy()
    told[known] = face[loop.face[known]]
    return replace(loop, face=told)
