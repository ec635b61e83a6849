"""What a job leaves for machining: stock on faces, and features that are cut later."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import BeforeValidator, Field

from beadwright.settings._base import Section
from beadwright.settings._faces import Faces
from beadwright.settings._quantity import Quantity


class StockRule(Section):
    """Material left on faces, to be machined away."""

    LEAF: ClassVar[bool] = True

    faces: Faces = Field(description="the faces that get it")
    amount: Annotated[float, Quantity("length", 0.01, 200.0)] = Field(
        description="how much, along the normal, mm"
    )


class CutLater(Section):
    """Holes and pockets that are printed full and cut later."""

    LEAF: ClassVar[bool] = True

    faces: Faces | None = Field(None, description="the faces of the holes and pockets")
    holes_below: Annotated[float, Quantity("length", 0.01, 10_000.0)] | None = Field(
        None, description="round holes up to this diameter, mm"
    )

    def between(self) -> list[tuple[str, str]]:
        """Faults between values that are each in range."""
        if self.faces is None and self.holes_below is None:
            return [("faces", "give `faces` or `holes_below`")]
        return []


def _on_all(value: object) -> object:
    """Accept one amount, for all faces."""
    if isinstance(value, (str, int, float)) and not isinstance(value, bool):
        return ({"faces": {"all": True}, "amount": value},)
    return (value,) if isinstance(value, dict) else value


def _several(value: object) -> object:
    return (value,) if isinstance(value, dict) else value


Stock = Annotated[tuple[StockRule, ...], BeforeValidator(_on_all)]
Later = Annotated[tuple[CutLater, ...], BeforeValidator(_several)]
