"""Numbers with a unit: plain numbers in the file's own unit, or text such as ``"0.33 in"``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

Kind = Literal[
    "length", "speed", "acceleration", "rate", "temperature", "time", "angle", "mass", "density", "power"
]

INCH = 25.4
FOOT = 304.8
POUND = 0.45359237  # kg, exact: international yard and pound agreement of 1959
HOUR = 3600.0
# g/cm3 in 1 lb/ft3 times 1000, from the pound and the foot.
POUND_PER_CUBIC_FOOT = POUND / (FOOT / 1000) ** 3

_LENGTHS = {"mm": 1.0, "um": 0.001, "cm": 10.0, "m": 1000.0, "in": INCH, "inch": INCH, "ft": FOOT}
_TIMES = {"s": 1.0, "min": 60.0, "h": HOUR}
_MASSES = {"kg": 1.0, "g": 0.001, "t": 1000.0, "lb": POUND, "oz": POUND / 16}

UNIT: dict[Kind, str] = {
    "length": "mm",
    "speed": "mm/s",
    "acceleration": "mm/s2",
    "rate": "kg/h",
    "temperature": "degC",
    "time": "s",
    "angle": "degrees",
    "mass": "kg",
    "density": "kg/m3",
    "power": "kW",
}
"""The unit of a plain number, by kind."""

SUFFIX: dict[Kind, str] = {
    "length": "mm",
    "speed": "mm_s",
    "acceleration": "mm_s2",
    "rate": "kg_h",
    "temperature": "c",
    "time": "s",
    "angle": "deg",
    "mass": "kg",
    "density": "kg_m3",
    "power": "kw",
}
"""What a kind's unit adds to the key of a value."""

FACTORS: dict[Kind, dict[str, float]] = {
    "length": _LENGTHS,
    "speed": {f"{a}/{b}": x / y for a, x in _LENGTHS.items() for b, y in _TIMES.items()},
    "acceleration": {f"{a}/s2": x for a, x in _LENGTHS.items()},
    "rate": {f"{a}/{b}": x / y * HOUR for a, x in _MASSES.items() for b, y in _TIMES.items()},
    "time": {**_TIMES, "ms": 0.001},
    "angle": {"degrees": 1.0, "deg": 1.0},
    "mass": _MASSES,
    "density": {"kg/m3": 1.0, "g/cm3": 1000.0, "lb/ft3": POUND_PER_CUBIC_FOOT},
    "power": {"kW": 1.0, "W": 0.001},
}
"""What one of each unit is in the unit of a plain number; temperatures have a formula."""

_TEXT = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(\S.*?)?\s*")
# Digits that a number in a file may have: far above a double's 17, far below what int() refuses.
MAX_TEXT = 64


def units_of(kind: Kind) -> tuple[str, ...]:
    """Units that a text of this kind may have, that of a plain number first.

    Examples
    --------
    >>> units_of("temperature")
    ('degC', 'degF', 'K')
    """
    if kind == "temperature":
        return ("degC", "degF", "K")
    own = UNIT[kind]
    return (own, *(unit for unit in FACTORS[kind] if unit != own))


def convert(text: str, kind: Kind) -> float:
    """A number with or without a unit, in the unit of a plain number of its kind.

    Raises
    ------
    ValueError
        If there is no number, or the unit is not one of its kind.

    Examples
    --------
    >>> convert("20 ft", "length"), convert("100 lb/h", "rate"), convert("450 degF", "temperature")
    (6096.0, 45.359237, 232.22222222222223)
    """
    found = _TEXT.fullmatch(text) if len(text) <= MAX_TEXT else None
    if found is None:
        raise ValueError("there is no number in it")
    value, unit = float(found[1]), found[2]
    if unit is None:
        return value
    if kind == "temperature":
        formula = {"degC": value, "degF": (value - 32) / 1.8, "K": value - 273.15}
        if unit in formula:
            return formula[unit]
    elif unit in FACTORS[kind]:
        return value * FACTORS[kind][unit]
    units = units_of(kind)
    shown = ", ".join(units[:7]) + (" and so on" if len(units) > 7 else "")
    raise ValueError(f"{unit} is no unit of a {kind}; known are {shown}")


@dataclass(frozen=True, slots=True)
class Quantity:
    """Annotation of a float that may also be given as text with a unit.

    Attributes
    ----------
    kind : str
        What it measures.
    low, high : float, optional
        Least and greatest value allowed, in the unit of a plain number.
    """

    kind: Kind
    low: float | None = None
    high: float | None = None

    @property
    def unit(self) -> str:
        """That of a plain number."""
        return UNIT[self.kind]

    @property
    def suffix(self) -> str:
        """What the unit adds to a key."""
        return SUFFIX[self.kind]

    def __get_pydantic_core_schema__(self, _source: Any, _handler: GetCoreSchemaHandler) -> CoreSchema:
        """A number in range, after text was read."""
        return core_schema.no_info_before_validator_function(
            self._read, core_schema.float_schema(ge=self.low, le=self.high, allow_inf_nan=False)
        )

    def __get_pydantic_json_schema__(
        self, _schema: CoreSchema, _handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """A number in range, or text."""
        number: dict[str, Any] = {"type": "number"}
        if self.low is not None:
            number["minimum"] = self.low
        if self.high is not None:
            number["maximum"] = self.high
        return {"anyOf": [number, {"type": "string"}], "unit": self.unit}

    def _read(self, value: object) -> object:
        if isinstance(value, bool):
            raise ValueError("a number is wanted")
        return convert(value, self.kind) if isinstance(value, str) else value


@dataclass(frozen=True, slots=True)
class AlsoText:
    """Annotation of a value that a validator before it also reads from text; for its JSON schema."""

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """The value, or text."""
        return {"anyOf": [handler(schema), {"type": "string"}]}
