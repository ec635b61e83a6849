"""What a material is: a card of numbers, each with its standing."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from typing import Annotated, ClassVar

from pydantic import Field

from beadwright.settings._base import Fault, Section
from beadwright.settings._figure import Figure, Within

Temperature = Annotated[Figure, Within(-50.0, 500.0, "temperature")]
Expansion = Annotated[Figure, Within(-50.0, 500.0, unit="1e-6/K")]
Percent = Annotated[Figure, Within(0.0, 10.0, unit="%")]
Conductivity = Annotated[Figure, Within(0.01, 100.0, unit="W/(m K)")]


def _in_order(card: Section, *, low: str, high: str) -> Iterator[Fault]:
    """One temperature not above another."""
    a, b = getattr(card, low), getattr(card, high)
    if a is not None and b is not None and a.value > b.value:
        yield low, f"{a.value:g} degC is above {high}, {b.value:g} degC"


class Material(Section):
    """A material card. What is not known is left out, and what needs it is not calculated."""

    name: str = Field(max_length=60, description="its name, for the record")
    density: Annotated[Figure, Within(100.0, 10_000.0, "density")] = Field(
        description="density at room temperature, kg/m3"
    )
    tg: Temperature | None = Field(None, description="glass transition temperature, degC")
    tm: Temperature | None = Field(None, description="melting temperature of a semi-crystalline one, degC")
    melt: Temperature | None = Field(None, description="temperature of the melt at the nozzle, degC")
    melt_least: Temperature | None = Field(None, description="least temperature of the melt, degC")
    melt_greatest: Temperature | None = Field(
        None, description="greatest temperature of the melt, degC; never above the data sheet's"
    )
    deposition: Temperature | None = Field(None, description="temperature of a bead as laid, degC")
    platform: Temperature | None = Field(None, description="temperature of the platform, degC")
    interlayer_least: Temperature | None = Field(
        None, description="least temperature of a layer just before the next, degC; below it welds are weak"
    )
    interlayer_wished_least: Temperature | None = Field(
        None, description="least temperature wished for there, degC"
    )
    interlayer_wished_greatest: Temperature | None = Field(
        None, description="greatest temperature wished for there, degC"
    )
    interlayer_greatest: Temperature | None = Field(
        None, description="greatest temperature there, degC; above it the stack sags"
    )
    conductivity: Conductivity | None = Field(None, description="conductivity through the layers, W/(m K)")
    conductivity_along: Conductivity | None = Field(None, description="conductivity along the bead, W/(m K)")
    specific_heat: Annotated[Figure, Within(100.0, 10_000.0, unit="J/(kg K)")] | None = Field(
        None, description="specific heat, J/(kg K)"
    )
    emissivity: Annotated[Figure, Within(0.01, 1.0)] | None = Field(
        None, description="emissivity of its surface"
    )
    cte_along: Expansion | None = Field(None, description="thermal expansion along the bead, 1e-6/K")
    cte_across: Expansion | None = Field(None, description="thermal expansion across the bead, 1e-6/K")
    cte_build: Expansion | None = Field(None, description="thermal expansion in the build direction, 1e-6/K")
    shrink_along: Percent | None = Field(None, description="shrinkage along the bead, %")
    shrink_across: Percent | None = Field(None, description="shrinkage across the bead, %")
    drying: Temperature | None = Field(None, description="temperature of drying, degC")
    drying_time: Annotated[Figure, Within(0.0, 1e6, "time")] | None = Field(
        None, description="time of drying, s"
    )
    moisture: Annotated[Figure, Within(0.0, 5.0, unit="%")] | None = Field(
        None, description="greatest moisture after drying, %"
    )
    price: Annotated[Figure, Within(0.0, 1e5, unit="per kg")] | None = Field(
        None, description="price of a kg, in the currency of the machine's rates"
    )

    RULES: ClassVar = tuple(
        functools.partial(_in_order, low=low, high=high)
        for low, high in (
            ("melt_least", "melt"),
            ("melt", "melt_greatest"),
            ("melt_least", "melt_greatest"),
            ("interlayer_least", "interlayer_greatest"),
            ("interlayer_wished_least", "interlayer_wished_greatest"),
        )
    )
