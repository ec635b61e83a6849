"""All settings as rows of a table: value, unit, what is allowed, where it came from and how far it can be trusted."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from beadwright.settings._base import Section, leaves
from beadwright.settings._faults import allowed, dotted, fields_of, sentence, unit_of
from beadwright.settings._machine import Machine
from beadwright.settings._material import Material
from beadwright.settings._plan import PlanSettings, key_of
from beadwright.settings._quantity import SUFFIX, UNIT
from beadwright.settings._resolve import Resolved

_UNITS = {suffix: UNIT[kind] for kind, suffix in SUFFIX.items()}
_CARDS: dict[str, type[Section]] = {"machine": Machine, "material": Material}


# Numbers that someone chooses, or that nothing measures: where the part stands, how exactly it is followed, money.
_CHOSEN = frozenset(
    {
        "tolerance",
        "decimals",
        "scale",
        "rotate",
        "at",
        "copies",
        "gap",
        "contraction",
        "layers",
        "rates",
        "strict",
    }
    | {"work_offset", "controller", "axis_scale", "decks_top", "decks_base", "base_beads", "base_layers"}
)
# What a machine card holds only because someone measured it.
_MEASURED = frozenset({"calibration", "lag", "bed_map"})


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
        How far a number can be trusted and, of a figure, where it stands; "" for choices, and for what was given
        without saying so.
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
        value, standing, source = told["value"], standing_of(told["value"]), ""
        if standing:
            value, source = value["value"], value["source"]
        name = path[-1]
        suffix = key.rpartition(f"{name}_")[2] if key.split(".")[-1] != name else ""
        rows.append(
            _row(
                key,
                value,
                model,
                path,
                words,
                unit=_UNITS.get(suffix, ""),
                origin=str(told["from"]),
                standing=standing,
                source=source,
            )
        )
    return tuple(rows)


def value_text(value: Any) -> str:
    """A setting's value as a program tells it; of a figure its number, of tables JSON.

    Examples
    --------
    >>> value_text([0.0, 90.0]), value_text({"value": 1.05, "standing": "measured", "source": ""}), value_text(None)
    ('0.0,90.0', '1.05', 'None')
    """
    if isinstance(value, dict) and "standing" in value:
        return str(value["value"])
    if isinstance(value, dict) or (isinstance(value, list) and any(isinstance(v, dict) for v in value)):
        return json.dumps(value)
    return ",".join(map(str, value)) if isinstance(value, list) else str(value)


def standing_of(value: Any) -> str:
    """How far a figure can be trusted; "" for all that is no figure."""
    return str(value["standing"]) if isinstance(value, dict) and "standing" in value else ""


def told_row(key: str, text: str, *, origin: str = "program", standing: str = "") -> SettingRow:
    """A setting that a program tells, as a row; unit and range are this version's, where it knows such a key.

    Parameters
    ----------
    key : str
        As in plan.json.
    text : str
        Its value, as `value_text` has it.
    origin : str
        Where the program says it came from.
    standing : str

    Examples
    --------
    >>> row = told_row("width_mm", "10.0", origin="option")
    >>> row.label, row.value, row.unit, row.allowed
    ('width', 10.0, 'mm', '0.5 to 100 mm')
    >>> told_row("of another program", "8").label
    'of another program'
    """
    found, value = _known(key), _value(text)
    if found is not None:
        model, path, words, unit = found
        return _row(key, value, model, path, words, unit=unit, origin=origin, standing=standing)
    label = key.replace("_", " ")
    return SettingRow(
        key=key, label=label, value=value, unit="", origin=origin, allowed="", text="", standing=standing
    )


def _row(
    key: str,
    value: Any,
    model: type[Section],
    path: Sequence[str],
    words: Sequence[str],
    *,
    unit: str,
    origin: str,
    standing: str = "",
    source: str = "",
) -> SettingRow:
    """A row of a setting that this version knows: its own unit, unless the key tells another, and range."""
    return SettingRow(
        key=key,
        label=" ".join(words).replace("_", " "),
        value=value,
        unit=unit or unit_of(model, path),
        origin=origin,
        allowed=allowed(model, path).removeprefix("allowed "),
        text=sentence(model, path),
        standing=standing or _standing(path, value, origin),
        source=source,
    )


def _standing(path: Sequence[str], value: Any, origin: str) -> str:
    """How far a number can be trusted whose document does not say it; "" where that has no answer."""
    if origin != "default":
        return "measured" if _MEASURED.intersection(path) and value else ""
    numbers = value if isinstance(value, list) else [value]
    plain = bool(numbers) and all(isinstance(v, int | float) and not isinstance(v, bool) for v in numbers)
    return "common practice" if plain and not _CHOSEN.intersection(path) else ""


def _value(text: str) -> Any:
    """A value that `value_text` wrote, as far as text tells it."""
    words = {"": "", "None": None, "True": True, "False": False}
    if text in words:
        return words[text]
    for form in (text, f"[{text}]"):
        try:
            return json.loads(form)
        except ValueError:
            pass
    return text


def _known(key: str) -> tuple[type[Section], tuple[str, ...], tuple[str, ...], str] | None:
    """Model, path in it, words and unit of a key in files; None if there is no such setting."""
    parts = key.split(".")
    model = _CARDS.get(parts[0], PlanSettings)
    words = [parts[0]] if parts[0] in _CARDS else []
    path: list[str] = []
    unit = ""
    for part in parts[len(words) :]:
        names = fields_of(model, path)
        if part not in names:
            fitting = [(name, part.removeprefix(f"{name}_")) for name in names if part.startswith(f"{name}_")]
            part, unit = next(((name, rest) for name, rest in fitting if rest in _UNITS), ("", ""))
            if not part:
                return None
        path.append(part)
    return model, tuple(path), (*words, *path), _UNITS.get(unit, "")


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
