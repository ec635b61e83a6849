"""A proven bound is a value that is returned, carried along and added up."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bound:
    """How far one step of the way may have moved the geometry.

    Attributes
    ----------
    mm : float
        Upper bound of a distance, mm, rounding of its own computation included.
    stage : str
        ``section``, ``fit``, ``region``, ``rounding`` or ``model``.
    why : str
        Where the bound comes from, one clause for the reader.
    """

    mm: float
    stage: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Budget:
    """The bounds of one layer, one a stage.

    ``corner`` is what the rounding of corners was asked to cost; it is 0 where none are rounded.

    Examples
    --------
    >>> Budget(section=1e-6, fit=0.01, region=1e-8, rounding=2.42e-4).total >= 0.01024301
    True
    """

    section: float = 0.0
    fit: float = 0.0
    region: float = 0.0
    rounding: float = 0.0
    model: float = 0.0
    corner: float = 0.0

    @property
    def total(self) -> float:
        """Sum of all parts but ``model``, which is the file's own share, mm; rounded up."""
        value = 0.0
        for part in (self.section, self.fit, self.region, self.rounding, self.corner):
            value = math.nextafter(value + part, math.inf) if part else value
        return value
