"""Where the planes go and what region each layer must cover.

Lengths in mm, machine coordinates.
"""

from beadwright.layers._plan import LayerPlan, Rule, plan_layers
from beadwright.layers._region import LayerRegion, layer_region, wall_region

__all__ = ["LayerPlan", "LayerRegion", "Rule", "layer_region", "plan_layers", "wall_region"]
