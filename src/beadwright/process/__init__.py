"""What a bead asks of the machine: section, flow, screw, lag, motion time, heat, mass, cost.

Lengths in mm, times in s, masses in kg, temperatures in degC, densities in kg/mm3; screw speeds in rpm.
"""

from beadwright.process._flow import BeadSection, ScrewCurve, fastest, fit_screw, mass_flow, volume_flow
from beadwright.process._lag import Closure, Lag, Response, closure, lag_findings, short_bead
from beadwright.process._motion import MotionLimits, Profile, profiles, straight_time

__all__ = [
    "BeadSection",
    "Closure",
    "Lag",
    "MotionLimits",
    "Profile",
    "Response",
    "ScrewCurve",
    "closure",
    "fastest",
    "fit_screw",
    "lag_findings",
    "mass_flow",
    "profiles",
    "short_bead",
    "straight_time",
    "volume_flow",
]
