"""Unit and decimals of the numbers in words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from beadwright.errors import SettingsError

Units = Literal["mm", "inch"]

# Greatest difference between the two radii of a centre-form arc that RS274/NGC accepts, in the words' own
# unit: NISTIR 6556 (2000), G2 and G3, centre format.
ARC_RULE = {"mm": 0.002, "inch": 0.0002}
MM = {"mm": 1.0, "inch": 25.4}

# Rounding the centre moves it by up to 0.71 units of the last place, and the two radii apart by up to 1.42 of
# them: one unit may be at most ARC_RULE / 1.42. That is 3 decimals of a millimetre; 4 of an inch would do for
# the standard's 0.0002 inch, but 5 keep 0.002 mm as well, for readers that know only that.
LEAST_DECIMALS = {"mm": 3, "inch": 5}
# Of F words, at least: half a unit is below 1e-7 of any feed at which a bead is laid, in inches too.
FEED_DECIMALS = 6
# Coordinates of some metres keep 8 decimals within the 53 bits of a double.
MOST_DECIMALS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Unit and decimals of the coordinate words.

    Attributes
    ----------
    units : {"mm", "inch"}
        G21 or G20.
    decimals : int
        3 to 8 for mm, 5 to 8 for inch: with fewer the rounding alone breaks the standard's arc rule.

    Raises
    ------
    SettingsError
        If the decimals are outside that range.

    Examples
    --------
    >>> Words().coordinate(12.34567)
    '12.3457'
    >>> Words(units="inch", decimals=5).feed(100.0)
    '236.220472'
    """

    units: Units = "mm"
    decimals: int = 4

    def __post_init__(self) -> None:
        if self.units not in MM:
            msg = f"units must be 'mm' or 'inch', not {self.units!r}"
            raise SettingsError(msg)
        least = LEAST_DECIMALS[self.units]
        if not least <= self.decimals <= MOST_DECIMALS:
            msg = (
                f"decimals must be {least} to {MOST_DECIMALS} in {self.units}, not {self.decimals}:"
                f" with fewer, rounding alone breaks the arc rule of {ARC_RULE[self.units]} {self.units}"
            )
            raise SettingsError(msg)

    @property
    def place(self) -> float:
        """One unit of the last place, mm."""
        return MM[self.units] / 10.0**self.decimals

    @property
    def scale(self) -> float:
        """Units of the last place in one mm."""
        return 10.0**self.decimals / MM[self.units]

    @property
    def arc_rule(self) -> float:
        """Greatest legal difference of an arc's radii, in units of the last place."""
        return ARC_RULE[self.units] * 10.0**self.decimals

    @property
    def unit_word(self) -> str:
        """G21 for mm, G20 for inch."""
        return "G21" if self.units == "mm" else "G20"

    def coordinate(self, value: float) -> str:
        """A length in mm as the digits of a word."""
        return f"{round(value * self.scale) / 10.0**self.decimals + 0.0:.{self.decimals}f}"

    def feed(self, speed: float) -> str:
        """A speed in mm/s as the digits of F, units a minute (G94), without an exponent.

        Six decimals or those of lengths: a controller may read less than the seventeen digits of a double.
        """
        if not (math.isfinite(speed) and speed > 0):
            msg = f"feed must be above 0 mm/s, not {speed}"
            raise SettingsError(msg)
        return np.format_float_positional(
            speed * 60.0 / MM[self.units], precision=max(self.decimals, FEED_DECIMALS), trim="0"
        )
