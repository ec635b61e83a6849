"""Layer heights that follow the part, with ranges."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity

Height = Annotated[float, Quantity("length", 0.05, 50.0)]


class Heights(Section):
    """Layer heights by a limit of the cusp: the step between layers, square to the surface."""

    LEAF: ClassVar[bool] = True

    cusp: Annotated[float, Quantity("length", 0.01, 50.0)] = Field(description="greatest cusp, mm")
    least: Height = Field(description="lowest layer that the machine lays well, mm")
    greatest: Height = Field(description="highest layer that the machine lays well, mm")

    def between(self) -> list[tuple[str, str]]:
        """Faults between values that are each in range."""
        if self.least <= self.greatest:
            return []
        return [("least", f"{self.least:g} mm is above the greatest, {self.greatest:g} mm")]
