"""All settings as rows of a table: value, unit, what is allowed, where it came from and how far it can be trusted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from beadwright.settings._base import Section, leaves
from beadwright.settings._faults import allowed, dotted, sentence, unit_of
from beadwright.settings._plan import PlanSettings, key_of
from beadwright.settings._quantity import SUFFIX, UNIT
from beadwright.settings._resolve import Resolved

_UNITS = {suffix: UNIT[kind] for kind, suffix in SUFFIX.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingRow:
    """One setting as a reader of a table wants it.

    Attributes
    ----------
    key : str
        As in plan.json.
    label : str
        In words.
    value : object
        Plain; of a figure its number.
    unit : str
        "" if it has none.
    origin : str
        ``default``, ``option``, or the document that it stands in.
    allowed : str
        Range or words.
    text : str
        What it is, a sentence.
    standing, source : str
        How far a figure can be trusted and where it stands; "" for all that is no figure.
    """

    key: str
    label: str
    value: Any
    unit: str
    origin: str
    allowed: str
    text: str
    standing: str = ""
    source: str = ""

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it, without what is not known."""
        pairs = {
            "key": self.key,
            "label": self.label,
            "value": self.value,
            "unit": self.unit,
            "from": self.origin,
            "allowed": self.allowed,
            "text": self.text,
            "standing": self.standing,
            "source": self.source,
        }
        return {name: value for name, value in pairs.items() if value != "" or name == "value"}


def setting_rows(resolved: Resolved) -> tuple[SettingRow, ...]:
    """Rows of all settings that plan.json tells, in its order.

    Examples
    --------
    >>> from beadwright.settings import resolve
    >>> row = next(row for row in setting_rows(resolve({"width": 10})) if row.key == "width_mm")
    >>> row.value, row.unit, row.origin, row.allowed
    (10.0, 'mm', 'option', '0.5 to 100 mm')
    """
    places = {key: (model, path, words) for model, path, key, words in _places(resolved)}
    rows = []
    for key, told in resolved.as_dict().items():
        model, path, words = places[key]
        value, standing, source = told["value"], "", ""
        if isinstance(value, dict) and "standing" in value:
            value, standing, source = value["value"], value["standing"], value["source"]
        name = path[-1]
        suffix = key.rpartition(f"{name}_")[2] if key.split(".")[-1] != name else ""
        rows.append(
            SettingRow(
                key=key,
                label=" ".join(words).replace("_", " "),
                value=value,
                unit=_UNITS.get(suffix, "") or unit_of(model, path),
                origin=str(told["from"]),
                allowed=allowed(model, path).removeprefix("allowed "),
                text=sentence(model, path),
                standing=standing,
                source=source,
            )
        )
    return tuple(rows)


def _places(resolved: Resolved) -> Iterator[tuple[type[Section], tuple[str, ...], str, tuple[str, ...]]]:
    """Model, path in it, key in files and words of every setting."""
    for name in PlanSettings.model_fields:
        value = getattr(resolved.settings, name)
        if isinstance(value, Section) and not value.LEAF:
            for path, key, _ in leaves(value, (name,)):
                yield PlanSettings, path, key, path
        else:
            yield PlanSettings, (name,), key_of(name), (name,)
    for prefix, card in (("machine", resolved.machine), ("material", resolved.material)):
        for path, key, _ in leaves(card):
            yield type(card), path, dotted((prefix, key)), (prefix, *path)
