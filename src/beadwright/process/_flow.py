"""What one bead is in section, what it asks of the extruder, and which screw speed gives that."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from beadwright.errors import SettingsError
from beadwright.numeric import Finding, counted

Floats = npt.NDArray[np.float64]
Kind = Literal["flat", "round"]

# Two lines through two points always fit: a third speed is the least that can contradict.
LEAST_SPEEDS = 3
# Share of the range by which a speed may lie outside it, far above rounding and far below any reading.
RANGE_SLACK = 1e-9
# Outer share of the measured outputs, beyond which a residual is worth a warning (common practice).
WIDE_RESIDUAL = 0.05
# Share of the greatest output below which output at standstill is the fit's own rounding and no reading.
NOTHING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class BeadSection:
    """Cross-section of a bead: one for the whole job, and every rule uses it.

    ``flat`` is the rectangle of a bead that a tamper pressed against its neighbours; ``round`` has half discs
    for sides, as an untamped strand between nozzle and layer.

    Attributes
    ----------
    kind : {"flat", "round"}
    width, height : float
        mm; the height is at most the width.

    Raises
    ------
    SettingsError
        If they are no bead.

    Examples
    --------
    >>> round(BeadSection(kind="round", width=8.4, height=4.0).area, 5)
    30.16637
    """

    kind: Kind
    width: float
    height: float

    def __post_init__(self) -> None:
        if not 0 < self.height <= self.width < math.inf:
            msg = f"a bead {self.width} mm wide and {self.height} mm high: height must be above 0, at most the width"
            raise SettingsError(msg)

    @property
    def area(self) -> float:
        """Cold area, mm2: w h, or h (w - h) + pi h^2 / 4."""
        w, h = self.width, self.height
        return w * h if self.kind == "flat" else h * (w - h) + math.pi * h * h / 4

    @property
    def spacing(self) -> float:
        """Distance of neighbours at which their areas fill the layer, mm: area / height; also what one covers."""
        return self.area / self.height

    @property
    def edge_depth(self) -> float:
        """How far inside the drawn side the bead's edge lies at the slab's two faces, mm."""
        return 0.0 if self.kind == "flat" else self.height / 2


def mean_areas(kind: Kind, width: float | Floats, thickness: Floats) -> Floats:
    """Area of a bead's section on average along moves on which its height runs straight, mm2: (m,).

    It is a square of the height, of which Simpson's rule gives the mean exactly.

    Parameters
    ----------
    kind : {"flat", "round"}
    width : float or (m,) float
        mm, of each move; of a round bead at least its height.
    thickness : (m + 1,) float
        Its height where the first move starts and where each ends, mm.

    Examples
    --------
    >>> mean_areas("flat", 8.0, np.array([3.0, 5.0])).tolist()
    [32.0]
    """

    def area(height: Floats) -> Floats:
        if kind == "flat":
            return width * height
        wide = np.maximum(width, height)
        return height * (wide - height) + math.pi * height * height / 4

    start, end = thickness[:-1], thickness[1:]
    return np.asarray((area(start) + 4 * area((start + end) / 2) + area(end)) / 6)


def volume_flow(area: npt.ArrayLike, speed: npt.ArrayLike) -> Floats:
    """Volume a second of a bead laid at a speed, mm3/s: it follows speed and width along the bead.

    Parameters
    ----------
    area : array_like of float
        Of the bead's section, mm2.
    speed : array_like of float
        Of the nozzle, mm/s.
    """
    return np.asarray(np.multiply(area, speed), dtype=float)


def mass_flow(area: npt.ArrayLike, speed: npt.ArrayLike, density: float) -> Floats:
    """Mass a second of a bead laid at a speed, kg/s.

    The density is that of the cold material because the area is that of the cold bead; die swell changes the
    shape of a free strand and no mass, so it has no place here.

    Parameters
    ----------
    area : array_like of float
        Of the bead's section, cold, mm2.
    speed : array_like of float
        Of the nozzle, mm/s.
    density : float
        At room temperature, kg/mm3 (1 g/cm3 is 1e-6 kg/mm3).
    """
    return density * volume_flow(area, speed)


def fastest(area: float, density: float, output: float) -> float:
    """Greatest speed at which an output (kg/s) still fills a bead of an area (mm2) and density (kg/mm3), mm/s."""
    return output / (density * area)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScrewCurve:
    """Output of the extruder against screw speed, as weighed: a straight line and how well it fits.

    Attributes
    ----------
    slope : float
        kg/s a revolution per minute.
    intercept : float
        kg/s; a real one is at most 0, since a screw that stands delivers nothing.
    low, high : float
        Least and greatest speed that was measured, rpm; outside nothing is known.
    residual : (n,) float
        Measured less fitted output, kg/s.
    spread : float
        Standard deviation of the residuals with n - 2 degrees of freedom, kg/s.
    """

    slope: float
    intercept: float
    low: float
    high: float
    residual: Floats
    spread: float

    def output(self, speed: float) -> float:
        """Output at a screw speed in rpm, kg/s.

        Raises
        ------
        SettingsError
            Outside what was measured.
        """
        slack = RANGE_SLACK * (self.high - self.low)
        if not self.low - slack <= speed <= self.high + slack:
            msg = f"screw speed {speed:.6g} rpm is outside the {self.low:g} to {self.high:g} rpm that were measured"
            raise SettingsError(f"{msg}; measure there, it is not extrapolated")
        return self.slope * speed + self.intercept

    def speed(self, output: float) -> float:
        """Screw speed for an output in kg/s, rpm.

        Raises
        ------
        SettingsError
            Outside what was measured.
        """
        speed = (output - self.intercept) / self.slope
        self.output(speed)
        return speed

    @property
    def least(self) -> float:
        """Output at the least measured speed, kg/s."""
        return self.output(self.low)

    @property
    def greatest(self) -> float:
        """Output at the greatest measured speed, kg/s."""
        return self.output(self.high)

    def findings(self) -> tuple[Finding, ...]:
        """What to doubt in the calibration."""
        found = []
        if self.intercept > NOTHING * self.greatest:
            found.append(
                Finding(
                    code="screw-intercept",
                    level="warning",
                    measured=self.intercept * 3600,
                    allowed=0.0,
                    unit="kg/h",
                    text="the screw line gives output at standstill, which cannot be: the true curve bends,"
                    " or the weighing has a constant error",
                )
            )
        worst = float(np.abs(self.residual).max())
        if worst > WIDE_RESIDUAL * self.greatest:
            found.append(
                Finding(
                    code="screw-residual",
                    level="warning",
                    measured=worst * 3600,
                    allowed=WIDE_RESIDUAL * self.greatest * 3600,
                    unit="kg/h",
                    text="a weighed output lies far off the screw line; weigh again or use a narrower range",
                )
            )
        return tuple(found)


def fit_screw(speed: npt.ArrayLike, output: npt.ArrayLike) -> ScrewCurve:
    """Least squares line through weighed outputs.

    Parameters
    ----------
    speed : (n,) array_like of float
        Screw speeds, rpm; at least three different ones.
    output : (n,) array_like of float
        Weighed at each, kg/s.

    Returns
    -------
    ScrewCurve

    Raises
    ------
    SettingsError
        The data cannot carry a line: too few speeds, a number that is none, or output that falls with speed.

    Examples
    --------
    >>> curve = fit_screw([20, 40, 60, 80], np.array([66, 128, 190, 252]) / 60e3)
    >>> round(curve.slope * 60e3, 9), round(curve.intercept * 60e3, 9)
    (3.1, 4.0)
    """
    x, y = np.atleast_1d(np.asarray(speed, float)), np.atleast_1d(np.asarray(output, float))
    if x.ndim != 1 or x.shape != y.shape:
        raise SettingsError(f"screw calibration: {x.size} speeds and {y.size} outputs do not pair")
    if not (np.isfinite(x).all() and np.isfinite(y).all() and (x > 0).all() and (y > 0).all()):
        raise SettingsError("screw calibration: speeds and outputs must be numbers above 0")
    different = len(np.unique(x))
    if different < LEAST_SPEEDS:
        raise SettingsError(
            f"screw calibration: {counted(different, 'different speed')}; weigh at {LEAST_SPEEDS} or more over the"
            " working range"
        )
    middle_x, middle_y = float(x.mean()), float(y.mean())
    slope = float(((x - middle_x) * (y - middle_y)).sum() / ((x - middle_x) ** 2).sum())
    if slope <= 0:
        raise SettingsError("screw calibration: output does not rise with screw speed; check the columns")
    intercept = middle_y - slope * middle_x
    residual = y - (slope * x + intercept)
    spread = math.sqrt(float((residual**2).sum()) / max(len(x) - 2, 1))
    return ScrewCurve(
        slope=slope,
        intercept=intercept,
        low=float(x.min()),
        high=float(x.max()),
        residual=residual,
        spread=spread,
    )
