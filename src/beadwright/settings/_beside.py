"""Faults between values, told beside those of single values: what is at fault itself is left out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from beadwright.settings._base import KeyPath, Section, nested_faults

# Leaving out what is at fault may leave a table without a key that it needs; that table then goes too, and so on up.
MOST_ROUNDS = 8


def faults_beside(
    model: type[Section], values: Mapping[str, Any], error: ValidationError
) -> list[tuple[KeyPath, str]]:
    """Faults between those values of a document that are each in range.

    Parameters
    ----------
    model : type
    values : mapping
        The document.
    error : ValidationError
        What is wrong with single values.

    Returns
    -------
    list of (path, text)
        None where too little is left to judge.
    """
    left: Any = dict(values)
    lost: set[KeyPath] = set()
    for _ in range(MOST_ROUNDS):
        for path in sorted({_standing(left, detail["loc"]) for detail in error.errors()}, key=str):
            if not path:
                return []
            left = _without(left, path)
            lost.add(path)
        try:
            made = model.model_validate(_closed_up(left))
        except ValidationError as again:
            error = again
            continue
        found = nested_faults(made, lost=frozenset(_closed_path(left, path) for path in lost))
        return [(_as_given(left, path), text) for path, text in found]
    return []


class _Gap:
    """Stands in an array where an element was, so that the others keep their places."""


_GAP = _Gap()


def _standing(values: Any, path: KeyPath) -> KeyPath:
    """The part of a path that the values have: down to the key at fault, or to the table that lacks it."""
    found: KeyPath = ()
    for name in path:
        if isinstance(values, Mapping) and name in values:
            values = values[name]
        elif isinstance(values, list) and isinstance(name, int):
            # Errors count without the gaps.
            places = [place for place, each in enumerate(values) if each is not _GAP]
            if name >= len(places):
                break
            name = places[name]
            values = values[name]
        else:
            break
        found = (*found, name)
    # An element of numbers stands for nothing alone.
    if found and isinstance(found[-1], int) and not isinstance(values, Mapping):
        found = found[:-1]
    return found


def _without(values: Any, path: KeyPath) -> Any:
    """The values without what lies at a path."""
    name, rest = path[0], path[1:]
    if isinstance(values, Mapping):
        if not rest:
            return {key: each for key, each in values.items() if key != name}
        return {key: _without(each, rest) if key == name else each for key, each in values.items()}
    if isinstance(values, list):
        return [
            each if place != name else _without(each, rest) if rest else _GAP
            for place, each in enumerate(values)
        ]
    return values


def _closed_up(values: Any) -> Any:
    """The values with their arrays closed up over the gaps."""
    if isinstance(values, Mapping):
        return {key: _closed_up(each) for key, each in values.items()}
    if isinstance(values, list):
        return [_closed_up(each) for each in values if each is not _GAP]
    return values


def _closed_path(values: Any, path: KeyPath) -> KeyPath:
    """A path with the places that arrays have when closed up; that of an element left out is -1."""
    found: KeyPath = ()
    for name in path:
        place = name
        if isinstance(name, int) and isinstance(values, list):
            place = -1 if values[name] is _GAP else sum(each is not _GAP for each in values[:name])
            values = values[name]
        else:
            values = values.get(name) if isinstance(values, Mapping) else None
        found = (*found, place)
    return found


def _as_given(values: Any, path: KeyPath) -> KeyPath:
    """A path with the places that arrays had before they were closed up."""
    found: KeyPath = ()
    for name in path:
        if isinstance(name, int) and isinstance(values, list):
            name = [place for place, each in enumerate(values) if each is not _GAP][name]
            values = values[name]
        else:
            values = values.get(name) if isinstance(values, Mapping) else None
        found = (*found, name)
    return found
