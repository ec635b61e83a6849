"""A measured platform, and how the first layers even it out."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import BeforeValidator, Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity

Thickness = Annotated[float, Quantity("length", 0.05, 50.0)]


class BedMapRule(Section):
    """Which file holds the measured heights, and how many layers share them."""

    LEAF: ClassVar[bool] = True

    file: str = Field(
        min_length=1,
        max_length=1000,
        description="CSV with rows x,y,z, program coordinates, mm: a rectangular grid of measured heights",
    )
    layers: int = Field(3, ge=1, le=100, description="layers that share the height, each an equal part")
    bound: Annotated[float, Quantity("length", 0.001, 1.0)] = Field(
        0.02, description="greatest distance of the nozzle's height from the measured surface's, mm"
    )
    least: Thickness | None = Field(
        None, description="thinnest that the machine lays a layer well, mm; default half the bead's height"
    )
    greatest: Thickness | None = Field(
        None, description="thickest, mm; default one and a half of the bead's height, below its width"
    )

    def between(self) -> list[tuple[str, str]]:
        """Faults between values that are each in range."""
        if self.least is None or self.greatest is None or self.least < self.greatest:
            return []
        return [("least", f"{self.least:g} mm is not below the greatest, {self.greatest:g} mm")]


def _named(value: object) -> object:
    """Accept the name of the file alone."""
    return {"file": value} if isinstance(value, str) else value


BedMap = Annotated[BedMapRule | None, BeforeValidator(_named)]
