"""The extruder comes after the gantry: dead time and time constant, up and down.

After a step command the flow waits a dead time t_d and then goes to its new value as 1 - exp(-t / tau): the
first-order model of control theory. All leads follow from it; no number here has a good default.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.errors import SettingsError
from beadwright.numeric import Finding, Level

Floats = npt.NDArray[np.float64]

# Time constants after which 95 % of a tail is gone (ln 20 = 2.996): the least run-off or lap.
TAIL = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """Answer of the flow to a step.

    Attributes
    ----------
    dead : float
        Dead time, s.
    constant : float
        Time constant of what follows, s.

    Raises
    ------
    SettingsError
        If one is negative or no number.
    """

    dead: float
    constant: float

    def __post_init__(self) -> None:
        if not (0 <= self.dead < math.inf and 0 <= self.constant < math.inf):
            raise SettingsError(
                f"lag: dead time {self.dead} s and time constant {self.constant} s must be 0 or more"
            )

    @property
    def lag(self) -> float:
        """Flow that is missing, or comes too much, in seconds of full flow: t_d + tau."""
        return self.dead + self.constant

    def share(self, time: npt.ArrayLike) -> Floats:
        """Share of the step that is done at times after the command (s): 0 to 1."""
        since = np.asarray(time, float) - self.dead
        if self.constant == 0:
            return np.asarray(since >= 0, float)
        return np.where(since <= 0, 0.0, -np.expm1(-np.maximum(since, 0.0) / self.constant))


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """Lag of an extruder as measured.

    Attributes
    ----------
    up, down : Response
        After a start and after a stop command.
    prime : float
        Time that the extruder runs standing before a bead begins, s.
    calibrated : bool
        Whether the numbers were measured on this machine with this material.
    """

    up: Response
    down: Response
    prime: float = 0.0
    calibrated: bool = True

    @property
    def closure_shift(self) -> float:
        """Seconds by which the stop command comes before the place of the start command: lag down less lag up.

        With it a closed bead has the right volume, what the standing extruder laid while it was primed included;
        below 0 the stop comes after that place.
        """
        return self.down.lag - self.up.lag + self.prime

    def start_lead(self, halt: float) -> float:
        """Seconds of motion by which the start command must come before a bead's first point, at least 0.

        The lag up less what passes standing: priming, and a halt of the axes (s) for the command itself. The volume
        that is missing after the first point is then what was laid before it.

        Examples
        --------
        >>> both = Response(dead=0.15, constant=0.3)
        >>> round(Lag(up=both, down=both, prime=0.1).start_lead(0.05), 12)
        0.3
        """
        return max(self.up.lag - self.prime - halt, 0.0)

    @property
    def run_off(self) -> float:
        """Seconds that the nozzle must go on after the flow should have ended, for the tail: 3 tau."""
        return TAIL * self.down.constant


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    """How full a closed bead is where it meets itself.

    Attributes
    ----------
    most, least : float
        Greatest and least sum of starting and stopping flow, less 1: 0 is a full bead.
    excess : float
        Material too much (below 0: too little), in mm of full bead.
    """

    most: float
    least: float
    excess: float


def closure(lag: Lag, speed: float, *, shift: float = 0.0) -> Closure:
    """Residual of the closure identity.

    With equal lags up and down and the stop command at the place of the start command, (1 - exp(-t / tau)) +
    exp(-t / tau) = 1: the closure is full everywhere. With unequal ones it is not, and this is by how much.

    Parameters
    ----------
    lag : Lag
    speed : float
        Of the nozzle, constant through the closure, mm/s.
    shift : float
        Seconds by which the stop command comes before the place of the start command.

    Returns
    -------
    Closure
        Exact: the sum's extremes lie where a ramp begins or where both slopes agree.

    Examples
    --------
    >>> lag = Lag(up=Response(dead=0.15, constant=0.3), down=Response(dead=0.15, constant=0.5))
    >>> found = closure(lag, 100.0)
    >>> round(found.most, 3), round(found.excess, 6)
    (0.186, 20.0)
    """
    up, down = lag.up, lag.down
    # places, in s after that where the nozzle begins to move
    begins, ends = up.dead - lag.prime, down.dead - shift
    late = max(begins, ends)
    places = [begins, ends]
    if up.constant > 0 and down.constant > 0 and up.constant != down.constant:
        # exp(-(t - begins) / up) / up = exp(-(t - ends) / down) / down
        rate = 1 / up.constant - 1 / down.constant
        still = (math.log(down.constant / up.constant) + begins / up.constant - ends / down.constant) / rate
        if still > late:
            places.append(still)
    at = np.array(places)
    # Values on both sides of each place, for steps where a constant is 0.
    values = [_sum(at, lag, shift), _sum(np.nextafter(at, -np.inf), lag, shift)]
    rest = np.concatenate(values) - 1.0
    return Closure(
        most=max(0.0, float(rest.max())),
        least=min(0.0, float(rest.min())),
        excess=speed * (lag.closure_shift - shift),
    )


def _sum(time: Floats, lag: Lag, shift: float) -> Floats:
    """Flow of start and stop together at times after the start's place, of full flow."""
    return lag.up.share(time + lag.prime) + 1.0 - lag.down.share(time + shift)


def lag_findings(
    lag: Lag | None, *, speed: float, level: Level = "warning", shifted: bool = False
) -> tuple[Finding, ...]:
    """What stands at the top of every output about the extruder's lag.

    Parameters
    ----------
    lag : Lag or None
        None where nothing was measured.
    speed : float
        Along beads, mm/s.
    level : Level
        Of a lag that is not calibrated.
    shifted : bool
        Whether the stop is moved by `Lag.closure_shift`, as a machine can whose extruder's words stop no axis.
    """
    if lag is None or not lag.calibrated:
        return (
            Finding(
                code="lag-not-calibrated",
                level=level,
                text="the extruder's lag is not calibrated: beads start thin and run on at their end by an"
                " unknown length; lay the coupon `lag`, measure it, and run `calibrate`",
            ),
        )
    shift = lag.closure_shift if shifted else 0.0
    found = closure(lag, speed, shift=shift)
    if found.most - found.least <= FULL:
        return ()
    text = (
        f"closed beads are {found.most:+.1%} / {found.least:+.1%} off full where they meet themselves, because the"
        " extruder's lags up and down differ; the measure is the excess in mm of full bead"
    )
    if shifted:
        text += f", with the stop {abs(shift):.3g} s {'before' if shift > 0 else 'after'} the closure"
    return (Finding(code="closure", level="note", measured=found.excess, allowed=0.0, unit="mm", text=text),)


# Departure from a full bead that no gauge finds.
FULL = 1e-3


def short_bead(lag: Lag, duration: float) -> bool:
    """Whether a bead of a duration (s) ends before its own start and stop leads have had their time."""
    return duration < lag.up.lag + lag.down.lag
