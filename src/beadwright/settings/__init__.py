"""Options of a job, checked all at once, each with where it came from. Lengths in mm, angles in degrees."""

from beadwright.settings._plan import ROUNDING_UNITS, PlanOptions, PlanSettings, Wall
from beadwright.settings._resolve import Resolved, resolve

__all__ = ["ROUNDING_UNITS", "PlanOptions", "PlanSettings", "Resolved", "Wall", "resolve"]
