"""Where the planes go and what region each layer must cover.

Lengths in mm, machine coordinates.
"""

from beadwright.layers._cut_later import (
    LaterFeature,
    LeftOut,
    bore_radius,
    later_features,
    leave_out,
    round_holes,
    without_folds,
)
from beadwright.layers._face_rules import Ruled, ruled_faces, ruled_plans, ruled_region
from beadwright.layers._finished import FaceLeft, Finished, LayerLeft, finished_part, layer_left
from beadwright.layers._folds import Folds, find_folds
from beadwright.layers._lean import Hanging, greatest_reach, hanging
from beadwright.layers._plan import LayerPlan, Rule, layers_between, plan_layers, rest_of_layers
from beadwright.layers._region import LayerRegion, layer_region, wall_region
from beadwright.layers._rule import rule_region
from beadwright.layers._schedule import Schedule, cusps, schedule
from beadwright.layers._solids import LayerFit, fit_layer, follow_polygons
from beadwright.layers._stock import BY_FACE, Stocked, with_stock

__all__ = [
    "BY_FACE",
    "FaceLeft",
    "Finished",
    "Folds",
    "Hanging",
    "LaterFeature",
    "LayerFit",
    "LayerLeft",
    "LayerPlan",
    "LayerRegion",
    "LeftOut",
    "Rule",
    "Ruled",
    "Schedule",
    "Stocked",
    "bore_radius",
    "cusps",
    "find_folds",
    "finished_part",
    "fit_layer",
    "follow_polygons",
    "greatest_reach",
    "hanging",
    "later_features",
    "layer_left",
    "layer_region",
    "layers_between",
    "leave_out",
    "plan_layers",
    "rest_of_layers",
    "round_holes",
    "rule_region",
    "ruled_faces",
    "ruled_plans",
    "ruled_region",
    "schedule",
    "wall_region",
    "with_stock",
    "without_folds",
]
