"""What lies inside the contour beads of a layer: lines side by side, or ribs apart from each other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from beadwright.arcs import intersect, offset, subtract, swept
from beadwright.beads._bead import Bead, Role
from beadwright.beads._contour import AS_ASKED, NOTHING, LayerBeads, Refilled, contour_beads
from beadwright.beads._crossed import joined_rings
from beadwright.beads._decks import Deck
from beadwright.beads._lines import Laid, LinePattern
from beadwright.beads._refill import Allowance, Refill, laid_lines, refilled
from beadwright.beads._ribs import RibPattern, rib_beads
from beadwright.beads._zones import WallRange
from beadwright.curves import ArcRegion
from beadwright.layers import LayerRegion

# Contour-parallel beads of a piece: as many as fit.
MOST_RINGS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class FillPlan:
    """What is laid inside the contour beads.

    Attributes
    ----------
    kind : {"none", "lines", "contour", "ribs"}
        ``contour``: contour beads went on until the region was full; those of a rank above `contours` become
        fill.
    contours : int
        Contour beads that stay so.
    turned_ribs : bool
        Whether beads turn where ribs cross; else one rib is broken.
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
    contours: int = 2
    turned_ribs: bool = False


def fill_beads(
    layer: LayerRegion,
    laid: LayerBeads,
    plan: FillPlan,
    *,
    width: float,
    spacing: float,
    limits: WallRange,
    rib_width: float | None = None,
    deck: Deck | None = None,
    allowance: Allowance | None = None,
    tolerance: float = 0.01,
) -> LayerBeads:
    """Add to the contour beads of a layer what lies inside them.

    Parameters
    ----------
    layer : LayerRegion
    laid : LayerBeads
        Its contour beads.
    plan : FillPlan
    width, spacing : float
        Of whole beads of fill, mm.
    limits : WallRange
        Of what one bead can take.
    rib_width : float, optional
        Of ribs, mm, where they differ.
    deck : Deck, optional
        What is to be closed whatever the plan says.
    allowance : Allowance, optional
        What the layer may miss, where it passed that as asked: lines are then laid as well as they can be.
    tolerance : float
        Of the middles of curved walls, mm.

    Returns
    -------
    LayerBeads
        ``rest`` is what stays hollow on purpose.
    """
    core = offset(layer.region, distance=width / 2).region
    if plan.kind == "contour":
        return _crossed(layer, laid, plan, core, spacing)
    inside, fallbacks, bound = _open(laid, limits)
    if not inside.loops:
        return replace(laid, rest=inside)
    index = layer.plan.index
    found: list[tuple[Role, Laid]] = []
    overlap = plan.overlap * width

    told: list[Refill] = []

    def rings(region: ArcRegion) -> LayerBeads:
        return contour_beads(
            replace(layer, region=region),
            width=width,
            height=layer.plan.height,
            spacing=spacing,
            contours=MOST_RINGS,
            walls=limits,
            tolerance=tolerance,
        )

    def lines(region: ArcRegion) -> tuple[Laid, ...]:
        pattern = LinePattern(
            angle=math.radians(plan.angles[index % len(plan.angles)]),
            spacing=spacing,
            width=width,
            overlap=overlap,
            joined=float(plan.joined),
            limits=limits,
        )
        if allowance is None:
            found, apart = laid_lines(region, core, pattern)
            told.append(Refill(laid=found, told=Refilled(apart=apart), by=()))
            return found
        told.append(refilled(region, core, pattern, allowance=allowance, rings=rings, layer=index))
        return told[-1].laid

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
        rib = width if rib_width is None else rib_width
        pattern = RibPattern(
            angles=tuple(math.radians(angle) for angle in plan.angles),
            spacing=plan.rib_spacing,
            width=rib,
            overlap=plan.overlap * rib,
            first=index % len(plan.angles),
            turned=plan.turned_ribs,
            crossed=index % 2 == 1,
        )
        room = core if rib == width else offset(layer.region, distance=rib / 2).region
        found += [("rib", each) for each in rib_beads(open_, room, pattern)]
    beads = _as_beads(found, laid.beads, width=width, height=layer.plan.height)
    by = [each for refill in told for each in refill.by]
    return replace(
        laid,
        beads=(*laid.beads, *beads),
        bound=max(laid.bound, bound, *(each.bound for each in by)),
        fallbacks=laid.fallbacks + fallbacks + sum(each.fallbacks for each in by),
        refilled=sum((refill.told for refill in told), AS_ASKED),
        rest=NOTHING if plan.kind == "lines" else open_,
        joined=sum(each.joined for _, each in found),
    )


def _as_beads(
    found: Sequence[tuple[Role, Laid]], others: Sequence[Bead], *, width: float, height: float
) -> list[Bead]:
    """Beads of what was laid beside others, each a loop of its own."""
    rank = 1 + max((bead.rank for bead in others), default=0)
    loop = 1 + max((bead.loop for bead in others), default=-1)
    return [
        Bead(
            path=each.path,
            role=role,
            rank=rank,
            loop=loop + place,
            hole=False,
            offset=width / 2,
            width=each.width,
            height=height,
        )
        for place, (role, each) in enumerate(found)
    ]


def _crossed(
    layer: LayerRegion, laid: LayerBeads, plan: FillPlan, core: ArcRegion, spacing: float
) -> LayerBeads:
    """Contour beads of higher ranks as fill, joined by cross-overs if asked."""
    rings = [bead for bead in laid.beads if bead.role == "contour" and bead.rank > plan.contours]
    kept = tuple(bead for bead in laid.beads if bead.role != "contour" or bead.rank <= plan.contours)
    found = (
        joined_rings(rings, core, spacing=spacing, layer=layer.plan.index)
        if plan.joined
        else tuple(Laid(path=ring.path, width=ring.width) for ring in rings)
    )
    if not found:
        return replace(laid, rest=NOTHING)
    beads = _as_beads([("fill", each) for each in found], kept, width=rings[0].width, height=rings[0].height)
    return replace(laid, beads=(*kept, *beads), rest=NOTHING, joined=len(rings))


def _open(laid: LayerBeads, limits: WallRange) -> tuple[ArcRegion, int, float]:
    """What lies inside the contour beads less the walls that medial beads make there; polygons, and the bound, mm.

    A wall is taken out as wide as one bead can make it, so that no slivers stay beside its bead; gaps that no bead can
    fill are none of the fill's either.
    """
    rest, fallbacks, bound = laid.gaps.taken_from(laid.rest)
    inner = [
        (bead.path, limits.most)
        for bead in laid.beads
        if bead.role == "medial" and bead.rank > 1 and rest.loops
    ]
    if not inner:
        return rest, fallbacks, bound
    less = subtract(rest, swept(inner).region)
    return less.region, fallbacks + less.fallbacks, bound + less.bound.mm
