"""What all documents of settings share: frozen, closed, and able to tell their values by key."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MethodType
from typing import Any, ClassVar, get_args

from pydantic import BaseModel, ConfigDict
from pydantic.fields import FieldInfo

Fault = tuple[str, str]
"""Key and what is wrong with it."""
KeyPath = tuple[str | int, ...]
"""Names of tables and keys, and places in arrays, from the outside in."""


class Section(BaseModel):
    """A table of a settings document; a frozen value in which no unknown key may stand."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, validate_default=False, ser_json_inf_nan="strings"
    )

    LEAF: ClassVar[bool] = False
    """Whether it is told as one value."""

    RULES: ClassVar[tuple[Callable[[Any], Iterable[Fault]], ...]] = ()
    """What must hold between values that are each in range. A rule reads few values: where one of them is at fault
    itself the rule says nothing, and the others are told all the same."""

    def between(self) -> list[Fault]:
        """Faults between values that are each in range: (key, what is wrong)."""
        return [found for rule in self.RULES for found in rule(self)]


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


class _LostError(Exception):
    """A value that is at fault itself was asked for."""


class _Known:
    """A section without some of its values: to read one of those is `_LostError`."""

    def __init__(self, section: Section, lost: frozenset[KeyPath]) -> None:
        self._section, self._lost = section, lost

    def __getattr__(self, name: str) -> Any:
        value = getattr(self._section, name)
        if isinstance(value, MethodType):
            return MethodType(value.__func__, self)
        below = frozenset(path[1:] for path in self._lost if path[0] == name)
        if not below:
            return value
        if () in below or not isinstance(value, Section):
            raise _LostError
        return _Known(value, below)


def nested_faults(
    section: Section, path: KeyPath = (), *, lost: frozenset[KeyPath] = frozenset()
) -> list[tuple[KeyPath, str]]:
    """Faults between values in a section and all sections in it, each with its path.

    Parameters
    ----------
    section : Section
    path : tuple
        Where it stands.
    lost : set of tuple
        Paths from `section` on of what is at fault itself: whatever stands there nothing is said of.
    """
    known: Any = _Known(section, lost) if lost else section
    found: list[tuple[KeyPath, str]] = []
    for rule in section.RULES or (type(section).between,):
        try:
            found += [((*path, *key.split(".")), text) for key, text in rule(known)]
        except _LostError:
            continue
    for name in type(section).model_fields:
        value = getattr(section, name)
        if isinstance(value, Section) and (name,) not in lost:
            below = frozenset(each_path[1:] for each_path in lost if each_path[0] == name)
            found += nested_faults(value, (*path, name), lost=below)
        elif isinstance(value, tuple):
            for place, each in enumerate(value):
                if isinstance(each, Section):
                    below = frozenset(each_path[2:] for each_path in lost if each_path[:2] == (name, place))
                    found += nested_faults(each, (*path, name, place), lost=below)
    return found
