"""Which layers can be turns of a bead that climbs, and where one goes on from the one below."""

from __future__ import annotations

import math

from beadwright.brep import Steepness
from beadwright.curves import distances, samples
from beadwright.pipeline._layer_work import LayerWork
from beadwright.pipeline._rising_turns import leaning
from beadwright.settings import PlanSettings

# Distance of the samples by which the beads of neighbouring layers are compared, mm.
PITCH = 5.0
# What doubles of some metres may be wrong by, mm.
HAIR = 1e-6
NO_BEAD = "they hold no bead"
ROLES = frozenset({"contour", "wall", "medial"})


def unfit(work: LayerWork, steep: Steepness, settings: PlanSettings, mapped: int) -> str:
    """Why a layer cannot be a turn of a rising bead; empty if it can."""
    layer = work.layer
    plan = layer.plan
    if plan.index < mapped:
        return "they follow a measured platform"
    if plan.rule != "neutral":
        return f"they are covered by the rule {plan.rule}, not by the section at each height"
    if layer.stock:
        return "material is left on their faces, which no section at one height tells"
    if not work.beads:
        return NO_BEAD
    if len(work.beads) > 1:
        return f"they hold more than one bead, the first of them {len(work.beads)}"
    (bead,) = work.beads
    if not bead.closed:
        return "their bead is open: it does not come back to where it begins"
    if bead.widths:
        return "the width of their bead varies along it"
    if bead.role not in ROLES:
        return f"their bead is {bead.role}, no wall"
    lean = leaning(steep, plan.z0, plan.z - plan.height / 2)
    if lean > math.tan(math.radians(settings.greatest_lean())) * (1 + HAIR):
        return "their walls lean more than the limit, so that each turn must lie on a level one"
    return ""


def step_aside(below: LayerWork, work: LayerWork, steep: Steepness) -> str:
    """Why the bead of a layer does not go on from that of the layer below; empty if it does."""
    one, other = below.beads[0], work.beads[0]
    if one.role != other.role or one.hole != other.hole:
        return "their bead is of another kind than the one below"
    low, high = (_middle(each) for each in (below, work))
    room = (high - low) * leaning(steep, low, high) + HAIR
    room += below.layer.budget.total + work.layer.budget.total
    for a, b in ((one.path, other.path), (other.path, one.path)):
        if float(distances([b], samples([a], PITCH)).max()) > room:
            return "their wall steps aside from the one below"
    return ""


def _middle(work: LayerWork) -> float:
    """Height at which a layer was cut, mm."""
    return work.layer.section_z[0]
