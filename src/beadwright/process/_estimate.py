"""Build estimate: mass, time, energy, cost, feedstock to dry and refills of the hopper. An estimate, no quotation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

POUND = 0.45359237
"""Kilograms in a pound, exact: NIST SP 811 (2008), B.8."""
INCH = 25.4
"""Millimetres in an inch, exact."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Parts of a time, s.

    Attributes
    ----------
    extruding : float
        Along beads.
    traverse : float
        To and from them.
    dwell : float
        Waiting, off the part or priming.
    purge : float
        Purging off the part.
    """

    extruding: float = 0.0
    traverse: float = 0.0
    dwell: float = 0.0
    purge: float = 0.0

    @property
    def total(self) -> float:
        """All parts together, s."""
        return self.extruding + self.traverse + self.dwell + self.purge

    def __add__(self, other: Times) -> Times:
        return Times(
            extruding=self.extruding + other.extruding,
            traverse=self.traverse + other.traverse,
            dwell=self.dwell + other.dwell,
            purge=self.purge + other.purge,
        )

    def as_dict(self) -> dict[str, float]:
        """By key with unit."""
        return {
            "extruding_s": self.extruding,
            "traverse_s": self.traverse,
            "dwell_s": self.dwell,
            "purge_s": self.purge,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Prices and powers; 0 is not counted.

    Attributes
    ----------
    currency : str
    material : float or None
        Of a kg; None where it is not known.
    machine, labour : float
        Of an hour.
    attendance : float
        Hours of labour in an hour of the build.
    energy : float
        Of a kWh.
    sheet : float
        Of the sheet printed on.
    idle_power, extruder_power : float
        kW: at all times; and while extruding.
    """

    currency: str
    material: float | None
    machine: float = 0.0
    labour: float = 0.0
    attendance: float = 1.0
    energy: float = 0.0
    sheet: float = 0.0
    idle_power: float = 0.0
    extruder_power: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Refill:
    """When the hopper is empty: s after the start, and in which layer."""

    at: float
    layer: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """What a build takes.

    Attributes
    ----------
    part, purge : float
        Mass laid and mass purged, kg.
    removed : float or None
        Of the part what is machined off again, kg; None where the finished volume is not known.
    times : Times
    energy : float or None
        kWh; None where no power is known.
    costs : dict of str to float
        By what they are for.
    currency : str
    refills : tuple of Refill
    """

    part: float
    purge: float
    removed: float | None
    times: Times
    energy: float | None
    costs: dict[str, float]
    currency: str
    refills: tuple[Refill, ...]

    @property
    def feedstock(self) -> float:
        """Pellets to dry: part and purge, kg."""
        return self.part + self.purge

    @property
    def cost(self) -> float:
        """Sum of the costs."""
        return math.fsum(self.costs.values())

    def as_dict(self) -> dict[str, object]:
        """By key with unit; what is not known is absent."""
        masses = {"part": self.part, "purge": self.purge, "feedstock": self.feedstock}
        if self.removed is not None:
            masses["removed"] = self.removed
        told: dict[str, object] = {
            "mass_kg": masses,
            "mass_lb": {name: mass / POUND for name, mass in masses.items()},
            "time": {**self.times.as_dict(), "total_s": self.times.total},
            "refills": [{"at_s": refill.at, "layer": refill.layer} for refill in self.refills],
        }
        if self.times.extruding > 0:
            rate = self.part / self.times.extruding * 3600
            told["output"] = {"kg_h": rate, "lb_h": rate / POUND}
        if self.energy is not None:
            told["energy_kwh"] = self.energy
        if self.costs:
            told["cost"] = {"currency": self.currency, **self.costs, "total": self.cost}
        return told


def layer_estimate(mass: float, times: Times, prices: Prices) -> dict[str, float]:
    """Energy and cost of a layer, by key with unit; what is not known is absent.

    The cost is its material, hours and energy: what is purged and the sheet are of the whole build.

    Parameters
    ----------
    mass : float
        Laid in it, kg.
    times : Times
    prices : Prices

    Examples
    --------
    Two kilograms at 8, half an hour at 60 and at 40, and 20 kW of it at 0.25 a kWh:

    >>> layer_estimate(2.0, Times(extruding=1800.0), Prices(currency="USD", material=8.0, machine=60.0, labour=40.0,
    ...                energy=0.25, extruder_power=20.0))
    {'energy_kwh': 10.0, 'cost': 68.5}
    """
    told: dict[str, float] = {}
    if prices.idle_power or prices.extruder_power:
        own = prices.extruder_power * (times.extruding + times.purge)
        told["energy_kwh"] = (prices.idle_power * times.total + own) / 3600
    energy = prices.energy * told.get("energy_kwh", 0.0)
    hourly = prices.machine + prices.labour * prices.attendance
    if prices.material is not None or hourly or energy:
        told["cost"] = (prices.material or 0.0) * mass + hourly * times.total / 3600 + energy
    return told


def estimate(
    *,
    masses: Sequence[float],
    times: Sequence[Times],
    first: int,
    purge: float,
    hopper: float,
    prices: Prices,
    finished: float | None = None,
) -> Estimate:
    """Sum a build up.

    Parameters
    ----------
    masses : sequence of float
        Laid in each layer, kg.
    times : sequence of Times
        Of each layer.
    first : int
        Index of the first of them.
    purge : float
        Mass purged, kg; the hopper gives it at the start.
    hopper : float
        Pellets in a full hopper, kg, above 0.
    prices : Prices
    finished : float or None
        Mass of the part when machined, kg, if it is.

    Returns
    -------
    Estimate
    """
    total = sum(times, Times())
    part = math.fsum(masses)
    costs: dict[str, float] = {}
    if prices.material is not None:
        costs["material"] = prices.material * part
        costs["purge"] = prices.material * purge
    hours = total.total / 3600
    energy = None
    if prices.idle_power or prices.extruder_power:
        energy = prices.idle_power * hours + prices.extruder_power * (total.extruding + total.purge) / 3600
        if prices.energy:
            costs["energy"] = prices.energy * energy
    hourly = {
        "machine": prices.machine * hours,
        "labour": prices.labour * prices.attendance * hours,
        "sheet": prices.sheet,
    }
    costs |= {name: cost for name, cost in hourly.items() if cost}
    return Estimate(
        part=part,
        purge=purge,
        removed=None if finished is None else max(part - finished, 0.0),
        times=total,
        energy=energy,
        costs=costs,
        currency=prices.currency,
        refills=refills(masses, [each.total for each in times], first=first, purge=purge, hopper=hopper),
    )


def refills(
    masses: Sequence[float], times: Sequence[float], *, first: int, purge: float, hopper: float
) -> tuple[Refill, ...]:
    """When a hopper that was full at the start is empty, again and again.

    Within a layer the mass goes evenly over its time.

    Examples
    --------
    60 kg at 13.789 kg/h last 4.351 h:

    >>> found = refills([13.789] * 6, [3600.0] * 6, first=0, purge=0.0, hopper=60.0)
    >>> [(round(refill.at / 3600, 3), refill.layer) for refill in found]
    [(4.351, 4)]
    """
    used = np.concatenate([[purge], purge + np.cumsum(masses)])
    clock = np.concatenate([[0.0], np.cumsum(times)])
    found = []
    for layer, ((low, high), (begin, end)) in enumerate(
        zip(pairwise(used.tolist()), pairwise(clock.tolist()), strict=True), first
    ):
        # The n-th hopper is empty when n of them are used up; one that ends with the build needs no refill.
        for count in range(math.floor(low / hopper) + 1, math.ceil(high / hopper)):
            share = (count * hopper - low) / (high - low)
            found.append(Refill(at=begin + share * (end - begin), layer=layer))
        if high < used[-1] and high > low and high / hopper == math.floor(high / hopper):
            found.append(Refill(at=end, layer=layer))
    return tuple(found)


def clock_text(seconds: float) -> str:
    """A time for people, to the nearest second; from an hour on to the nearest minute.

    Examples
    --------
    >>> clock_text(15663.6), clock_text(59.0), clock_text(59.6), clock_text(88.9), clock_text(751.0)
    ('4 h 21 min', '59 s', '1 min 00 s', '1 min 29 s', '12 min 31 s')
    """
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"
