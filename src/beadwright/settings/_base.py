"""What all documents of settings share: frozen, closed, and able to tell their values by key."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, ClassVar, get_args

from pydantic import BaseModel, ConfigDict
from pydantic.fields import FieldInfo


class Section(BaseModel):
    """A table of a settings document; a frozen value in which no unknown key may stand."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, validate_default=False, ser_json_inf_nan="strings"
    )

    LEAF: ClassVar[bool] = False
    """Whether it is told as one value."""

    def between(self) -> list[tuple[str, str]]:
        """Faults between values that are each in range: (key, what is wrong)."""
        return []


def suffixed(name: str, field: FieldInfo) -> str:
    """A field's key with its unit, if it is one number that has one (`Quantity`, `Within`)."""
    suffixes = [part.suffix for part in metadata_of(field) if getattr(part, "suffix", "")]
    return f"{name}_{suffixes[0]}" if suffixes else name


def metadata_of(field: FieldInfo) -> list[Any]:
    """Annotations of a field, also those inside ``... | None``."""
    return [*field.metadata, *(each for part in get_args(field.annotation) for each in get_args(part)[1:])]


def plain(value: Any) -> Any:
    """A value as JSON has it; of sections, what is not set is left out."""
    if isinstance(value, Section):
        return {
            suffixed(name, field): plain(getattr(value, name))
            for name, field in type(value).model_fields.items()
            if getattr(value, name) is not None
        }
    if isinstance(value, (list, tuple)):
        return [plain(each) for each in value]
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    return value


def leaves(section: Section, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], str, Any]]:
    """Values of a section and its sections: (path of names, dotted key with unit, plain value).

    Arrays of tables are one value. What is not set is left out.
    """
    for name, field in type(section).model_fields.items():
        value = getattr(section, name)
        if value is None:
            continue
        if isinstance(value, Section) and not value.LEAF:
            yield from leaves(value, (*path, name))
        else:
            yield (*path, name), ".".join([*path, suffixed(name, field)]), plain(value)


def nested_faults(
    section: Section, path: tuple[str | int, ...] = ()
) -> list[tuple[tuple[str | int, ...], str]]:
    """Faults between values in a section and all sections in it, each with its path."""
    found: list[tuple[tuple[str | int, ...], str]] = [
        ((*path, *key.split(".")), text) for key, text in section.between()
    ]
    for name in type(section).model_fields:
        value = getattr(section, name)
        if isinstance(value, Section):
            found += nested_faults(value, (*path, name))
        elif isinstance(value, tuple):
            for place, each in enumerate(value):
                if isinstance(each, Section):
                    found += nested_faults(each, (*path, name, place))
    return found
