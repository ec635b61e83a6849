"""How the section's loops are compiled."""

from beadwright.compiled import helper, kernel

__all__ = ["helper", "kernel"]
