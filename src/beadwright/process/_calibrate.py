"""Cards from measured test pieces: each fit tells how well it holds, and data that cannot carry it are refused."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.errors import SettingsError
from beadwright.numeric import counted
from beadwright.process._lag import Response

Floats = npt.NDArray[np.float64]

# Shares of the full bead between which a place tells of the ramp: outside, the width is that of a full or an
# empty bead within what a calliper tells.
RAMP = (0.05, 0.95)
# Two places on the ramp fix dead time and time constant; a third is the least that can contradict.
LEAST_ON_RAMP = 3
LEAST_ROWS = 3
# Relative change of the sum of squares at which the fit of a lag stands still.
STILL = 1e-12
MAX_ROUNDS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A number and how sure it is.

    Attributes
    ----------
    value : float
    sure : float
        Its standard error, in the same unit.
    """

    value: float
    sure: float


def _columns(what: str, least: int, *columns: npt.ArrayLike) -> list[Floats]:
    """Columns as arrays of one length, at least `least` rows of numbers."""
    rows = [np.atleast_1d(np.asarray(column, float)) for column in columns]
    count = len(rows[0])
    if any(len(row) != count for row in rows) or not all(np.isfinite(row).all() for row in rows):
        raise SettingsError(f"{what}: every row needs a number in each column")
    if count < least:
        raise SettingsError(f"{what}: {counted(count, 'row')}; {least} or more are needed")
    return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class LagFit:
    """Response of the extruder as fitted.

    Attributes
    ----------
    response : Response
    dead_sure, constant_sure : float
        Standard errors, s.
    spread : float
        Standard deviation of the residuals, of a full bead.
    rows : int
        Places that it rests on.
    """

    response: Response
    dead_sure: float
    constant_sure: float
    spread: float
    rows: int


def fit_lag(feed: npt.ArrayLike, distance: npt.ArrayLike, share: npt.ArrayLike, *, stop: bool) -> LagFit:
    """Dead time and time constant from how full a bead is along its way after a command.

    After the command the share of a full bead is 1 - exp(-(t - t_d) / tau) of a start and exp(-(t - t_d) / tau)
    of a stop, t = distance / feed: least squares over t_d and tau.

    Parameters
    ----------
    feed : (n,) array_like of float
        mm/s at each place.
    distance : (n,) array_like of float
        From where the command was given, mm.
    share : (n,) array_like of float
        Width there, of the width of the full bead, at constant height.
    stop : bool
        Whether it was a stop.

    Raises
    ------
    SettingsError
        Too few places lie on the ramp.

    Examples
    --------
    >>> t = np.array([0.2, 0.3, 0.5, 0.8])
    >>> found = fit_lag(np.full(4, 100.0), 100 * t, 1 - np.exp(-(t - 0.15) / 0.3), stop=False)
    >>> round(found.response.dead, 6), round(found.response.constant, 6)
    (0.15, 0.3)
    """
    what = "lag, stop" if stop else "lag, start"
    v, x, y = _columns(what, LEAST_ON_RAMP, feed, distance, share)
    if not (v > 0).all():
        raise SettingsError(f"{what}: the feed must be above 0")
    # Share that is still missing: exp(-(t - t_d) / tau) for both.
    time, left = x / v, y if stop else 1.0 - y
    on = (left > RAMP[0]) & (left < RAMP[1])
    count = int(on.sum())
    if count < LEAST_ON_RAMP or len(np.unique(time[on])) < LEAST_ON_RAMP:
        raise SettingsError(
            f"{what}: {counted(count, 'place lies', 'places lie')} on the ramp, between {RAMP[0]:.0%} and"
            f" {RAMP[1]:.0%} of a full bead;"
            f" measure at {LEAST_ON_RAMP} different ones or more there"
        )
    t, z = time[on], left[on]
    rate, head = (-float(v) for v in np.polyfit(t, np.log(z), 1))
    if rate <= 0:
        raise SettingsError(
            f"{what}: the bead does not fill up (or run out) along its way; check the columns"
        )
    constant, dead = 1 / rate, -head / rate
    dead, constant, jacobian = _refined(t, z, dead, constant)
    rest = z - np.exp(-(t - dead) / constant)
    spread = math.sqrt(float(rest @ rest) / max(count - 2, 1))
    covariance = spread**2 * np.linalg.inv(jacobian.T @ jacobian)
    if dead < 0 and dead < -2 * math.sqrt(covariance[0, 0]):
        raise SettingsError(
            f"{what}: the dead time comes out below 0, {dead:.3g} s: distances are not from where the command was given"
        )
    return LagFit(
        response=Response(dead=max(dead, 0.0), constant=constant),
        dead_sure=math.sqrt(covariance[0, 0]),
        constant_sure=math.sqrt(covariance[1, 1]),
        spread=spread,
        rows=count,
    )


def _refined(t: Floats, z: Floats, dead: float, constant: float) -> tuple[float, float, Floats]:
    """Gauss-Newton on the shares themselves (the logarithm weighs the thin end too much), with halved steps."""

    def model(d: float, c: float) -> Floats:
        return np.exp(-(t - d) / c)

    error = float(((z - model(dead, constant)) ** 2).sum())
    jacobian = np.empty((len(t), 2))
    for _ in range(MAX_ROUNDS):
        m = model(dead, constant)
        jacobian = np.column_stack([m / constant, m * (t - dead) / constant**2])
        step = np.linalg.lstsq(jacobian, z - m, rcond=None)[0]
        while True:
            d, c = dead + step[0], constant + step[1]
            new = float(((z - model(d, c)) ** 2).sum()) if c > 0 else math.inf
            if new <= error or float(np.abs(step).max()) < STILL:
                break
            step = step / 2
        done = error - new <= STILL * error
        if new <= error:
            dead, constant, error = d, c, new
        if done:
            break
    return float(dead), float(constant), jacobian


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthFit:
    """Width of a bead as printed.

    Attributes
    ----------
    width : Fitted
        Mean at the flow that the bead asks, mm.
    spread : float
        Standard deviation of a single reading, mm.
    slope : Fitted
        Change of width with feed, mm per mm/s: 0 where the screw follows the feed.
    by_flow : Fitted or None
        Change of width with the flow, mm for as much again; None where all rows have the flow that the bead asks.
    """

    width: Fitted
    spread: float
    slope: Fitted
    by_flow: Fitted | None = None


def fit_width(feed: npt.ArrayLike, width: npt.ArrayLike, flow: npt.ArrayLike | None = None) -> WidthFit:
    """Mean width, and whether it changes with the feed and with the flow, that is with the screw speed at a feed.

    Parameters
    ----------
    feed : (n,) array_like of float
        mm/s; at least two different ones.
    width : (n,) array_like of float
        mm.
    flow : (n,) array_like of float, optional
        Share of the flow that the bead asks at that feed; default 1.

    Raises
    ------
    SettingsError
        Too few rows, or all at one feed; or the flow changes only with the feed.
    """
    v, w, q = _columns("width", LEAST_ROWS, feed, width, np.ones(np.size(feed)) if flow is None else flow)
    if len(np.unique(v)) < 2:
        raise SettingsError("width: all rows have one feed; measure at two or more")
    if (q != 1).any():
        return _by_flow(v, w, q)
    count = len(v)
    off = v - v.mean()
    slope = float(off @ w / (off @ off))
    rest = w - w.mean() - slope * off
    noise = math.sqrt(float(rest @ rest) / max(count - 2, 1))
    spread = float(w.std(ddof=1))
    return WidthFit(
        width=Fitted(value=float(w.mean()), sure=spread / math.sqrt(count)),
        spread=spread,
        slope=Fitted(value=slope, sure=noise / math.sqrt(float(off @ off))),
    )


def _by_flow(v: Floats, w: Floats, q: Floats) -> WidthFit:
    """Least squares in feed and flow."""
    table = np.column_stack([np.ones(len(v)), (v - v.mean()) / v.mean(), q - 1])
    if len(v) <= table.shape[1] or np.linalg.matrix_rank(table) < table.shape[1]:
        raise SettingsError(
            "width: feed and flow do not change apart from each other in enough rows; measure one feed at two flows,"
            " and one flow at two feeds"
        )
    found = np.linalg.lstsq(table, w, rcond=None)[0]
    rest = w - table @ found
    noise = math.sqrt(float(rest @ rest) / (len(v) - table.shape[1]))
    sure = noise * np.sqrt(np.diag(np.linalg.inv(table.T @ table)))
    mean = float(v.mean())
    return WidthFit(
        width=Fitted(value=float(found[0]), sure=float(sure[0])),
        spread=noise,
        slope=Fitted(value=float(found[1]) / mean, sure=float(sure[1]) / mean),
        by_flow=Fitted(value=float(found[2]), sure=float(sure[2])),
    )


def fit_spacing(spacing: npt.ArrayLike, height: npt.ArrayLike, *, nominal: float) -> Fitted:
    """Spacing at which neighbouring beads just fill the layer: their area over the nominal height, mm.

    A block whose beads stand too close rises: height times spacing is the area of one bead. Blocks that did
    not rise have voids inside and tell nothing.

    Parameters
    ----------
    spacing, height : (n,) array_like of float
        Of each block, mm; the height that of its middle.
    nominal : float
        Layer height, mm.

    Raises
    ------
    SettingsError
        Fewer than two blocks rose above the nominal height.
    """
    s, h = _columns("overlap", LEAST_ROWS, spacing, height)
    rose = h > nominal
    if int(rose.sum()) < 2:
        raise SettingsError(
            "overlap: fewer than two blocks rose above the layer height; print blocks of less spacing"
        )
    found = s[rose] * h[rose] / nominal
    return Fitted(value=float(found.mean()), sure=float(found.std(ddof=1) / math.sqrt(len(found))))


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeFit:
    """Measured against drawn sizes.

    Attributes
    ----------
    factor : Fitted
        Measured over drawn size; its inverse scales the part so that it comes out right.
    offset : Fitted
        What is added whatever the size, mm: twice the error of the bead's width on its outer side.
    spread : float
        Standard deviation of the residuals, mm.
    """

    factor: Fitted
    offset: Fitted
    spread: float


def fit_sizes(drawn: npt.ArrayLike, measured: npt.ArrayLike) -> SizeFit:
    """Least squares line through measured against drawn diameters, mm.

    Raises
    ------
    SettingsError
        Fewer than three rows, or all of one size.
    """
    x, y = _columns("circle", LEAST_ROWS, drawn, measured)
    if len(np.unique(x)) < 2:
        raise SettingsError("circle: all rows have one size; measure two or more different circles")
    off = x - x.mean()
    square = float(off @ off)
    factor = float(off @ y) / square
    offset = float(y.mean()) - factor * float(x.mean())
    rest = y - factor * x - offset
    spread = math.sqrt(float(rest @ rest) / max(len(x) - 2, 1))
    return SizeFit(
        factor=Fitted(value=factor, sure=spread / math.sqrt(square)),
        offset=Fitted(value=offset, sure=spread * math.sqrt(1 / len(x) + float(x.mean()) ** 2 / square)),
        spread=spread,
    )


def fit_band(predicted: npt.ArrayLike, measured: npt.ArrayLike) -> float:
    """Half width of the band in which readings lie about what the wall model predicts, K.

    Twice the root mean square of measured less predicted: an offset counts in full, since nothing corrects it.

    Parameters
    ----------
    predicted, measured : (n,) array_like of float
        Middle of the predicted band, and what was read just before the next layer, degC.

    Raises
    ------
    SettingsError
        Fewer than three readings.
    """
    p, m = _columns("interface", LEAST_ROWS, predicted, measured)
    return 2.0 * math.sqrt(float(((m - p) ** 2).mean()))


def corner_tolerance(feed: npt.ArrayLike, cut: npt.ArrayLike) -> float:
    """Greatest distance by which corners were cut, mm: what the path mode's tolerance must at least be told as.

    Raises
    ------
    SettingsError
        Fewer than three corners, or a distance below 0.
    """
    _, off = _columns("corner", LEAST_ROWS, feed, cut)
    if not (off >= 0).all():
        raise SettingsError("corner: a corner cannot be cut by less than 0 mm")
    return float(off.max())


def greatest_lean(lean: npt.ArrayLike, good: npt.ArrayLike) -> float:
    """Greatest lean from the vertical (degrees) up to which every step came out good.

    Raises
    ------
    SettingsError
        Too few steps, none good, or a good one above a bad one at the same lean.
    """
    angle, told = _columns("lean", LEAST_ROWS, lean, good)
    order = np.lexsort((-told, angle))
    angle, well = angle[order], told[order] > 0
    if not well.any() or not well[angle == angle[0]].all():
        raise SettingsError("lean: not even the least lean came out good; print steps nearer to the vertical")
    bad = angle[~well]
    limit = math.inf if not len(bad) else float(bad.min())
    if (angle[well] > limit).any():
        raise SettingsError(
            f"lean: {limit:g} degrees came out bad but a greater lean good; print and measure again"
        )
    return float(angle[well & (angle < limit)].max())
