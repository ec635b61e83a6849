"""What a check found: a value with a place, never an exception."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Level = Literal["note", "warning", "error"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that a reader of the result should know about.

    A value that is not known is None here and *absent* in `as_dict`, never null, zero or a guess.

    Attributes
    ----------
    code : str
        Short and stable: what a program would look for, for example ``thin``.
    level : {"note", "warning", "error"}
        An error ends the command with exit code 1; a strict run makes errors of warnings.
    text : str
        One sentence for the reader, with what to do about it where that is known.
    layer : int or None
        Index of the layer.
    at_mm : (3,) float or None
        Place in machine coordinates, mm.
    face : int or None
        Id of the face of the solid.
    measured, allowed : float or None
        What was found and its limit, both in `unit`.
    unit : str
        Unit of `measured` and `allowed`; "" where there is none.

    Examples
    --------
    >>> Finding(code="thin", level="warning", text="thinner than one bead", layer=3).as_dict()
    {'code': 'thin', 'level': 'warning', 'layer': 3, 'text': 'thinner than one bead'}
    """

    code: str
    level: Level
    text: str
    layer: int | None = None
    at_mm: tuple[float, float, float] | None = None
    face: int | None = None
    measured: float | None = None
    allowed: float | None = None
    unit: str = ""

    def as_dict(self) -> dict[str, object]:
        """Keys of the plan's JSON in their order, without those that are not known."""
        pairs: dict[str, object] = {
            "code": self.code,
            "level": self.level,
            "layer": self.layer,
            "at_mm": None if self.at_mm is None else list(self.at_mm),
            "face": self.face,
            "measured": self.measured,
            "allowed": self.allowed,
            "unit": self.unit or None,
            "text": self.text,
        }
        return {key: value for key, value in pairs.items() if value is not None}

    def strict(self) -> Finding:
        """The same finding in a strict run: a warning becomes an error."""
        return replace(self, level="error") if self.level == "warning" else self
