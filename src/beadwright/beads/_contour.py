"""Contour beads: parallel to the boundary of the layer's region, from the outside in."""

from __future__ import annotations

import math
from dataclasses import dataclass

from beadwright.arcs import Lost, lost, offset
from beadwright.beads._bead import Bead
from beadwright.beads._loops import nearest_loop
from beadwright.beads._thin import thin_places
from beadwright.curves import ArcPath, signed_area
from beadwright.errors import SettingsError
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding

# What printing with 4 decimals may move a bead by, mm: three units of the last place.
PRINTED = 3e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerBeads:
    """The beads of one layer, not yet in order.

    Attributes
    ----------
    beads : tuple of Bead
        Rank by rank from the outside in; their order depends on nothing but the layer.
    bound : float
        Greatest proven error of the offsets, mm: it adds to the layer's ``region``.
    findings : tuple of Finding
        ``thin`` for each place that no bead reaches; ``neck`` for each of `lost`.
    lost : tuple of Lost
        Places where the true offset curve may go on and the printed one does not.
    grey : int
        Places where an offset region vanishes within the audit's reach: necks of width 0.
    fallbacks : int
        How often polygons had to stand in for lines and arcs.
    """

    beads: tuple[Bead, ...]
    bound: float
    findings: tuple[Finding, ...]
    lost: tuple[Lost, ...] = ()
    grey: int = 0
    fallbacks: int = 0


def contour_beads(
    layer: LayerRegion,
    *,
    width: float,
    height: float,
    spacing: float,
    contours: int,
    rounding: float = PRINTED,
) -> LayerBeads:
    """Lay up to `contours` beads along every loop of the region, holes too.

    The centreline of rank k is the boundary of all points of the region that lie at least
    ``width / 2 + (k - 1) spacing`` inside it, offset from the region itself, never from the bead before.
    Where that is empty there are no beads of this rank nor of any higher one.

    Parameters
    ----------
    layer : LayerRegion
        What to cover.
    width, height, spacing : float
        Of the beads, mm, above 0; spacing is from centreline to centreline.
    contours : int
        Greatest rank, at least 1.
    rounding : float
        What printing may move a bead by, mm: about three units of the last place.

    Returns
    -------
    LayerBeads
        Material on the left of every bead. A place thinner than one bead is a finding, and so is a neck that
        is there or not within the bounds so far, so that a bead of the true region may be missing.

    Raises
    ------
    SettingsError
        If a measure is not above 0.
    """
    check_sizes(width=width, height=height, spacing=spacing, contours=contours)
    beads: list[Bead] = []
    outermost: list[ArcPath] = []
    necks: list[Lost] = []
    bound, grey, fallbacks = 0.0, 0, 0
    for rank in range(1, contours + 1):
        distance = width / 2 + (rank - 1) * spacing
        inner = offset(layer.region, distance=distance)
        bound = max(bound, inner.bound.mm)
        grey, fallbacks = grey + inner.grey, fallbacks + inner.fallbacks
        error = layer.budget.total + inner.bound.mm + rounding
        necks += [
            place for place in lost(layer.region, distance=distance, error=error) if place.kind == "neck"
        ]
        if not inner.region.loops:
            break
        if rank == 1:
            outermost = list(inner.region.loops)
        for place, path in enumerate(inner.region.loops):
            beads.append(
                Bead(
                    path=path,
                    role="contour",
                    rank=rank,
                    loop=place if rank == 1 else nearest_loop(path, outermost),
                    hole=signed_area(path) < 0,
                    offset=distance,
                    width=width,
                    height=height,
                )
            )
    first = [bead for bead in beads if bead.rank == 1]
    findings = thin_places(layer.region, first, width=width, layer=layer.plan.index, z=layer.plan.z)
    return LayerBeads(
        beads=tuple(beads),
        bound=bound,
        findings=(*findings, *(_neck(place, layer) for place in necks)),
        lost=tuple(necks),
        grey=grey,
        fallbacks=fallbacks,
    )


def _neck(place: Lost, layer: LayerRegion) -> Finding:
    """The finding for a place where a bead of the true region may be missing."""
    return Finding(
        code="neck",
        level="warning",
        layer=layer.plan.index,
        at_mm=(*place.at, layer.plan.z),
        measured=place.width,
        unit="mm",
        text=f"a neck {place.length:.1f} mm long is so nearly two offsets wide that a bead may not fit",
    )


def check_sizes(**sizes: float) -> None:
    """Raise SettingsError for a measure that is not above 0."""
    for name, size in sizes.items():
        if not (math.isfinite(size) and size > 0):
            msg = f"{name} must be above 0, not {size}"
            raise SettingsError(msg)
