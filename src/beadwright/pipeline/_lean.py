"""What is told of the lean of a whole plan."""

from __future__ import annotations

from collections.abc import Sequence

from beadwright.brep import Model
from beadwright.layers import Hanging, greatest_reach
from beadwright.numeric import Finding, counted
from beadwright.pipeline._hanging import standing_out
from beadwright.pipeline._layer_work import LayerWork
from beadwright.process import carried_share
from beadwright.settings import PlanSettings


def lean_findings(solid: Model, works: Sequence[LayerWork], settings: PlanSettings) -> tuple[Finding, ...]:
    """One finding for each face that hangs over, each part that begins in the air and each layer with open spans."""
    worst: dict[int, tuple[float, int, Hanging]] = {}
    layers: dict[int, int] = {}
    found = []
    for row, work in enumerate(works):
        areas: dict[int, float] = {}
        for piece in work.hanging or ():
            if piece.air:
                found.append(_in_air(solid, work, piece))
            elif piece.span is None:
                areas[piece.face] = areas.get(piece.face, 0.0) + piece.area
        for face, area in areas.items():
            layers[face] = layers.get(face, 0) + 1
            if area > worst.get(face, (0.0,))[0]:
                pieces = [p for p in work.hanging or () if p.face == face and not p.air and p.span is None]
                worst[face] = area, row, max(pieces, key=lambda p: p.area)
        spans = [piece for piece in work.hanging or () if piece.span is not None]
        if spans:
            found.append(
                _span(spans, work, standing_out(work.layer, works[row - 1].layer, settings), settings)
            )
    for face, (area, row, piece) in sorted(worst.items()):
        work, below = works[row], works[row - 1]
        allowed = standing_out(work.layer, below.layer, settings)
        reach = greatest_reach(work.layer.region, below.layer.region, allowed)
        told = ""
        if reach is not None:
            share = carried_share(settings.width, work.layer.plan.height, reach, settings.bead_section)
            told = (
                f", by up to {reach:.2f} mm where {allowed:.2f} mm are allowed: a bead lies on the one below by"
                f" {share:.0%} of what touches"
            )
        what = "what no face bounds" if face < 0 else "a face"
        found.append(
            Finding(
                code="lean",
                level="warning",
                layer=work.layer.plan.index,
                at_mm=(*piece.at, work.layer.plan.z),
                face=None if face < 0 else solid.faces[face].id,
                measured=area,
                allowed=0.0,
                unit="mm2",
                text=f"{what} leans more than {settings.greatest_lean():g} degrees in {counted(layers[face], 'layer')},"
                f" here most{told}; turn the part, or hold it by fins that are sawn off",
            )
        )
    return tuple(found)


def _span(spans: Sequence[Hanging], work: LayerWork, allowed: float, settings: PlanSettings) -> Finding:
    """The finding for a layer's open spans, at the widest."""
    piece = max(spans, key=lambda each: each.span or 0.0)
    wide = piece.span or 0.0
    return Finding(
        code="open-span",
        level="warning",
        layer=work.layer.plan.index,
        at_mm=(*piece.at, work.layer.plan.z),
        measured=wide,
        allowed=2 * allowed,
        unit="mm",
        text=f"{counted(len(spans), 'span')} open below, the widest of {piece.area:.0f} mm2 and"
        f" {wide / settings.width:.1f} bead widths from support to support: beads laid across sag, those of 2 to 4"
        " widths too (common practice); close the opening by walls that lean within the limit, print what carries it,"
        " or turn the part",
    )


def _in_air(solid: Model, work: LayerWork, piece: Hanging) -> Finding:
    return Finding(
        code="in-air",
        level="warning",
        layer=work.layer.plan.index,
        at_mm=(*piece.at, work.layer.plan.z),
        face=None if piece.face < 0 else solid.faces[piece.face].id,
        measured=piece.area,
        allowed=0.0,
        unit="mm2",
        text="a part of the layer begins in the air: nothing below carries it; turn the part, or print what carries it",
    )
