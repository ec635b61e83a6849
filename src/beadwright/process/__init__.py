"""What a bead asks of the machine: section, flow, screw, lag, motion time, heat, mass, cost.

Lengths in mm, times in s, masses in kg, temperatures in degC, densities in kg/mm3; screw speeds in rpm.
"""

from beadwright.process._estimate import (
    POUND,
    Estimate,
    Prices,
    Refill,
    Times,
    clock_text,
    estimate,
    refills,
)
from beadwright.process._flow import BeadSection, ScrewCurve, fastest, fit_screw, mass_flow, volume_flow
from beadwright.process._heat import (
    WallModel,
    WallRun,
    Window,
    contact_temperature,
    heat_findings,
    layer_time_for,
    periodic,
    run_wall,
)
from beadwright.process._lag import Closure, Lag, Response, closure, lag_findings, short_bead
from beadwright.process._layer_time import Pace, pace, slowest_feed, time_findings
from beadwright.process._motion import MotionLimits, Profile, profiles, straight_time
from beadwright.process._return import ReturnTimes, Track, return_times, track

__all__ = [
    "POUND",
    "BeadSection",
    "Closure",
    "Estimate",
    "Lag",
    "MotionLimits",
    "Pace",
    "Prices",
    "Profile",
    "Refill",
    "Response",
    "ReturnTimes",
    "ScrewCurve",
    "Times",
    "Track",
    "WallModel",
    "WallRun",
    "Window",
    "clock_text",
    "closure",
    "contact_temperature",
    "estimate",
    "fastest",
    "fit_screw",
    "heat_findings",
    "lag_findings",
    "layer_time_for",
    "mass_flow",
    "pace",
    "periodic",
    "profiles",
    "refills",
    "return_times",
    "run_wall",
    "short_bead",
    "slowest_feed",
    "straight_time",
    "time_findings",
    "track",
    "volume_flow",
]
