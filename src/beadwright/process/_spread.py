"""How far an estimate can be trusted, in numbers: all inputs at their own least and greatest together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from beadwright.process._estimate import Estimate

Range = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """An input that is not known exactly.

    Attributes
    ----------
    name, why : str
        What it is, and where its range comes from.
    low, high : float
        Shares of the number that was used: 0.99 and 1.01 for one per cent either way.
    """

    name: str
    why: str
    low: float
    high: float

    def as_dict(self) -> dict[str, object]:
        """By key."""
        return {"input": self.name, "low": self.low, "high": self.high, "why": self.why}


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """Inputs of an estimate that are not known exactly.

    Attributes
    ----------
    mass : tuple of Doubt
        Factors of every mass: density, section of the bead.
    speed : tuple of Doubt
        Factors of the speed along the path, beads and traverses alike.
    price : tuple of Doubt
        Factors of the price of the material.
    """

    mass: tuple[Doubt, ...] = ()
    speed: tuple[Doubt, ...] = ()
    price: tuple[Doubt, ...] = ()


NO_DOUBTS: Doubts = Doubts()


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Least and greatest of an estimate.

    Attributes
    ----------
    part, feedstock : (float, float)
        kg.
    time : (float, float)
        s.
    cost : (float, float) or None
        None where nothing has a price.
    doubts : Doubts
    """

    part: Range
    feedstock: Range
    time: Range
    cost: Range | None
    doubts: Doubts = field(default=NO_DOUBTS)

    def as_dict(self) -> dict[str, object]:
        """By key with unit; what is not known is absent."""
        told: dict[str, object] = {
            "part_kg": list(self.part),
            "feedstock_kg": list(self.feedstock),
            "time_s": list(self.time),
            "inputs": [
                each.as_dict() for each in (*self.doubts.mass, *self.doubts.speed, *self.doubts.price)
            ],
        }
        if self.cost is not None:
            told["cost"] = list(self.cost)
        return told


def spread(estimate: Estimate, doubts: Doubts, *, hourly: float) -> Spread:
    """Least and greatest of an estimate.

    Parameters
    ----------
    estimate : Estimate
    doubts : Doubts
    hourly : float
        Price of an hour of the build, energy left out, which follows the time likewise.

    Returns
    -------
    Spread
        Bounds for the inputs' own ranges, taken at their worst together; no ranges of inputs that are not listed.

    Examples
    --------
    >>> from beadwright.process import Prices, Times, estimate
    >>> made = estimate(masses=[100.0], times=[Times(extruding=3600.0, dwell=600.0)], first=0, purge=1.0,
    ...                 hopper=60.0, prices=Prices(currency="USD", material=8.0))
    >>> found = spread(made, Doubts(mass=(Doubt(name="density", why="", low=0.99, high=1.01),),
    ...                speed=(Doubt(name="override", why="", low=0.9, high=1.0),)), hourly=0.0)
    >>> found.part, found.time, found.cost
    ((99.0, 101.0), (4200.0, 4600.0), (800.0, 816.0))
    """
    light, heavy = _product(doubts.mass)
    slow, fast = _product(doubts.speed)
    cheap, dear = _product(doubts.price)
    times = estimate.times
    moving = times.extruding + times.traverse + times.purge
    least, greatest = moving / fast + times.dwell, moving / slow + times.dwell
    cost: Range | None = None
    if estimate.costs:
        stuff = math.fsum(estimate.costs.get(name, 0.0) for name in ("material", "purge"))
        weight = estimate.costs.get("material", 0.0)
        wasted = stuff - weight
        energy = estimate.costs.get("energy", 0.0)
        rest = estimate.cost - stuff - energy - hourly * times.total / 3600
        low = cheap * (light * weight + wasted) + (energy / times.total + hourly / 3600) * least + rest
        high = dear * (heavy * weight + wasted) + (energy / times.total + hourly / 3600) * greatest + rest
        cost = (low, high)
    return Spread(
        part=(light * estimate.part, heavy * estimate.part),
        # A purge is weighed, not reckoned from the bead.
        feedstock=(light * estimate.part + estimate.purge, heavy * estimate.part + estimate.purge),
        time=(least, greatest),
        cost=cost,
        doubts=doubts,
    )


def _product(doubts: Sequence[Doubt]) -> Range:
    return math.prod(each.low for each in doubts), math.prod(each.high for each in doubts)
