"""How deep a bead may lie where faces have rules of their own.

Whatever the rules, a layer's region holds what lies in all sections of its slab and nothing that lies in none of them.
Where a face of the rule outer is near, it may reach out to their union, where one of the rule inner is, back to what
they share; where no other face is near, it must. Elsewhere it is the section at mid height.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from beadwright.brep import Model
from beadwright.verify._cut import NUDGE, Cut, Floats, cut
from beadwright.verify._deposit import DepositLayer

# Beside its own depth, how far from a place a face tells on it, in layer heights: the steps of a slope of 1 in 2.
NEAR = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RuledSlab:
    """The sections of a slab and the rules of the part's faces.

    Attributes
    ----------
    middle, joined, shared : Cut
        At mid height; what lies in any of the sections at bottom, mid height and top; what lies in all.
    rules : mapping of int to str
        By face id.
    height : float
        Of the slab, mm.
    """

    middle: Cut
    joined: Cut
    shared: Cut
    rules: Mapping[int, str]
    height: float

    def depths(self, points: Floats, offset: float) -> tuple[Floats, Floats]:
        """Least and greatest depth that the rules allow at places of a bead of an offset, mm: (k,) each."""
        low, own, high = (each.depth(points) for each in (self.shared, self.middle, self.joined))
        near = self._near(points, abs(offset) + NEAR * self.height)
        outer, inner, neutral = (near[rule] for rule in ("outer", "inner", "neutral"))
        least = np.where(outer & ~inner & ~neutral, high, np.where(inner, low, own))
        most = np.where(inner & ~outer & ~neutral, low, np.where(outer, high, own))
        return least, most

    def spread(self) -> float:
        """How far the sections' boundaries lie from that at mid height at the most, mm."""
        own = self.middle.region.boundary
        others = (self.joined.region.boundary, self.shared.region.boundary)
        return max((float(own.hausdorff_distance(each)) for each in others if not each.is_empty), default=0.0)

    def _near(self, points: Floats, reach: float) -> dict[str, npt.NDArray[np.bool_]]:
        """Whether a face of each rule is near to each place."""
        near = {rule: np.zeros(len(points), bool) for rule in ("outer", "inner", "neutral")}
        place, curve = self.joined.curves.tree.query(
            shapely.points(points), predicate="dwithin", distance=reach
        )
        rule = np.array([self.rules.get(int(face), "neutral") for face in self.joined.faces])
        for name, found in near.items():
            found[place[rule[curve] == name]] = True
        return near


def ruled_slab(
    model: Model,
    matrix: Floats,
    layer: DepositLayer,
    middle: Cut,
    rules: Mapping[int, str],
    later: tuple[frozenset[int], ...],
) -> RuledSlab | None:
    """The sections of a layer's slab; None where the kernel gives none that closes."""
    low, between, high = layer.cuts
    for shift in (0.0, NUDGE):
        cuts = (low + shift, between, high - shift)
        joined = cut(model, matrix, cuts, "outer", later)
        shared = cut(model, matrix, cuts, "inner", later)
        if joined.closed and shared.closed and joined.region.area >= middle.region.area:
            return RuledSlab(
                middle=middle, joined=joined, shared=shared, rules=rules, height=layer.z - layer.z0
            )
    return None
