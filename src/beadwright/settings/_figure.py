"""A number of a card, with how far it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from beadwright.settings._base import Section
from beadwright.settings._quantity import SUFFIX, UNIT, Kind, convert

Standing = Literal["source", "common practice", "from memory", "measured", "not stated"]


class Figure(Section):
    """A number, how far it can be trusted, and where it stands."""

    LEAF: ClassVar[bool] = True

    value: float = Field(description="the number")
    low: float | None = Field(None, description="least that is told")
    high: float | None = Field(None, description="greatest that is told")
    standing: Standing = Field("not stated", description="how far it can be trusted")
    source: str = Field("", max_length=300, description="where it stands, or how it was measured")

    def between(self) -> list[tuple[str, str]]:
        """What is said to have a source names it; the value lies in its own range."""
        faults = []
        if self.standing == "source" and not self.source:
            faults.append(("source", "must be named where standing is source"))
        low = self.value if self.low is None else self.low
        high = self.value if self.high is None else self.high
        if not low <= self.value <= high:
            faults.append(("value", f"{self.value:g} does not lie in {low:g} to {high:g}"))
        return faults


@dataclass(frozen=True, slots=True)
class Within:
    """Annotation of a `Figure`: its range, its unit, and that it may be given as a plain number or text.

    Attributes
    ----------
    low, high : float
        Least and greatest value.
    kind : str, optional
        What it measures, if text with a unit may stand for it.
    unit : str
        For the reader, if there is no kind.
    """

    low: float
    high: float
    kind: Kind | None = None
    unit: str = ""

    @property
    def shown(self) -> str:
        """Unit of the number."""
        return UNIT[self.kind] if self.kind else self.unit

    @property
    def suffix(self) -> str:
        """What the unit adds to a key."""
        return SUFFIX[self.kind] if self.kind else ""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """A figure from a number, from text or from a table; in range."""
        return core_schema.no_info_after_validator_function(
            self._check, core_schema.no_info_before_validator_function(self._read, handler(source))
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """A number in range, text, or a table."""
        number = {"type": "number", "minimum": self.low, "maximum": self.high}
        return {"anyOf": [number, {"type": "string"}, handler(schema)], "unit": self.shown}

    def _read(self, value: object) -> object:
        if isinstance(value, Figure):
            return value
        table: dict[str, object] = dict(value) if isinstance(value, dict) else {"value": value}
        for name in ("value", "low", "high"):
            number = table.get(name)
            if isinstance(number, bool):
                raise ValueError("a number is wanted")
            if isinstance(number, str) and self.kind is not None:
                table[name] = convert(number, self.kind)
        return table

    def _check(self, figure: Figure) -> Figure:
        if not self.low <= figure.value <= self.high:
            raise PydanticCustomError(
                "figure_out_of_range",
                "{value} is out of range; allowed {low} to {high} {unit}",
                {
                    "value": f"{figure.value:g}",
                    "low": f"{self.low:g}",
                    "high": f"{self.high:g}",
                    "unit": self.shown,
                },
            )
        return figure
