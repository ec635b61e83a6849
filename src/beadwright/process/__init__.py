"""What a bead asks of the machine: section, flow, screw, lag, motion time, heat, mass, cost.

Lengths in mm, times in s, masses in kg, temperatures in degC, densities in kg/mm3; screw speeds in rpm.
"""

from beadwright.process._calibrate import (
    Fitted,
    LagFit,
    SizeFit,
    WidthFit,
    corner_tolerance,
    fit_band,
    fit_lag,
    fit_sizes,
    fit_spacing,
    fit_width,
    greatest_lean,
)
from beadwright.process._estimate import (
    POUND,
    Estimate,
    Prices,
    Refill,
    Times,
    clock_text,
    estimate,
    layer_estimate,
    refills,
)
from beadwright.process._flow import (
    BeadSection,
    ScrewCurve,
    fastest,
    fit_screw,
    mass_flow,
    mean_areas,
    volume_flow,
)
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
from beadwright.process._spread import NO_DOUBTS, Doubt, Doubts, Spread, spread
from beadwright.process._support import carried_share
from beadwright.process._surface import side_roughness, stair_roughness

__all__ = [
    "NO_DOUBTS",
    "POUND",
    "BeadSection",
    "Closure",
    "Doubt",
    "Doubts",
    "Estimate",
    "Fitted",
    "Lag",
    "LagFit",
    "MotionLimits",
    "Pace",
    "Prices",
    "Profile",
    "Refill",
    "Response",
    "ReturnTimes",
    "ScrewCurve",
    "SizeFit",
    "Spread",
    "Times",
    "Track",
    "WallModel",
    "WallRun",
    "WidthFit",
    "Window",
    "carried_share",
    "clock_text",
    "closure",
    "contact_temperature",
    "corner_tolerance",
    "estimate",
    "fastest",
    "fit_band",
    "fit_lag",
    "fit_screw",
    "fit_sizes",
    "fit_spacing",
    "fit_width",
    "greatest_lean",
    "heat_findings",
    "lag_findings",
    "layer_estimate",
    "layer_time_for",
    "mass_flow",
    "mean_areas",
    "pace",
    "periodic",
    "profiles",
    "refills",
    "return_times",
    "run_wall",
    "short_bead",
    "side_roughness",
    "slowest_feed",
    "spread",
    "stair_roughness",
    "straight_time",
    "time_findings",
    "track",
    "volume_flow",
]
