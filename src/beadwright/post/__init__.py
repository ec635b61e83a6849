"""Events to RS274/NGC text, with the rounding measured move by move; the standard's lint.

Source of the rules: T. R. Kramer, F. M. Proctor, E. Messina, "The NIST RS274NGC Interpreter - Version 3",
NISTIR 6556 (2000).
"""

from beadwright.post._dialect import Dialect
from beadwright.post._layer import AxisFeed, LayerText, layer_text
from beadwright.post._lint import Fault, lint, words_beyond
from beadwright.post._load import dialect_names, load_dialect, standard
from beadwright.post._motion import motion_lines, move_formats
from beadwright.post._pieces import piece_boxes
from beadwright.post._program import Devices, ProgramText, program_text
from beadwright.post._rounding import print_path
from beadwright.post._split import ProgramFile, split_program
from beadwright.post._trials import dry_run, trace
from beadwright.post._words import Units, Words

__all__ = [
    "AxisFeed",
    "Devices",
    "Dialect",
    "Fault",
    "LayerText",
    "ProgramFile",
    "ProgramText",
    "Units",
    "Words",
    "dialect_names",
    "dry_run",
    "layer_text",
    "lint",
    "load_dialect",
    "motion_lines",
    "move_formats",
    "piece_boxes",
    "print_path",
    "program_text",
    "split_program",
    "standard",
    "trace",
    "words_beyond",
]
