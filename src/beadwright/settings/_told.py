"""Back from what an earlier plan.json tells of its settings to settings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args, get_origin

from beadwright.errors import SettingsError
from beadwright.settings._base import Section, suffixed
from beadwright.settings._document import Document
from beadwright.settings._machine import Machine
from beadwright.settings._material import Material
from beadwright.settings._plan import PlanSettings
from beadwright.settings._resolve import Resolved, resolve

Told = Mapping[str, Mapping[str, Any]]


def resolve_told(
    told: Told,
    options: Mapping[str, object],
    *,
    without: frozenset[str] = frozenset(),
    files: Mapping[str, str] | None = None,
) -> Resolved:
    """Settings as an earlier plan had them.

    Parameters
    ----------
    told : mapping
        ``settings`` of its plan.json: value and source by key with unit. Defaults are those of today.
    options : mapping of str to object
        What is asked for now; it wins.
    without : frozenset of str
        Settings of the job that are not taken over.
    files : mapping of str to str, optional
        Where files lie that the job names; what is told holds their names alone.

    Raises
    ------
    SettingsError
        What is told is no longer in range, or is no settings at all.
    """
    try:
        values = {key: row["value"] for key, row in told.items() if row["from"] != "default"}
    except (TypeError, KeyError, AttributeError) as error:
        raise SettingsError("the plan.json does not tell its settings; plan the part again") from error
    split = {
        prefix: {key.removeprefix(prefix): v for key, v in values.items() if key.startswith(prefix)}
        for prefix in ("machine.", "material.")
    }
    own = _restored(PlanSettings, values)
    for name in without:
        own.pop(name, None)
    own |= files or {}

    def document(name: str, model: type[Section]) -> Document | None:
        rows = split[f"{name}."]
        return Document(name="plan.json", told=name, values=_restored(model, rows)) if rows else None

    return resolve(
        options,
        job=Document(name="plan.json", told="job", values=own),
        machine=document("machine", Machine),
        material=document("material", Material),
    )


def _restored(model: type[Section], flat: Mapping[str, Any]) -> dict[str, Any]:
    """Values by field name, nested, from values by dotted key with unit: the inverse of `leaves`."""
    values: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        inner = _section(field.annotation)
        if inner is not None and not inner.LEAF and get_origin(field.annotation) is not tuple:
            rows = {k.removeprefix(f"{name}."): v for k, v in flat.items() if k.startswith(f"{name}.")}
            if rows:
                values[name] = _restored(inner, rows)
        elif (key := suffixed(name, field)) in flat:
            values[name] = _value(inner, flat[key])
    return values


def _value(inner: type[Section] | None, value: Any) -> Any:
    """A value that `plain` made, with the names of its fields again."""
    if inner is None:
        return value
    if isinstance(value, list):
        return [_value(inner, each) for each in value]
    if not isinstance(value, Mapping):
        return value
    names = {suffixed(name, field): (name, field) for name, field in inner.model_fields.items()}
    return {
        names[key][0]: _value(_section(names[key][1].annotation), each)
        for key, each in value.items()
        if key in names
    }


def _section(annotation: Any) -> type[Section] | None:
    """The section that an annotation holds, also inside ``... | None`` and tuples."""
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation
    return next((found for part in get_args(annotation) if (found := _section(part))), None)
