"""How the kernels of the fit are compiled."""

from beadwright.compiled import helper, kernel

__all__ = ["helper", "kernel"]
