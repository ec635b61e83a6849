"""Events to RS274/NGC text, with the rounding measured move by move; the standard's lint.

Source of the rules: T. R. Kramer, F. M. Proctor, E. Messina, "The NIST RS274NGC Interpreter - Version 3",
NISTIR 6556 (2000).
"""

from beadwright.post._dialect import RS274NGC, Dialect, Units, Words
from beadwright.post._layer import LayerText, layer_text
from beadwright.post._lint import Fault, lint
from beadwright.post._program import program_text

__all__ = [
    "RS274NGC",
    "Dialect",
    "Fault",
    "LayerText",
    "Units",
    "Words",
    "layer_text",
    "lint",
    "program_text",
]
