"""Beads beside the part at its foot: base beads round it, and pads to hold it down by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from beadwright.arcs import intersect, offset, subtract, unite
from beadwright.beads._bead import Bead
from beadwright.beads._contour import NOTHING, LayerBeads, contour_beads
from beadwright.beads._zones import WallRange
from beadwright.curves import ArcPath, ArcRegion, signed_area
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding

Pad = tuple[float, float, float, float]
"""Least x, least y, greatest x, greatest y of a rectangle, mm."""

# Ranks in a pad: more than fit into any.
FULL = 1000
# A pad that only touches the part holds it; it may miss it by what doubles lose, mm.
TOUCH = 1e-3


def base_beads(
    layer: LayerRegion,
    *,
    count: int,
    pads: Sequence[Pad],
    width: float,
    height: float,
    spacing: float,
    walls: WallRange | None,
    tolerance: float,
) -> LayerBeads:
    """Lay base beads round a layer's region, and pads beside them.

    Base bead k follows the boundary of all points at most ``k spacing - width / 2`` outside the region, so that the
    first lies beside the outermost contour bead as that beside the next; holes stay free. Pads are filled with
    contour beads as far as neither part nor base beads take the place.

    Parameters
    ----------
    layer : LayerRegion
    count : int
        Base beads; 0 for none.
    pads : sequence of (float, float, float, float)
    width, height, spacing : float
        Of the beads, mm.
    walls : WallRange or None
        As of `contour_beads`, inside the pads.
    tolerance : float
        Likewise, mm.

    Returns
    -------
    LayerBeads
        All of role ``base``; ``offset`` is below 0. A pad that does not touch the part or its base beads is a
        finding, and so is one into which no bead fits.
    """
    beads: list[Bead] = []
    bound, fallbacks = 0.0, 0
    foot = layer.region
    if not foot.loops:
        return LayerBeads(beads=(), bound=0.0, findings=())
    for rank in range(1, count + 1):
        distance = width / 2 - rank * spacing
        grown = offset(foot, distance=distance)
        bound, fallbacks = max(bound, grown.bound.mm), fallbacks + grown.fallbacks
        outer = [path for path in grown.region.loops if signed_area(path) > 0]
        beads += [_base(path, rank, loop, distance, width, height) for loop, path in enumerate(outer)]
    findings: list[Finding] = []
    if pads:
        taken = foot
        if count:
            grown = offset(foot, distance=-count * spacing)
            taken, bound = grown.region, max(bound, grown.bound.mm)
            fallbacks += grown.fallbacks
        findings += [finding for row, pad in enumerate(pads) if (finding := _apart(layer, taken, pad, row))]
        left = subtract(unite([_rectangle(pad) for pad in pads]).region, taken)
        laid = contour_beads(
            replace(layer, region=left.region),
            width=width,
            height=height,
            spacing=spacing,
            contours=FULL,
            walls=walls,
            tolerance=tolerance,
        )
        bound, fallbacks = max(bound, left.bound.mm, laid.bound), fallbacks + left.fallbacks + laid.fallbacks
        first = 1 + max((bead.loop for bead in beads), default=-1)
        beads += [
            replace(bead, role="base", offset=-bead.offset, loop=first + bead.loop) for bead in laid.beads
        ]
        findings += [
            finding for row, pad in enumerate(pads) if (finding := _empty(layer, laid.beads, pad, row))
        ]
    return LayerBeads(beads=tuple(beads), bound=bound, findings=tuple(findings), fallbacks=fallbacks)


def _base(path: ArcPath, rank: int, loop: int, distance: float, width: float, height: float) -> Bead:
    return Bead(
        path=path, role="base", rank=rank, loop=loop, hole=False, offset=distance, width=width, height=height
    )


def _rectangle(pad: Pad) -> ArcPath:
    x0, y0, x1, y1 = pad
    none = np.full(4, -1, np.int32)
    return ArcPath(
        points=np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]), bulge=np.zeros(4), face=none, support=none
    )


def _apart(layer: LayerRegion, taken: ArcRegion, pad: Pad, row: int) -> Finding | None:
    x0, y0, x1, y1 = pad
    near = (x0 - TOUCH, y0 - TOUCH, x1 + TOUCH, y1 + TOUCH)
    if intersect(ArcRegion(loops=(_rectangle(near),), supports=NOTHING.supports), taken).region.loops:
        return None
    return _told(
        "pad-apart", layer, pad, row, "touches neither the part nor its base beads and holds nothing"
    )


def _empty(layer: LayerRegion, beads: Sequence[Bead], pad: Pad, row: int) -> Finding | None:
    x0, y0, x1, y1 = pad
    low, high = np.array([x0, y0]), np.array([x1, y1])
    if any(((low <= bead.path.points) & (bead.path.points <= high)).all(axis=1).any() for bead in beads):
        return None
    return _told("pad-empty", layer, pad, row, "has no room for a bead beside the part; make it larger")


def _told(code: str, layer: LayerRegion, pad: Pad, row: int, text: str) -> Finding:
    x0, y0, x1, y1 = pad
    return Finding(
        code=code,
        level="warning",
        layer=layer.plan.index,
        at_mm=((x0 + x1) / 2, (y0 + y1) / 2, layer.plan.z),
        text=f"pad {row + 1} {text}",
    )
