"""What cutting a layer met that a reader should know."""

from __future__ import annotations

from beadwright.layers import LayerPlan
from beadwright.numeric import Finding
from beadwright.section import Section

CHORDS = {
    "undecided": "because the face is nearly level there",
    "pole": "because the face's derivatives are parallel or vanish there, as at a pole",
    "sharp": "because the curve turns too sharply to be followed",
}


def section_findings(plan: LayerPlan, section: Section) -> tuple[Finding, ...]:
    """What cutting met that a reader should know."""
    found = [
        Finding(
            code="near-tangent",
            level="note",
            layer=plan.index,
            at_mm=place.at,
            face=place.face,
            measured=place.uncertainty,
            unit="mm",
            text="plane and surface are nearly parallel here, so the section curve may lie this far beside",
        )
        for place in section.near_tangent
    ]
    found += [
        Finding(
            code="chord",
            level="note",
            layer=plan.index,
            at_mm=place.at,
            face=place.face,
            measured=place.bound,
            unit="mm",
            text=f"a stretch of the section curve from here on is a straight line, {CHORDS[place.why]}; the curve may"
            " lie this far beside, which the bound of the section holds",
        )
        for place in section.chords
    ]
    if section.hidden > 0:
        found.append(
            Finding(
                code="hidden",
                level="warning",
                layer=plan.index,
                measured=section.hidden,
                unit="mm",
                text="a part of the section smaller than this could have been missed: a free-form face is nearly level"
                " there; no bound holds it",
            )
        )
    if section.fallbacks:
        found.append(
            Finding(
                code="fallback",
                level="warning",
                layer=plan.index,
                measured=float(section.fallbacks),
                text="faces were cut by the CAD kernel's generic section, whose points were corrected",
            )
        )
    if section.counters.unmatched:
        found.append(
            Finding(
                code="unmatched",
                level="error",
                layer=plan.index,
                measured=float(section.counters.unmatched),
                allowed=0.0,
                text="ends of section curves found no partner: the solid is not closed here",
            )
        )
    return tuple(found)
