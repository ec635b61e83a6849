"""A layer's region by the rules ``outer`` and ``inner``."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from beadwright.arcs import fit, intersect, unite
from beadwright.curves import region_area, region_length, signed_area
from beadwright.layers._between import ENOUGH
from beadwright.layers._folds import Folds
from beadwright.layers._plan import LayerPlan
from beadwright.layers._region import LayerRegion
from beadwright.layers._slab import Side, SlabRegion, slab_region
from beadwright.layers._solids import followed_closely, grazes, kinks_told, shallow
from beadwright.numeric import Budget, Finding
from beadwright.section import Section

Cut = Callable[[Sequence[float]], Sequence[Section]]
"""Cuts the solid at heights, mm."""

STACK = 17
"""Planes of a slab whose folds are not known, at the least."""


def rule_region(
    plan: LayerPlan, folds: Folds, bottom: Section, top: Section, *, cut_at: Cut, tolerance: float
) -> LayerRegion:
    """The region of a layer by the rule outer or inner.

    Parameters
    ----------
    plan : LayerPlan
        Its rule is ``outer`` or ``inner``.
    folds : Folds
        Of the placed model.
    bottom, top : Section
        At the planes just inside the slab.
    cut_at : callable
        Cuts the solid at heights between, asked for only where the region cannot be made otherwise.
    tolerance : float
        Of the fit, mm.

    Returns
    -------
    LayerRegion
        ``area`` and ``perimeter`` are those of the lines and arcs. Corners where different loops cross are
        within its bounds, but for places told by a finding ``solids-graze``. Where a stack of planes had to
        stand in it counts as a fallback, ``gap`` is what they may miss, and a finding ``rule-planes`` says so.
    """
    side: Side = "inner" if plan.rule == "inner" else "outer"
    made = followed_closely(
        lambda asked: slab_region(folds, bottom, top, side=side, tolerance=asked), tolerance
    )
    findings: tuple[Finding, ...] = ()
    crossing, gap = 0.0, None
    sections: tuple[Section, ...] = (bottom, top)
    if made is None:
        sections = (bottom, *cut_at(_stack(folds, bottom.taken, top.taken)), top)
        made = _stacked(sections, side, tolerance)
        gap = _missed(folds, sections)
        findings = (_planes_finding(plan, sections, gap),)
    if made.met is not None:
        own = made.fit + made.joined + max(s.bound for s in sections)
        crossing = max(0.0, made.met.bound - own)
        findings = tuple(grazes(made.met, plan.index, plan.z))
        if made.met.bound > max(own, tolerance):
            findings = (*findings, shallow(made.met, tolerance, plan.index, plan.z))
    findings = (*findings, *kinks_told(made.kinks, plan.index))
    loops = made.region.loops
    budget = Budget(
        model=max(s.model for s in sections),
        section=max(s.bound for s in sections) + made.joined,
        fit=made.fit,
        region=made.bound + crossing,
    )
    return LayerRegion(
        plan=plan,
        section_z=(bottom.taken, top.taken),
        region=made.region,
        area=region_area(made.region),
        perimeter=region_length(made.region),
        n_loops=len(loops),
        n_holes=sum(signed_area(loop) < 0 for loop in loops),
        budget=budget,
        findings=findings,
        fallbacks=made.fallbacks,
        inverted=made.inverted,
        gap=gap,
    )


def _stack(folds: Folds, low: float, high: float) -> tuple[float, ...]:
    """Heights of the planes between a slab's own two that stand in where its folds are not known, mm."""
    if folds.between is None:
        return tuple(np.linspace(low, high, STACK)[1:-1].tolist())
    return folds.between.planes(low, high, STACK)[0][1:-1]


def _missed(folds: Folds, sections: Sequence[Section]) -> float:
    """What sections at some heights may miss of those between, mm; infinite where no bound is known."""
    if folds.between is None:
        return math.inf
    return float(folds.between.missed(np.array([section.taken for section in sections])).max())


def _planes_finding(plan: LayerPlan, sections: Sequence[Section], gap: float) -> Finding:
    text = (
        f"the {plan.rule} rule is kept at {len(sections)} planes: a face here looks up and down, and the curve"
        " between has no closed form; "
    )
    if math.isfinite(gap):
        return Finding(
            code="rule-planes",
            level="note" if gap <= ENOUGH else "warning",
            layer=plan.index,
            measured=gap,
            allowed=ENOUGH,
            unit="mm",
            text=text + "what lies between them reaches at most this far beyond, by how faces and edges lean",
        )
    return Finding(
        code="rule-planes",
        level="warning",
        layer=plan.index,
        measured=max(b.taken - a.taken for a, b in pairwise(sections)),
        unit="mm",
        text=text
        + "they are this far apart, and what lies between them has no proven bound, since the boundary is"
        " level somewhere there, or may be",
    )


def _stacked(sections: Sequence[Section], side: Side, tolerance: float) -> SlabRegion:
    """The union or intersection of the sections at some planes."""
    fits = [fit(section.loops, tolerance=tolerance) for section in sections]
    solid = [unite(fitted.region) for fitted in fits]
    if side == "outer":
        done = [unite([each.region for each in solid])]
    else:
        done = [solid[0]]
        for each in solid[1:]:
            done.append(intersect(done[-1].region, each.region))
    steps = [*solid, *done]
    return SlabRegion(
        region=done[-1].region,
        fit=max(fitted.bound.mm for fitted in fits),
        bound=max(each.bound.mm for each in solid) + sum(each.bound.mm for each in done),
        joined=0.0,
        fallbacks=1 + sum(each.fallbacks for each in steps),
        kinks=sum(fitted.kinks for fitted in fits),
    )
