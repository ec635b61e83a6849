"""What is written for the machine beside the program."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity


class Release(Section):
    """Trial programs, release list and job record; written if this table stands in the job."""

    lift: Annotated[float, Quantity("length", 1.0, 10_000.0)] = Field(
        50.0, description="by how much the dry run is raised, mm; less where the machine ends before"
    )
    feed: Annotated[float, Quantity("speed", 0.1, 2000.0)] | None = Field(
        None, description="greatest feed of the dry run, mm/s; none: as in the program"
    )
