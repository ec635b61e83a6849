"""The beads of one layer: contour beads, what lies inside them, and what all of them cover."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Protocol

from beadwright.arcs import Offsets
from beadwright.beads import (
    NO_GAPS,
    Allowance,
    Coverage,
    FillPlan,
    LayerBeads,
    Ranks,
    WallRange,
    WidthStep,
    base_beads,
    contour_beads,
    coverage,
    covering_loss,
    deck_region,
    fill_beads,
    rounded,
    wall_range,
)
from beadwright.curves import ArcRegion
from beadwright.layers import LayerRegion
from beadwright.pipeline._stages import Stages
from beadwright.settings import PlanSettings, WidthRole


class Room(Protocol):
    """What printing may move an arc by (mm), whether the flow can change inside a bead, and the stock by face (mm)."""

    @property
    def rounding(self) -> float: ...
    @property
    def vary(self) -> bool: ...
    @property
    def amounts(self) -> Mapping[int, float]: ...


def solid_beads(
    settings: PlanSettings,
    room: Room,
    layer: LayerRegion,
    beside: Sequence[ArcRegion],
    stages: Stages,
) -> tuple[LayerBeads, Coverage | None]:
    """Lay the beads of a solid's layer.

    Parameters
    ----------
    settings : PlanSettings
    room : Room
        What else the job says.
    layer : LayerRegion
    beside : sequence of ArcRegion
        Regions of the layers above and below that tell where this one is exposed.
    stages : Stages
        Grows by what it took.

    Returns
    -------
    tuple of LayerBeads and Coverage
        No coverage where it could not be had for certain.
    """
    outer, own = settings.width_of("outer"), settings.width_of("fill")
    with stages.measure("beads"):
        offsets = Offsets(layer.region)
        laid = contour_beads(
            layer,
            width=outer,
            height=layer.plan.height,
            spacing=settings.spacing_of("outer"),
            contours=settings.ranks(),
            steps=width_steps(settings),
            walls=walls_of(settings, "outer") if settings.medial else None,
            tolerance=settings.tolerance,
            rounding=room.rounding,
            vary=room.vary,
            offsets=offsets,
        )
        if settings.corner_radius is not None:
            laid = rounded(layer, laid, radius=settings.corner_radius, amounts=room.amounts)
    loss = covering_loss(settings.bead_section, layer.plan.height)
    fill = settings.fill
    filling = fill.kind in ("lines", "contour")
    if filling:
        laid = replace(laid, findings=(*laid.findings, *laid.gaps.findings))

    def covering(beads: LayerBeads) -> Coverage | None:
        with stages.measure("coverage"):
            return coverage(
                layer,
                beads.beads,
                width=outer,
                loss=loss,
                hollow=beads.rest,
                gaps=laid.gaps if filling else NO_GAPS,
                offsets=offsets,
            )

    if fill.kind == "none" and not beside:
        return laid, covering(laid)
    with stages.measure("fill"):
        deck = deck_region(
            laid.rest,
            beside,
            width=own,
            reach=own if fill.deck_reach is None else fill.deck_reach,
        )

    def filled(allowance: Allowance | None) -> LayerBeads:
        with stages.measure("fill"):
            return fill_beads(
                layer,
                laid,
                fill_plan(settings),
                width=own,
                spacing=settings.spacing_of("fill"),
                limits=walls_of(settings, "fill"),
                rib_width=settings.width_of("rib"),
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


def walls_of(settings: PlanSettings, role: WidthRole) -> WallRange:
    """How thick a wall one bead of a role, or two, can make."""
    return wall_range(
        width=settings.width_of(role), spacing=settings.spacing_of(role), bore=settings.nozzle_bore()
    )


def width_steps(settings: PlanSettings) -> tuple[WidthStep, ...]:
    """From which ranks on contour beads are of another width: the second, and those that are fill."""
    steps: list[tuple[int, WidthRole]] = (
        [(2, "inner"), (settings.contours + 1, "fill")] if settings.contours > 1 else [(2, "fill")]
    )
    found, before = [], settings.width_of("outer")
    for rank, role in steps:
        width = settings.width_of(role)
        if width != before:
            found.append(WidthStep(rank=rank, width=width, walls=walls_of(settings, role)))
        before = width
    return tuple(found)


def ranks_of(settings: PlanSettings) -> Ranks:
    """Widths and places of contour beads by rank."""
    return Ranks(
        width=settings.width_of("outer"), spacing=settings.spacing_of("outer"), steps=width_steps(settings)
    )


def offsets_of(settings: PlanSettings) -> tuple[float, ...]:
    """Distance of each rank's centrelines from the boundary, mm."""
    ranks = ranks_of(settings)
    return tuple(ranks.offset(rank) for rank in range(1, settings.contours + 1))


def with_base(settings: PlanSettings, layer: LayerRegion, laid: LayerBeads) -> LayerBeads:
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
        width=settings.width_of("base"),
        height=layer.plan.height,
        spacing=settings.spacing_of("base"),
        walls=walls_of(settings, "base") if settings.medial else None,
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
