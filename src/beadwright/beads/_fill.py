"""What lies inside the contour beads of a layer: lines side by side, or ribs apart from each other."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from beadwright.arcs import intersect, offset, subtract, swept
from beadwright.beads._bead import Bead, Role
from beadwright.beads._contour import NOTHING, LayerBeads
from beadwright.beads._decks import Deck
from beadwright.beads._lines import Laid, LinePattern, line_beads
from beadwright.beads._medial import WallRange
from beadwright.beads._ribs import RibPattern, rib_beads
from beadwright.curves import ArcRegion
from beadwright.layers import LayerRegion


@dataclass(frozen=True, slots=True, kw_only=True)
class FillPlan:
    """What is laid inside the contour beads.

    Attributes
    ----------
    kind : {"none", "lines", "contour", "ribs"}
        ``contour`` is a matter of the contour beads: they go on until the region is full.
    angles : tuple of float
        Against x, rad: of lines one a layer in turn, of ribs all in every layer.
    joined : bool
        Whether lines are joined along the contour.
    overlap : float
        Share of the width by which ends overlap what they meet.
    rib_spacing : float
        mm.
    """

    kind: Literal["none", "lines", "contour", "ribs"]
    angles: tuple[float, ...]
    joined: bool
    overlap: float
    rib_spacing: float


def fill_beads(
    layer: LayerRegion,
    laid: LayerBeads,
    plan: FillPlan,
    *,
    width: float,
    spacing: float,
    limits: WallRange,
    deck: Deck | None = None,
) -> LayerBeads:
    """Add to the contour beads of a layer what lies inside them.

    Parameters
    ----------
    layer : LayerRegion
    laid : LayerBeads
        Its contour beads.
    plan : FillPlan
    width, spacing : float
        Of whole beads, mm.
    limits : WallRange
        Of what one bead can take.
    deck : Deck, optional
        What is to be closed whatever the plan says.

    Returns
    -------
    LayerBeads
        ``rest`` is what stays hollow on purpose.
    """
    inside, fallbacks, bound = _open(laid)
    if not inside.loops or plan.kind == "contour":
        return replace(laid, rest=NOTHING if plan.kind == "contour" else inside)
    core = offset(layer.region, distance=width / 2).region
    index = layer.plan.index
    found: list[tuple[Role, Laid]] = []
    overlap = plan.overlap * width

    def lines(region: ArcRegion) -> tuple[Laid, ...]:
        angle = math.radians(plan.angles[index % len(plan.angles)])
        pattern = LinePattern(
            angle=angle, spacing=spacing, width=width, overlap=overlap, joined=plan.joined, limits=limits
        )
        return line_beads(region, core, pattern)

    open_ = inside
    if deck is not None and deck.region.loops and plan.kind != "lines":
        closed = intersect(deck.region, inside)
        found += [("deck", each) for each in lines(closed.region)]
        rest = subtract(inside, deck.region)
        open_ = rest.region
        fallbacks += deck.fallbacks + closed.fallbacks + rest.fallbacks
        bound += deck.bound + closed.bound.mm + rest.bound.mm
    if plan.kind == "lines":
        found += [("fill", each) for each in lines(open_)]
    elif plan.kind == "ribs":
        pattern = RibPattern(
            angles=tuple(math.radians(angle) for angle in plan.angles),
            spacing=plan.rib_spacing,
            width=width,
            overlap=overlap,
            first=index % len(plan.angles),
        )
        found += [("rib", each) for each in rib_beads(open_, core, pattern)]
    rank = 1 + max((bead.rank for bead in laid.beads), default=0)
    loop = 1 + max((bead.loop for bead in laid.beads), default=-1)
    beads = [
        Bead(
            path=each.path,
            role=role,
            rank=rank,
            loop=loop + place,
            hole=False,
            offset=width / 2,
            width=each.width,
            height=layer.plan.height,
        )
        for place, (role, each) in enumerate(found)
    ]
    return replace(
        laid,
        beads=(*laid.beads, *beads),
        bound=max(laid.bound, bound),
        fallbacks=laid.fallbacks + fallbacks,
        rest=NOTHING if plan.kind == "lines" else open_,
    )


def _open(laid: LayerBeads) -> tuple[ArcRegion, int, float]:
    """What lies inside the contour beads less the medial beads there; polygons used, and the bound, mm."""
    inner = [
        (bead.path, bead.width)
        for bead in laid.beads
        if bead.role == "medial" and bead.rank > 1 and laid.rest.loops
    ]
    if not inner:
        return laid.rest, 0, 0.0
    less = subtract(laid.rest, swept(inner).region)
    return less.region, less.fallbacks, less.bound.mm
