"""The beads of one layer: contour beads, what lies inside them, and what all of them cover."""

from __future__ import annotations

from beadwright.beads import (
    Coverage,
    FillPlan,
    LayerBeads,
    contour_beads,
    coverage,
    covering_loss,
    fill_beads,
    wall_range,
)
from beadwright.layers import LayerRegion
from beadwright.pipeline._stages import Stages
from beadwright.settings import PlanSettings


def solid_beads(
    settings: PlanSettings, spacing: float, rounding: float, layer: LayerRegion, stages: Stages
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
    stages : Stages
        Grows by what it took.

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
        )
    if settings.fill.kind in {"lines", "ribs"}:
        with stages.measure("fill"):
            laid = fill_beads(
                layer, laid, fill_plan(settings), width=settings.width, spacing=spacing, limits=limits
            )
    with stages.measure("coverage"):
        covered = coverage(
            layer,
            laid.beads,
            width=settings.width,
            loss=covering_loss(settings.bead_section, layer.plan.height),
            hollow=laid.rest,
        )
    return laid, covered


def fill_plan(settings: PlanSettings) -> FillPlan:
    """What is laid inside the contour beads, as the settings ask."""
    fill = settings.fill
    return FillPlan(
        kind=fill.kind,
        angles=fill.angles,
        joined=fill.joined,
        overlap=fill.overlap,
        rib_spacing=fill.rib_spacing,
    )
