"""Planned stops of a job."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity


class PlannedStop(Section):
    """A stop for the operator, before the first layer that begins at or after a layer, a time or a mass."""

    layer: int | None = Field(None, ge=0, description="index of the layer before which the program stops")
    time: Annotated[float, Quantity("time", 0.0, 1e8)] | None = Field(
        None, description="time since the start after which it stops, s"
    )
    mass: Annotated[float, Quantity("mass", 0.0, 1e6)] | None = Field(
        None, description="mass laid after which it stops, kg"
    )
    why: Literal["insert", "measure", "refill", "shift"] = Field(description="what the operator does")
    text: str = Field(
        "",
        max_length=60,
        pattern=r"^[ -'*-~]*$",
        description="what the operator is told beside; ASCII, no parentheses",
    )

    def between(self) -> list[tuple[str, str]]:
        """Exactly one of layer, time and mass."""
        if sum(each is not None for each in (self.layer, self.time, self.mass)) == 1:
            return []
        return [("why", "needs exactly one of layer, time and mass beside it")]
