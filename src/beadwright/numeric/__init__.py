"""Signs, intervals, bounds, Bernstein forms and bracketed roots. Lengths in mm, angles in rad."""

from beadwright.numeric._bound import Bound, Budget

__all__ = ["Bound", "Budget"]
