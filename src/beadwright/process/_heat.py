"""How warm the wall is where the next layer comes: a growing thin wall, one-dimensional.

rho c dT/dt = d/dz(k dT/dz) - (2 / w) q(T), q(T) = h (T - T_air) + eps sigma (T^4 - T_air^4); below the platform's
temperature, on top the same q; every layer comes at its deposition temperature. So there is no gradient across
the wall or along the bead and no draught: what an infrared camera sees on the skin is colder than this mean.
After B. G. Compton et al., Additive Manufacturing 17 (2017) 77-86, with the air's temperature on top.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.errors import SettingsError
from beadwright.numeric import Finding, Level, counted

Floats = npt.NDArray[np.float64]

# A layer's profile is smooth after a few seconds; 8 cells are within 0.2 K of 32 (tested).
CELLS = 8
# Steps that grow by this from a five-hundredth of the layer time, for the jump at the new layer: within 0.02 K.
STEPS = 20
GROWTH = 1.3
# Share of a change below the followed layers that may reach the top: 0.02 K of 180.
REACH = 1e-4
LEAST_WINDOW, GREATEST_WINDOW = 4, 80
# Layers after which the top is in its periodic state.
PERIODIC = 20
LEAST_TIME, GREATEST_TIME = 1.0, 7200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WallModel:
    """Material and surroundings of a wall, SI units but for temperatures.

    Attributes
    ----------
    conductivity : float
        Through the layers, W/(m K).
    heat_capacity : float
        J/(kg K).
    density : float
        kg/m3.
    emissivity : float
    film : float
        Coefficient of free convection, W/(m2 K).
    deposition, platform, air : float
        Temperatures, degC.
    insulated : bool
        Whether no heat passes the platform.
    """

    conductivity: float
    heat_capacity: float
    density: float
    emissivity: float
    film: float
    deposition: float
    platform: float
    air: float
    insulated: bool = False

    def __post_init__(self) -> None:
        for name in ("conductivity", "heat_capacity", "density"):
            if not 0 < getattr(self, name) < math.inf:
                raise SettingsError(f"{name} must be above 0, not {getattr(self, name)}")
        if not (0 <= self.emissivity <= 1 and 0 <= self.film < math.inf):
            raise SettingsError("emissivity must be 0 to 1 and the film coefficient 0 or more")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallRun:
    """What the wall model gives.

    Attributes
    ----------
    before : (n,) float
        Mean temperature of each layer just before the next one comes, degC.
    profile : (m,) float
        Temperature of each followed cell at the end, upwards, degC.
    added, lost, below, stored : float
        Heat that came with the deposit, left by sides and top, left downwards, and is still there: J a metre
        of wall, above the air's temperature.
    """

    before: Floats
    profile: Floats
    added: float
    lost: float
    below: float
    stored: float

    @property
    def imbalance(self) -> float:
        """Heat that the books miss, of the heat that came: 0 but for rounding."""
        return abs(self.added - self.lost - self.below - self.stored) / max(abs(self.added), abs(self.lost))


def run_wall(
    model: WallModel,
    *,
    height: npt.ArrayLike,
    thickness: npt.ArrayLike,
    wait: npt.ArrayLike,
    cells: int = CELLS,
    steps: int = STEPS,
    window: int | None = None,
    growth: float = GROWTH,
) -> WallRun:
    """Build a wall layer by layer and let it cool between layers.

    Parameters
    ----------
    model : WallModel
    height, thickness : (n,) array_like of float
        Of each layer, mm.
    wait : (n,) array_like of float
        Time until the next layer comes over the same place, s, above 0.
    cells, steps, window : int
        Cells of a layer, time steps between layers, layers that are followed (default: as many as tell on the
        top).
    growth : float
        Of each time step over the one before it, above 1.

    Returns
    -------
    WallRun

    Raises
    ------
    SettingsError
        If a height, thickness or time is not above 0.
    """
    from beadwright.process._kernels import wall

    h, w, t = np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, float)) for v in (height, thickness, wait)))
    if not all(np.isfinite(v).all() and (v > 0).all() for v in (h, w, t)):
        raise SettingsError("wall model: heights, thicknesses and times must be above 0")
    numbers = np.array(
        [
            model.conductivity,
            model.density * model.heat_capacity,
            model.emissivity,
            model.film,
            model.deposition,
            model.platform,
            model.air,
            float(model.insulated),
        ]
    )
    mm = 1e3
    followed = _window(model, h, w, t) if window is None else window
    out = wall(h / mm, w / mm, np.ascontiguousarray(t), numbers, cells, steps, followed, growth)
    n = len(h)
    added, lost, below, stored = (float(v) for v in out[n : n + 4])
    return WallRun(before=out[:n], profile=out[n + 4 :], added=added, lost=lost, below=below, stored=stored)


def _window(model: WallModel, height: Floats, thickness: Floats, wait: Floats) -> int:
    """Layers whose temperature tells on the top.

    In a wall that grows by U = d / t a change at a depth L below the top tells on it by
    exp(-L (U + sqrt(U^2 + 4 alpha beta)) / (2 alpha)), beta = 2 h / (rho c w): the other root of the same
    characteristic equation as that of the profile below the top. Radiation only shortens its reach.
    """
    cv = model.density * model.heat_capacity
    alpha, layer = model.conductivity / cv, float(height.min()) / 1e3
    beta = 2 * model.film / (cv * float(thickness.max()) / 1e3)
    growth = float((height / wait).min()) / 1e3
    rate = (growth + math.sqrt(growth**2 + 4 * alpha * beta)) / (2 * alpha)
    return int(min(max(math.ceil(-math.log(REACH) / (rate * layer)) + 1, LEAST_WINDOW), GREATEST_WINDOW))


def periodic(model: WallModel, *, height: float, thickness: float, layer_time: float) -> float:
    """Temperature of the top just before the next layer, far above the platform, degC.

    Parameters
    ----------
    model : WallModel
    height, thickness : float
        Of every layer, mm.
    layer_time : float
        s.
    """
    same = np.full(PERIODIC, 1.0)
    run = run_wall(model, height=height * same, thickness=thickness * same, wait=layer_time * same)
    return float(run.before[-1])


def layer_time_for(model: WallModel, *, height: float, thickness: float, target: float) -> float | None:
    """Layer time at which the top has just the temperature `target` (degC) before the next layer, s.

    The temperature falls with the layer time, so the time is bracketed and halved. None where no time between
    a second and two hours gives it.
    """

    def over(time: float) -> float:
        return periodic(model, height=height, thickness=thickness, layer_time=time) - target

    low, high = LEAST_TIME, GREATEST_TIME
    if over(low) < 0 or over(high) > 0:
        return None
    while high / low > 1.0 + TIME_DIGITS:
        middle = math.sqrt(low * high)
        low, high = (middle, high) if over(middle) > 0 else (low, middle)
    return math.sqrt(low * high)


# Relative accuracy of a proposed layer time, far below that of its inputs.
TIME_DIGITS = 2e-3


def contact_temperature(one: float, other: float, effusivity: tuple[float, float] = (1.0, 1.0)) -> float:
    """Temperature at which two bodies meet at first: the mean weighed by their effusivities, degC.

    Two half-spaces: H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids.
    """
    e, f = effusivity
    return (e * one + f * other) / (e + f)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Interlayer temperatures between which a wall stands and bonds, degC."""

    least: float
    greatest: float


def heat_findings(
    bands: Sequence[tuple[int, float, float]],
    window: Window,
    *,
    level: Level = "warning",
    advice: Callable[[int], str] = lambda _: "",
) -> tuple[Finding, ...]:
    """What the interlayer temperatures mean, at most one finding of each kind, at its worst layer.

    Parameters
    ----------
    bands : sequence of (layer, low, high)
        Least and greatest temperature that may be there, degC.
    window : Window
    level : Level
        Of what is surely too hot or too cold.
    advice : callable
        From a layer to what would mend it, as a sentence part with its own punctuation before it.
    """
    hot = [row for row in bands if row[1] > window.greatest]
    cold = [row for row in bands if row[2] < window.least]
    unsure = [
        row
        for row in bands
        if row not in hot and row not in cold and (row[2] > window.greatest or row[1] < window.least)
    ]
    found = []
    if hot:
        layer, low, high = max(hot, key=lambda row: row[1])
        found.append(
            Finding(
                code="too-hot",
                level=level,
                layer=layer,
                measured=(low + high) / 2,
                allowed=window.greatest,
                unit="degC",
                text=f"in {counted(len(hot), 'layer')}, here most, the layer below is still too hot and may"
                f" sag{advice(layer)}",
            )
        )
    if cold:
        layer, low, high = min(cold, key=lambda row: row[2])
        found.append(
            Finding(
                code="too-cold",
                level=level,
                layer=layer,
                measured=(low + high) / 2,
                allowed=window.least,
                unit="degC",
                text=f"in {counted(len(cold), 'layer')}, here most, the layer below is too cold: weak bond, tall"
                f" walls may crack{advice(layer)}",
            )
        )
    if unsure:
        layer, low, high = max(unsure, key=lambda row: max(row[2] - window.greatest, window.least - row[1]))
        hotter = high - window.greatest > window.least - low
        found.append(
            Finding(
                code="interlayer-uncertain",
                level="note",
                layer=layer,
                measured=(low + high) / 2,
                allowed=window.greatest if hotter else window.least,
                unit="degC",
                text=f"in {counted(len(unsure), 'layer')} the layer below may be too {'hot' if hotter else 'cold'}:"
                " the model's band reaches over the limit; an interface reading would narrow it",
            )
        )
    return tuple(found)
