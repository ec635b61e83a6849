"""The only room that talks to the CAD kernel: STEP in and out, health, section as referee."""

from beadwright.kernel._box import height_range
from beadwright.kernel._contract import contracted
from beadwright.kernel._export import section_step, write_section_step
from beadwright.kernel._export_layers import prisms_step, wires_step
from beadwright.kernel._gather import common_volume, gathered
from beadwright.kernel._nearest import Nearest, nearest_on_faces
from beadwright.kernel._read import from_shape, read_step
from beadwright.kernel._reader import serve as serve_reader
from beadwright.kernel._reader import serve_segments
from beadwright.kernel._referee import Reference, face_section, reference_section, volume
from beadwright.kernel._triangles import display_triangles, tessellate

__all__ = [
    "Nearest",
    "Reference",
    "common_volume",
    "contracted",
    "display_triangles",
    "face_section",
    "from_shape",
    "gathered",
    "height_range",
    "nearest_on_faces",
    "prisms_step",
    "read_step",
    "reference_section",
    "section_step",
    "serve_reader",
    "serve_segments",
    "tessellate",
    "volume",
    "wires_step",
    "write_section_step",
]
