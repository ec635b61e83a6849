"""Gaps between beads that no bead fills: narrower than the narrowest one, and wider than its neighbours can be made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from beadwright.arcs import offset, subtract
from beadwright.beads._axis import Sounded, sounded
from beadwright.beads._middle import Middle
from beadwright.beads._rows import pieces_of
from beadwright.beads._sides import Stretch
from beadwright.beads._zones import Zones
from beadwright.curves import ArcRegion, inside, region_area
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding

# A gap narrower than this share of the width is none: a hundredth of a bead is far below what beads can be laid to.
CLOSED = 0.01
# Lengths of middles below this many widths are corners, not gaps.
SHORT = 1.0
# What findings say of the reason.
ONE_WIDTH = (
    "no one width of the beads beside it closes it all along; with an extruder axis, or a screw speed that the program"
    " commands, widths follow the wall"
)
WIDEST = "the beads beside it are as wide as they can be, and one more would be too many"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gaps:
    """Regions that whole beads cannot reach, a finding for each, and how often polygons had to stand in."""

    regions: tuple[ArcRegion, ...] = ()
    findings: tuple[Finding, ...] = ()
    fallbacks: int = 0

    def taken_from(self, region: ArcRegion) -> tuple[ArcRegion, int, float]:
        """What is left of a region without them, how often polygons had to stand in, and the bound, mm."""
        fallbacks, bound = 0, 0.0
        for each in self.regions:
            if region.loops:
                left = subtract(region, each)
                region, fallbacks, bound = left.region, fallbacks + left.fallbacks, bound + left.bound.mm
        return region, fallbacks, bound

    @property
    def area(self) -> float:
        """Of all together, mm2."""
        return math.fsum(region_area(each) for each in self.regions)

    def __add__(self, other: Gaps) -> Gaps:
        """Both together."""
        return Gaps(
            regions=self.regions + other.regions,
            findings=self.findings + other.findings,
            fallbacks=self.fallbacks + other.fallbacks,
        )


NO_GAPS = Gaps()
"""None."""


def gaps_of(
    rest: ArcRegion,
    layer: LayerRegion,
    *,
    below: float,
    width: float,
    tolerance: float,
    why: str = ONE_WIDTH,
    sounding: Sounded | None = None,
) -> Gaps:
    """Gaps of what beads leave.

    A gap is what no disc of the diameter `below` inside the rest covers (the rest less its opening), where two sides of
    the rest face each other; the corners that a disc does not reach either are no gaps.

    Parameters
    ----------
    rest : ArcRegion
        What the beads so far leave.
    layer : LayerRegion
        For its place in the build.
    below : float
        Least width of a bead, mm.
    width : float
        Nominal, of the bead, mm.
    tolerance : float
        Of the middles of curved gaps, mm.
    why : str
        What findings say of the reason.
    sounding : Sounded, optional
        Of the rest, in steps of half of `below` and as wide at least, where others use it too.
    """
    sounding = sounding or sounded(rest, most=below / 2, step=below / 2)
    if sounding is None:
        return NO_GAPS
    found = sounding.walls(least=CLOSED * width / 2, most=below / 2, tolerance=tolerance)
    lines = [line for line in found.middles() if _run(line) >= SHORT * width]
    if not lines:
        return NO_GAPS
    core = offset(rest, distance=below / 2)
    opened = offset(core.region, distance=-below / 2) if core.region.loops else core
    narrow = subtract(rest, opened.region) if opened.region.loops else None
    parts = pieces_of(rest if narrow is None else narrow.region)
    kept: list[ArcRegion] = []
    findings: list[Finding] = []
    for part in parts:
        own = [line for line in lines if inside(part, line.at).any()]
        if own:
            kept.append(part)
            findings.append(_finding(own, layer, below, why))
    used = (core, opened) if opened is not core else (core,)
    return Gaps(
        regions=tuple(kept),
        findings=tuple(findings),
        fallbacks=sum(each.fallbacks for each in used) + (0 if narrow is None else narrow.fallbacks),
    )


def unclosed(
    layer: LayerRegion,
    sides: Sequence[Stretch],
    zones: Zones,
    *,
    depth: float,
    width: float,
    tolerance: float,
) -> Gaps:
    """What two beads that share a wall leave between them at their widest, where three do not fit yet.

    Parameters
    ----------
    layer : LayerRegion
    sides : sequence of Stretch
        Of the walls that lie `depth` inside its region.
    zones : Zones
        How many beads a wall takes.
    depth : float
        mm.
    width : float
        Nominal, of the bead, mm.
    tolerance : float
        Of the middles of curved gaps, mm.
    """
    filled = 2 * zones.limits.most - zones.overlap
    thick = np.concatenate([np.zeros(0), *(2 * side.radius for side in sides)])
    if not ((thick > filled + CLOSED * width) & (zones.number(thick) == 2)).any():
        return NO_GAPS
    between = offset(layer.region, distance=depth + filled / 2)
    above = min(cut for cut in zones.cuts if cut > filled)
    found = gaps_of(between.region, layer, below=above - filled, width=width, tolerance=tolerance, why=WIDEST)
    return replace(found, fallbacks=found.fallbacks + between.fallbacks)


def _run(line: Middle) -> float:
    return float(np.hypot(*np.diff(line.at, axis=0).T).sum())


def _finding(lines: Sequence[Middle], layer: LayerRegion, below: float, why: str) -> Finding:
    """The finding for one gap, at its widest."""
    wide = 2 * np.concatenate([line.radius for line in lines])
    x, y = np.concatenate([line.at for line in lines])[int(wide.argmax())]
    return Finding(
        code="gap",
        level="warning",
        layer=layer.plan.index,
        at_mm=(float(x), float(y), layer.plan.z),
        measured=round(float(wide.max()), 6),
        allowed=round(below, 6),
        unit="mm",
        text=f"{sum(map(_run, lines)):.1f} mm of a gap {wide.min():.2f} to {wide.max():.2f} mm wide between beads stay"
        f" open: less than the narrowest bead, {below:.2f} mm; {why}",
    )
