"""Where the planes go and what region each layer must cover.

Lengths in mm, machine coordinates.
"""

from beadwright.layers._plan import LayerPlan, Rule, plan_layers
from beadwright.layers._region import LayerRegion

__all__ = ["LayerPlan", "LayerRegion", "Rule", "plan_layers"]
