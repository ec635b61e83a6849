"""What an export tells of itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """A written file of a section.

    Attributes
    ----------
    path : Path
    entities : mapping of str to int
        How many of each entity or path command it holds.
    bound : float
        Greatest distance of the written curves from the true ones, mm: that of the section plus what
        this format adds.
    """

    path: Path
    entities: Mapping[str, int]
    bound: float
