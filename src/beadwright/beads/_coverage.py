"""What the beads of a layer cover of its region, with the width that their material fills.

A bead of area A and height h fills a band of width A / h: of a flat section its width, of one between two
half discs (1 - pi / 4) h less. What is laid beyond what is covered is overfill: of a corner that turns by t
w^2 (tan(t / 2) / 4 - t / 8), of a crossing at an angle t w^2 / sin t.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from beadwright.arcs import Offsets, cover, offset, subtract
from beadwright.beads._bead import Bead
from beadwright.beads._gaps import NO_GAPS, Gaps
from beadwright.curves import ArcRegion, length, region_area
from beadwright.layers import LayerRegion


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """Areas of one layer, mm2, with the beads' covering width; volumes, mm3.

    Attributes
    ----------
    covered, underfilled : float
        Of the layer's region: covered by at least one bead, and by none.
    overfilled : float
        Laid beyond what beads cover: length times covering width, less the area covered.
    doubled : float
        Covered by more than one bead.
    outside : float
        Covered beside the region.
    reachable, reached : float
        What whole beads inside the region could cover of that part of it which is to be filled, and what is
        covered of that: all points of a disc of a bead's width inside it (the region's opening), less what is
        hollow and less the gaps.
    unreachable : float
        Of the gaps between beads that no bead can fill, which are no part of what is reachable.
    crossings : float
        Laid by ribs beyond what ribs cover: where they lie on each other.
    deposited, designed : float
        Volume of the beads, and of the region, mm3.
    """

    covered: float
    underfilled: float
    overfilled: float
    doubled: float
    outside: float
    reachable: float
    reached: float
    unreachable: float
    crossings: float
    deposited: float
    designed: float

    @property
    def missed(self) -> float:
        """Share of what whole beads could cover that none covers."""
        return 1.0 - self.reached / self.reachable if self.reachable > 0 else 0.0

    @property
    def excess(self) -> float:
        """What is laid beyond what beads cover, crossings of ribs aside, as a share of what they cover."""
        total = self.covered + self.outside
        return (self.overfilled - self.crossings) / total if total > 0 else 0.0

    def as_dict(self) -> dict[str, float]:
        """Keys of the plan's JSON."""
        return {
            "covered_mm2": self.covered,
            "underfilled_mm2": self.underfilled,
            "overfilled_mm2": self.overfilled,
            "doubled_mm2": self.doubled,
            "outside_mm2": self.outside,
            "reachable_mm2": self.reachable,
            "reached_mm2": self.reached,
            "unreachable_mm2": self.unreachable,
            "rib_crossings_mm2": self.crossings,
            "deposited_mm3": self.deposited,
            "designed_mm3": self.designed,
        }


def covering_loss(section: Literal["flat", "round"], height: float) -> float:
    """By how much the covering width of a bead is less than its width, mm.

    Examples
    --------
    A round bead of 8.4 x 4 mm fills 7.541593 mm:

    >>> round(8.4 - covering_loss("round", 4.0), 6)
    7.541593
    """
    return 0.0 if section == "flat" else (1 - math.pi / 4) * height


def coverage(
    layer: LayerRegion,
    beads: Sequence[Bead],
    *,
    width: float,
    loss: float,
    hollow: ArcRegion,
    gaps: Gaps = NO_GAPS,
    offsets: Offsets | None = None,
) -> Coverage | None:
    """Measure what the beads of a layer cover.

    Parameters
    ----------
    layer : LayerRegion
    beads : sequence of Bead
        All of the layer.
    width : float
        Of a whole bead, mm.
    loss : float
        By how much less than its width a bead fills (see `covering_loss`), mm.
    hollow : ArcRegion
        What is not to be filled.
    gaps : Gaps
        Between beads, in what is to be filled, that no bead can fill.
    offsets : Offsets, optional
        Of the layer's region, where others ask for some of the same.

    Returns
    -------
    Coverage or None
        None where the areas could not be had for certain.
    """
    strips = [(path, width - loss) for bead in beads for path, width in bead.strips()]
    core = (offsets or Offsets(layer.region))(width / 2).region
    reach = offset(core, distance=(loss - width) / 2).region if core.loops else core
    if hollow.loops and reach.loops:
        reach = subtract(reach, hollow).region
    reach, _, _ = gaps.taken_from(reach)
    found = cover(strips, (layer.region, reach))
    ribs = [(bead.path, bead.width - loss) for bead in beads if bead.role == "rib"]
    crossed = cover(ribs)
    if found is None or crossed is None:
        return None
    area = region_area(layer.region)
    laid = math.fsum(length(path) * covering for path, covering in strips)
    return Coverage(
        covered=found.inside[0],
        underfilled=max(area - found.inside[0], 0.0),
        overfilled=laid - found.union,
        doubled=found.twice,
        outside=max(found.union - found.inside[0], 0.0),
        reachable=region_area(reach),
        reached=found.inside[1],
        unreachable=gaps.area,
        crossings=math.fsum(length(path) * covering for path, covering in ribs) - crossed.union,
        # The mean width along a bead of varying width gives its volume.
        deposited=math.fsum(length(b.path) * (b.width - loss) * b.height for b in beads),
        designed=area * layer.plan.height,
    )
