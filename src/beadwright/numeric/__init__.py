"""Signs, intervals, bounds, Bernstein forms and bracketed roots; findings; graphs. Lengths in mm, angles in rad."""

from beadwright.numeric._bound import Bound, Budget
from beadwright.numeric._counted import counted
from beadwright.numeric._finding import Finding, Level
from beadwright.numeric._gathered import gathered

__all__ = ["Bound", "Budget", "Finding", "Level", "counted", "gathered"]
