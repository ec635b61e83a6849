"""Options of a job, machine and material cards: checked all at once, each value with where it came from.

Lengths in mm, angles in degrees, speeds in mm/s, rates in kg/h, temperatures in degC.
"""

from beadwright.settings._base import Section
from beadwright.settings._base_beads import Pad
from beadwright.settings._bed_map import BedMapRule
from beadwright.settings._cut import Cut
from beadwright.settings._document import (
    DEFAULT_MATERIAL,
    Document,
    material_names,
    parse_document,
    read_document,
)
from beadwright.settings._faces import FaceChoice
from beadwright.settings._figure import Figure, Standing, Within
from beadwright.settings._fill import Fill
from beadwright.settings._heights import Heights
from beadwright.settings._layer_time import LayerTime
from beadwright.settings._machine import (
    CalibrationRow,
    Device,
    Extruder,
    Head,
    KeepOut,
    Lag,
    Machine,
    Moment,
    Motion,
    Tamper,
    Volume,
)
from beadwright.settings._material import Material
from beadwright.settings._options import PlanOptions, Wall
from beadwright.settings._plan import PlanSettings
from beadwright.settings._plan_rules import ROUNDING_UNITS
from beadwright.settings._quantity import Quantity, convert
from beadwright.settings._release import Release
from beadwright.settings._resolve import Resolved, default_material, load, resolve
from beadwright.settings._rows import SettingRow, setting_rows, standing_of, told_row, value_text
from beadwright.settings._schema import DOCUMENTS, schema, schema_text
from beadwright.settings._sequence import Sequence
from beadwright.settings._stock import CutLater, StockRule
from beadwright.settings._stop import PlannedStop
from beadwright.settings._template import template
from beadwright.settings._told import resolve_told
from beadwright.settings._widths import WidthRole, Widths

__all__ = [
    "DEFAULT_MATERIAL",
    "DOCUMENTS",
    "ROUNDING_UNITS",
    "BedMapRule",
    "CalibrationRow",
    "Cut",
    "CutLater",
    "Device",
    "Document",
    "Extruder",
    "FaceChoice",
    "Figure",
    "Fill",
    "Head",
    "Heights",
    "KeepOut",
    "Lag",
    "LayerTime",
    "Machine",
    "Material",
    "Moment",
    "Motion",
    "Pad",
    "PlanOptions",
    "PlanSettings",
    "PlannedStop",
    "Quantity",
    "Release",
    "Resolved",
    "Section",
    "Sequence",
    "SettingRow",
    "Standing",
    "StockRule",
    "Tamper",
    "Volume",
    "Wall",
    "WidthRole",
    "Widths",
    "Within",
    "convert",
    "default_material",
    "load",
    "material_names",
    "parse_document",
    "read_document",
    "resolve",
    "resolve_told",
    "schema",
    "schema_text",
    "setting_rows",
    "standing_of",
    "template",
    "told_row",
    "value_text",
]
