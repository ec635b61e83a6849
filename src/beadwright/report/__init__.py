"""Files and pictures for people and other tools: a section as DXF, SVG, JSON and STEP, a layer as a picture.

Every file is written whole or not at all, and the same input gives the same bytes.
"""

from beadwright.report._dxf import write_dxf
from beadwright.report._exported import Exported
from beadwright.report._layer_picture import BeadStroke, layer_picture
from beadwright.report._section_json import section_record, write_section_json
from beadwright.report._step import write_step
from beadwright.report._svg import write_svg
from beadwright.report._whole import write_whole

__all__ = [
    "BeadStroke",
    "Exported",
    "layer_picture",
    "section_record",
    "write_dxf",
    "write_section_json",
    "write_step",
    "write_svg",
    "write_whole",
]
