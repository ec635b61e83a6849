"""Several parts and copies of one job, with ranges."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity

Angle = Annotated[float, Quantity("angle", -360.0, 360.0)]
Place = Annotated[float, Quantity("length", -100_000.0, 100_000.0)]
MOST_COPIES = 500
"""More would be more solids than anybody lays side by side."""


class Copy(Section):
    """One copy of the part at a given place."""

    at: tuple[Place, Place] = Field(description="where the middle of its box stands on the platform, X,Y, mm")
    turn: Angle = Field(0.0, description="degrees about the vertical, beside what `rotate` asks")


class PartFile(Section):
    """A further part, printed in the same program."""

    file: str = Field(
        min_length=1, max_length=1000, description="its STEP file; a relative name counts from the job file"
    )
    at: tuple[Place, Place] | None = Field(
        None,
        description="where the middle of its box stands, X,Y, mm; default: set in rows with all that have no place, as"
        " near to the job's `at` as those with one leave room",
    )
    turn: Angle = Field(0.0, description="degrees about the vertical, beside what `rotate` asks")
    copies: int = Field(1, ge=1, le=MOST_COPIES, description="how many of it, set in rows")

    def between(self) -> list[tuple[str, str]]:
        """A place is for one."""
        if self.at is not None and self.copies > 1:
            return [
                (
                    "copies",
                    f"{self.copies} cannot stand at one place; leave out at, or write a table for each",
                )
            ]
        return []
