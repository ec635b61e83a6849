"""The window of layer times, and how far the model of heat is trusted, with defaults and ranges."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity

Seconds = Annotated[float, Quantity("time", 0.0, 86_400.0)]


class LayerTime(Section):
    """How long a layer may take; each default stands here and nowhere else."""

    least: Seconds = Field(
        0.0,
        description="least time of a layer, s: the feed goes down to meet it, then the nozzle waits off the part",
    )
    greatest: Seconds | None = Field(None, description="greatest time of a layer, s; longer is told")
    band: float = Field(
        15.0,
        ge=0.0,
        le=200.0,
        description="by how much the interlayer temperature may be off, K; less only after an interface reading",
    )

    def between(self) -> list[tuple[str, str]]:
        """Least below greatest."""
        if self.greatest is None or self.least < self.greatest:
            return []
        return [("greatest", f"{self.greatest:g} s is not above the least, {self.least:g} s")]


LAYER_TIME = LayerTime.model_validate({})
"""As it is where nothing is asked for."""
