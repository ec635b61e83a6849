"""Where the planes go and what region each layer must cover.

Lengths in mm, machine coordinates.
"""

from beadwright.layers._folds import Folds, find_folds
from beadwright.layers._plan import LayerPlan, Rule, plan_layers
from beadwright.layers._region import LayerRegion, layer_region, wall_region
from beadwright.layers._rule import rule_region, stack_heights

__all__ = [
    "Folds",
    "LayerPlan",
    "LayerRegion",
    "Rule",
    "find_folds",
    "layer_region",
    "plan_layers",
    "rule_region",
    "stack_heights",
    "wall_region",
]
