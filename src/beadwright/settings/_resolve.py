"""From what was given to settings in range, or one error that lists every fault."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from beadwright.errors import SettingsError
from beadwright.settings._plan import OF_THE_RUN, UNITS, PlanSettings, key_of, plain

# Least likeness of a misspelt name to the one that is proposed instead.
LIKE = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolved:
    """Settings, and where each came from.

    Attributes
    ----------
    settings : PlanSettings
    source : mapping of str to str
        By setting: ``option`` where it was given, else ``default``.
    """

    settings: PlanSettings
    source: Mapping[str, str]

    def as_dict(self) -> dict[str, dict[str, Any]]:
        """What the plan's JSON says of its settings: value and source by key with unit.

        Without what does not change the result (workers, overwrite). Spacing and bore are those really used.
        """
        told: dict[str, dict[str, Any]] = {}
        for name in PlanSettings.model_fields:
            value, source = getattr(self.settings, name), self.source[name]
            if name in OF_THE_RUN or (name == "wall" and value is None):
                continue
            if name == "spacing":
                value = self.settings.bead_spacing()
            if name == "bore":
                value = self.settings.nozzle_bore()
            if name == "layers":
                first, end = value
                value = f"{first}:{'' if end is None else end}"
            told[key_of(name)] = {"value": plain(value), "from": source}
        return told


def resolve(options: Mapping[str, object], *, source: str = "option") -> Resolved:
    """Check options against their ranges and against each other.

    Parameters
    ----------
    options : mapping of str to object
        By setting name; text is read as numbers where numbers are wanted. None stands for not given.
    source : str
        Where they came from.

    Returns
    -------
    Resolved

    Raises
    ------
    SettingsError
        At least one is at fault; the message lists all of them, each with the range allowed.

    Examples
    --------
    >>> resolve({"width": "10", "at": "100,-50"}).settings.at
    (100.0, -50.0)
    >>> resolve({"width": 0, "hieght": 3})
    Traceback (most recent call last):
    ...
    beadwright.errors.SettingsError: 2 settings are at fault:
      width: 0 is out of range; allowed 0.5 to 100 mm
      hieght: there is no such setting; did you mean height?
    """
    given = {name: value for name, value in options.items() if value is not None}
    try:
        settings = PlanSettings.model_validate(given)
    except ValidationError as error:
        raise _refusal([_fault(detail) for detail in error.errors()]) from error
    faults = settings.between()
    if faults:
        raise _refusal(faults)
    names = {name: source if name in given else "default" for name in PlanSettings.model_fields}
    return Resolved(settings=settings, source=MappingProxyType(names))


def _refusal(faults: list[tuple[str, str]]) -> SettingsError:
    first = dict(reversed(faults))  # one fault a key: the first
    lines = [f"{key}: {first[key]}" for key in dict.fromkeys(key for key, _ in faults)]
    if len(lines) == 1:
        return SettingsError(lines[0])
    return SettingsError("\n  ".join([f"{len(lines)} settings are at fault:", *lines]))


def _fault(detail: ErrorDetails) -> tuple[str, str]:
    """One fault in our words: (key, what is wrong and what is allowed)."""
    key = str(detail["loc"][0])
    if detail["type"] == "extra_forbidden":
        near = difflib.get_close_matches(key, PlanSettings.model_fields, n=1, cutoff=LIKE)
        return key, "there is no such setting" + (f"; did you mean {near[0]}?" if near else "")
    value = detail["input"]
    shown = str(value) if isinstance(value, (int, float)) else repr(value)
    if detail["type"] in {"greater_than_equal", "less_than_equal"}:
        return key, f"{shown} is out of range; {allowed(key)}"
    if detail["type"] == "value_error":
        reason = detail.get("ctx", {}).get("error", "")
        return key, f"{shown} cannot be used, {reason}; {allowed(key)}"
    return key, f"{shown} cannot be used; {allowed(key)}"


def allowed(name: str) -> str:
    """What a setting may be, in words.

    Examples
    --------
    >>> allowed("contours"), allowed("bead_section")
    ('allowed 1 to 1000', 'allowed flat or round')
    """
    unit = {"mm": " mm", "mm_s": " mm/s", "deg": " degrees"}.get(UNITS.get(name, ""), "")
    texts = {
        "rotate": "allowed three angles RX,RY,RZ of -360 to 360 degrees",
        "at": "allowed X,Y of -100000 to 100000 mm",
        "layers": "allowed A:B with whole numbers from 0, for example 10:20",
        "wall": "allowed centre, left or right",
        "bead_section": "allowed flat or round",
        "rule": "allowed neutral, outer or inner",
        "medial": "allowed true or false",
        "overwrite": "allowed true or false",
        "strict": "allowed true or false",
    }
    if name in texts:
        return texts[name]
    low = high = None
    for part in PlanSettings.model_fields[name].metadata:
        low, high = getattr(part, "ge", low), getattr(part, "le", high)
    if low is None:  # the bounds of an optional number stand in its annotation
        low, high = _inner_range(name)
    return f"allowed {low:g} to {high:g}{unit}"


def _inner_range(name: str) -> tuple[float, float]:
    """Range of a setting whose type is `number | None`."""
    schema = PlanSettings.model_json_schema()["properties"][name]
    numbers = next(part for part in schema.get("anyOf", [schema]) if "minimum" in part)
    return float(numbers["minimum"]), float(numbers["maximum"])
