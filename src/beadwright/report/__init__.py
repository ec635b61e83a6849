"""Files and pictures for people and other tools: a section as DXF, SVG, JSON and STEP, a layer as a picture.

Every file is written whole or not at all, and the same input gives the same bytes.
"""

from beadwright.report._body import body_stl
from beadwright.report._dxf import write_dxf
from beadwright.report._exported import Exported
from beadwright.report._layer_dxf import Flat, layers_dxf
from beadwright.report._layer_picture import BeadStroke, layer_picture, layer_svg
from beadwright.report._part_picture import part_svg
from beadwright.report._plots import column_plot, layer_plot
from beadwright.report._program_moves import LayerMoves, ProgramReader, Run, read_moves
from beadwright.report._section_json import section_record, write_section_json
from beadwright.report._sheet_data import (
    CAD,
    FITTED,
    NOT_TOLD,
    SheetData,
    SheetLayer,
    layer_spans,
    run_paths,
)
from beadwright.report._sheet_head import sheet_head
from beadwright.report._sheet_page import sheet_page, sheet_parts
from beadwright.report._sheet_read import read_sheet
from beadwright.report._step import write_step
from beadwright.report._svg import section_svg, write_svg
from beadwright.report._tables_out import moves_csv, stock_csv, summary_markdown
from beadwright.report._ways_picture import WayPoint, ways_picture
from beadwright.report._whole import write_whole

__all__ = [
    "CAD",
    "FITTED",
    "NOT_TOLD",
    "BeadStroke",
    "Exported",
    "Flat",
    "LayerMoves",
    "ProgramReader",
    "Run",
    "SheetData",
    "SheetLayer",
    "WayPoint",
    "body_stl",
    "column_plot",
    "layer_picture",
    "layer_plot",
    "layer_spans",
    "layer_svg",
    "layers_dxf",
    "moves_csv",
    "part_svg",
    "read_moves",
    "read_sheet",
    "run_paths",
    "section_record",
    "section_svg",
    "sheet_head",
    "sheet_page",
    "sheet_parts",
    "stock_csv",
    "summary_markdown",
    "ways_picture",
    "write_dxf",
    "write_section_json",
    "write_step",
    "write_svg",
    "write_whole",
]
