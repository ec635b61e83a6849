"""What the extruder's lag asks of the end of each bead.

A start or stop word halts the axes on many controllers, and the screw goes on meanwhile; so none stands inside a
bead. The stop command is given at the end point. A closed bead then goes on over its own start while the flow
fades: with the start command given there too, ramp up and ramp down add up to a full bead. An open bead is wiped
back over its own end, where the tail goes into the bead.
"""

from __future__ import annotations

from collections.abc import Sequence

from beadwright.beads import Bead, reversed_path
from beadwright.curves import first_part
from beadwright.process import Lag, MotionLimits, profiles
from beadwright.program import Pass

# A pass shorter than this is nothing that a gantry can do, mm.
LEAST_PASS = 0.1


def passes_after(
    beads: Sequence[Bead], lag: Lag | None, *, feed: float, limits: MotionLimits, wipe: float = 0.0
) -> tuple[Pass | None, ...]:
    """The pass after each bead: a tapered lap, or a nozzle wiping pass; nothing while the lag is not calibrated.

    Parameters
    ----------
    beads : sequence of Bead
    lag : Lag or None
    feed : float
        mm/s; the pass goes at the same.
    limits : MotionLimits
    wipe : float
        Length of the wiping pass at an open end, mm; 0 for as long as the flow fades.

    Returns
    -------
    tuple of (Pass or None)
        As long as the nozzle gets, from standing, in the dead time and three time constants of the stop: 95 % of
        the tail is gone then.
    """
    if lag is None:
        return (None,) * len(beads)
    paths = [bead.path if bead.closed else reversed_path(bead.path) for bead in beads]
    fading = lag.down.dead + lag.run_off
    made: list[Pass | None] = []
    for bead, path, motion in zip(beads, paths, profiles(paths, [feed] * len(paths), limits), strict=True):
        run = wipe if wipe and not bead.closed else float(motion.place(fading)[0])
        long_enough = run >= LEAST_PASS
        made.append(
            Pass(role="lap" if bead.closed else "wiping", path=first_part(path, run)) if long_enough else None
        )
    return tuple(made)
