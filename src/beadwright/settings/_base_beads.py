"""Pads beside the part, to hold it down by, with ranges."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity

Place = Annotated[float, Quantity("length", -100_000.0, 100_000.0)]
Size = Annotated[float, Quantity("length", 1.0, 10_000.0)]
MOST_LAYERS = 1000


class Pad(Section):
    """A rectangle that is laid with the part's foot, for a clamp to hold."""

    at: tuple[Place, Place] = Field(description="its middle on the platform, X,Y, mm")
    size: tuple[Size, Size] = Field(description="its size along X and Y, mm")
    layers: int = Field(1, ge=1, le=MOST_LAYERS, description="how many layers it is high")

    def rectangle(self) -> tuple[float, float, float, float]:
        """Least x and y, greatest x and y, mm."""
        (x, y), (width, depth) = self.at, self.size
        return x - width / 2, y - depth / 2, x + width / 2, y + depth / 2
