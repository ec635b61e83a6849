"""Planes that cut a part into segments, with ranges."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity

Place = Annotated[float, Quantity("length", -100_000.0, 100_000.0)]
Component = Annotated[float, Field(ge=-1e9, le=1e9)]


class Cut(Section):
    """A plane through the part as read: by its height, or by a point and a normal."""

    z: Place | None = Field(None, description="height of a level plane in the part's own coordinates, mm")
    point: tuple[Place, Place, Place] | None = Field(None, description="a point of the plane, X,Y,Z, mm")
    normal: tuple[Component, Component, Component] | None = Field(
        None, description="direction across the plane, X,Y,Z"
    )

    def between(self) -> list[tuple[str, str]]:
        """One way to say it, and a direction that is one."""
        tilted = self.point is not None and self.normal is not None
        half = (self.point is None) != (self.normal is None)
        if half or (self.z is None) != tilted:
            return [("z", "give z alone, or point and normal")]
        if self.normal is not None and not any(self.normal):
            return [("normal", "has no direction")]
        return []

    def plane(self) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
        """A point of the plane, and the direction across it."""
        if self.point is not None and self.normal is not None:
            return self.point, self.normal
        return (0.0, 0.0, self.z or 0.0), (0.0, 0.0, 1.0)
