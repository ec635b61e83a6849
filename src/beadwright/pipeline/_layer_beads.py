"""The beads of one layer: contour beads, what lies inside them, and what all of them cover."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from beadwright.beads import (
    Allowance,
    Coverage,
    FillPlan,
    LayerBeads,
    base_beads,
    contour_beads,
    coverage,
    covering_loss,
    deck_region,
    fill_beads,
    wall_range,
)
from beadwright.curves import ArcRegion
from beadwright.layers import LayerRegion
from beadwright.pipeline._stages import Stages
from beadwright.settings import PlanSettings


def solid_beads(
    settings: PlanSettings,
    spacing: float,
    rounding: float,
    layer: LayerRegion,
    beside: Sequence[ArcRegion],
    stages: Stages,
    *,
    vary: bool = False,
) -> tuple[LayerBeads, Coverage | None]:
    """Lay the beads of a solid's layer.

    Parameters
    ----------
    settings : PlanSettings
    spacing : float
        Of the beads, mm.
    rounding : float
        What printing may move an arc by, mm.
    layer : LayerRegion
    beside : sequence of ArcRegion
        Regions of the layers above and below that tell where this one is exposed.
    stages : Stages
        Grows by what it took.
    vary : bool
        Whether the flow can change inside a bead.

    Returns
    -------
    tuple of LayerBeads and Coverage
        No coverage where it could not be had for certain.
    """
    limits = wall_range(width=settings.width, spacing=spacing, bore=settings.nozzle_bore())
    with stages.measure("beads"):
        laid = contour_beads(
            layer,
            width=settings.width,
            height=layer.plan.height,
            spacing=spacing,
            contours=settings.ranks(),
            walls=limits if settings.medial else None,
            tolerance=settings.tolerance,
            rounding=rounding,
            vary=vary,
        )
    loss = covering_loss(settings.bead_section, layer.plan.height)
    fill = settings.fill

    def covering(beads: LayerBeads) -> Coverage | None:
        with stages.measure("coverage"):
            return coverage(layer, beads.beads, width=settings.width, loss=loss, hollow=beads.rest)

    if fill.kind == "none" and not beside:
        return laid, covering(laid)
    with stages.measure("fill"):
        deck = deck_region(
            laid.rest,
            beside,
            width=settings.width,
            reach=settings.width if fill.deck_reach is None else fill.deck_reach,
        )

    def filled(allowance: Allowance | None) -> LayerBeads:
        with stages.measure("fill"):
            return fill_beads(
                layer,
                laid,
                fill_plan(settings),
                width=settings.width,
                spacing=spacing,
                limits=limits,
                deck=deck,
                allowance=allowance,
                tolerance=settings.tolerance,
            )

    asked = filled(None)
    found = covering(asked)
    if found is None or not fill.adapt:
        return asked, found
    allowance = Allowance(
        found=found, underfill=fill.underfill_limit, overfill=fill.overfill_limit, loss=loss
    )
    if not allowance.exceeded:
        return asked, found
    better = filled(allowance)
    return (better, covering(better)) if better.refilled else (asked, found)


def with_base(settings: PlanSettings, spacing: float, layer: LayerRegion, laid: LayerBeads) -> LayerBeads:
    """The beads of a layer and, at the foot of the part, base beads and pads beside it."""
    index = layer.plan.index
    count = settings.base_beads if index < settings.base_layers else 0
    pads = [pad.rectangle() for pad in settings.pad if index < pad.layers]
    if not count and not pads:
        return laid
    made = base_beads(
        layer,
        count=count,
        pads=pads,
        width=settings.width,
        height=layer.plan.height,
        spacing=spacing,
        walls=wall_range(width=settings.width, spacing=spacing, bore=settings.nozzle_bore())
        if settings.medial
        else None,
        tolerance=settings.tolerance,
    )
    first = 1 + max((bead.loop for bead in laid.beads), default=-1)
    return replace(
        laid,
        beads=(*laid.beads, *(replace(bead, loop=first + bead.loop) for bead in made.beads)),
        bound=max(laid.bound, made.bound),
        findings=(*laid.findings, *made.findings),
        fallbacks=laid.fallbacks + made.fallbacks,
    )


def fill_plan(settings: PlanSettings) -> FillPlan:
    """What is laid inside the contour beads, as the settings ask."""
    fill = settings.fill
    return FillPlan(
        kind=fill.kind,
        angles=fill.angles,
        joined=fill.joined,
        overlap=fill.overlap,
        rib_spacing=fill.rib_spacing,
        contours=settings.contours,
        turned_ribs=fill.rib_crossings == "turned",
    )
