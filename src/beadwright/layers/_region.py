"""What a layer's beads must cover: the region, its measures and its bounds."""

from __future__ import annotations

from dataclasses import dataclass, field

from beadwright.curves import ArcRegion
from beadwright.layers._plan import LayerPlan
from beadwright.numeric import Budget, Finding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerRegion:
    """The region of one layer: fitted lines and arcs, all solids united.

    Attributes
    ----------
    plan : LayerPlan
        The slab.
    section_z : tuple of float
        Heights of the planes *really used*, mm.
    region : ArcRegion
        Material on the left of every loop; empty where the slab misses the part.
    area, perimeter : float
        Of the region *before fitting*, mm2 and mm.
    n_loops, n_holes : int
        Loops of the region, and those of them that bound a hole.
    stock : float
        Amount by which the region was grown, mm.
    budget : Budget
        Bounds so far: model, section, fit, region (of the union).
    findings : tuple of Finding
        What was met on the way.
    """

    plan: LayerPlan
    section_z: tuple[float, ...]
    region: ArcRegion
    area: float
    perimeter: float
    n_loops: int
    n_holes: int
    stock: float = 0.0
    budget: Budget = field(default_factory=Budget)
    findings: tuple[Finding, ...] = ()
