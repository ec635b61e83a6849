"""What is told of the lean of a whole plan."""

from __future__ import annotations

from collections.abc import Sequence

from beadwright.brep import Model
from beadwright.layers import Hanging, greatest_reach
from beadwright.numeric import Finding, counted
from beadwright.pipeline._hanging import standing_out
from beadwright.pipeline._layer_work import LayerWork
from beadwright.settings import PlanSettings


def lean_findings(solid: Model, works: Sequence[LayerWork], settings: PlanSettings) -> tuple[Finding, ...]:
    """One finding for each face that hangs over, at its worst layer, and one for each part that begins in the air."""
    worst: dict[int, tuple[float, int, Hanging]] = {}
    layers: dict[int, int] = {}
    found = []
    for row, work in enumerate(works):
        areas: dict[int, float] = {}
        for piece in work.hanging or ():
            if piece.air:
                found.append(_in_air(solid, work, piece))
            else:
                areas[piece.face] = areas.get(piece.face, 0.0) + piece.area
        for face, area in areas.items():
            layers[face] = layers.get(face, 0) + 1
            if area > worst.get(face, (0.0,))[0]:
                pieces = [p for p in work.hanging or () if p.face == face and not p.air]
                worst[face] = area, row, max(pieces, key=lambda p: p.area)
    for face, (area, row, piece) in sorted(worst.items()):
        work, below = works[row], works[row - 1]
        allowed = standing_out(work.layer, below.layer, settings)
        reach = greatest_reach(work.layer.region, below.layer.region, allowed)
        told = "" if reach is None else f", by up to {reach:.2f} mm where {allowed:.2f} mm are allowed"
        what = "a lid over an opening" if face < 0 else "a face"
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
