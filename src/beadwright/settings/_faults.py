"""Faults of settings in our words, each with its key and what is allowed."""

from __future__ import annotations

import difflib
import functools
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from pydantic_core import ErrorDetails

from beadwright.errors import SettingsError
from beadwright.settings._base import Section
from beadwright.settings._document import LIKE

# A longer value is not shown whole.
SHOWN = 60

Path = tuple[str | int, ...]


def dotted(path: Sequence[str | int]) -> str:
    """A path as a reader of TOML writes it; tables of an array are counted from 1.

    Examples
    --------
    >>> dotted(("device", 0, "on_at"))
    'device[1].on_at'
    """
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def refusal(lines: Iterable[str]) -> SettingsError:
    """One error of all faults."""
    every = list(dict.fromkeys(lines))
    if len(every) == 1:
        return SettingsError(every[0])
    return SettingsError("\n  ".join([f"{len(every)} settings are at fault:", *every]))


def fault(detail: ErrorDetails, model: type[Section]) -> tuple[Path, str]:
    """One fault: (path of the key, what is wrong and what is allowed)."""
    path = _stated(model, tuple(detail["loc"]))
    kind = detail["type"]
    if kind == "extra_forbidden":
        own = _node(model, path[:-1]).get("properties", {})
        near = difflib.get_close_matches(str(path[-1]), own, n=1, cutoff=LIKE)
        return path, "there is no such setting" + (f"; did you mean {near[0]}?" if near else "")
    if kind == "missing":
        return path, f"is missing; {allowed(model, path)}"
    if kind == "figure_out_of_range":
        return path, detail["msg"].rstrip()
    value = detail["input"]
    shown = str(value) if isinstance(value, (int, float)) else repr(value)
    if len(shown) > SHOWN:
        shown = f"{shown[:SHOWN]}..."
    if kind in {"greater_than_equal", "less_than_equal", "greater_than", "less_than"}:
        return path, f"{shown} is out of range; {allowed(model, path)}"
    if kind == "value_error":
        reason = detail.get("ctx", {}).get("error", "")
        return path, f"{shown} cannot be used, {reason}; {allowed(model, path)}"
    return path, f"{shown} cannot be used; {allowed(model, path)}"


def allowed(model: type[Section], path: Sequence[str | int]) -> str:
    """What a setting may be, in words.

    Examples
    --------
    >>> from beadwright.settings import PlanSettings
    >>> allowed(PlanSettings, ("contours",)), allowed(PlanSettings, ("bead_section",))
    ('allowed 1 to 1000, or full: all that fit', 'allowed flat or round')
    """
    stated = _node(model, path, resolved=False).get("allowed")
    return f"allowed {stated or _words(_node(model, path))}"


def sentence(model: type[Section], path: Sequence[str | int]) -> str:
    """What a setting is, as its description says; "" if it has none.

    Examples
    --------
    >>> from beadwright.settings import PlanSettings
    >>> sentence(PlanSettings, ("width",))
    'bead width, mm'
    """
    return str(_node(model, path, resolved=False).get("description", ""))


def unit_of(model: type[Section], path: Sequence[str | int]) -> str:
    """Unit of a setting that is a number; "" if it has none.

    Examples
    --------
    >>> from beadwright.settings import Material, PlanSettings
    >>> unit_of(PlanSettings, ("width",)), unit_of(Material, ("conductivity",))
    ('mm', 'W/(m K)')
    """
    return str(_node(model, path).get("unit", ""))


def fields_of(model: type[Section], path: Sequence[str | int]) -> tuple[str, ...]:
    """Names of the settings of a table; empty where a path leads to no table.

    Examples
    --------
    >>> from beadwright.settings import PlanSettings
    >>> fields_of(PlanSettings, ("fill",))[:2]
    ('kind', 'angles')
    """
    return tuple(_node(model, path).get("properties", {}))


def _stated(model: type[Section], path: Path) -> Path:
    """The part of a path down to the field that says as a whole what is allowed, else all of it."""
    for end in range(1, len(path)):
        if "allowed" in _node(model, path[:end], resolved=False):
            return path[:end]
    return path


@functools.lru_cache(maxsize=16)
def _schema(model: type[Section]) -> dict[str, Any]:
    return model.model_json_schema()


def _node(model: type[Section], path: Sequence[str | int], *, resolved: bool = True) -> Mapping[str, Any]:
    """The part of a model's JSON schema that stands for a path; empty where there is none."""
    schema = _schema(model)
    node: Mapping[str, Any] = schema
    for place, part in enumerate(path):
        node = _meant(node, schema)
        if isinstance(part, int):
            prefix = node.get("prefixItems", [])
            node = prefix[part] if part < len(prefix) else node.get("items") or {}
        else:
            node = node.get("properties", {}).get(part, {})
        if not resolved and place == len(path) - 1:
            return node
    return _meant(node, schema)


def _meant(node: Mapping[str, Any], schema: Mapping[str, Any]) -> Mapping[str, Any]:
    """A node without references; of alternatives a table before all else, then a range or a list."""
    while "$ref" in node:
        node = schema["$defs"][node["$ref"].rpartition("/")[2]]
    options = [_meant({**part}, schema) for part in node.get("anyOf", ()) if part.get("type") != "null"]
    if not options:
        return node
    unit = {"unit": node["unit"]} if "unit" in node else {}
    number = next((part for part in options if "minimum" in part or "exclusiveMinimum" in part), options[0])
    table = next((part for part in options if "properties" in part), {})
    return {**table, **number, **unit}


def _words(node: Mapping[str, Any]) -> str:
    """What a node of a schema allows."""
    if "enum" in node:
        names = [str(each) for each in node["enum"]]
        return " or ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]
    unit = f" {node['unit']}" if node.get("unit") else ""
    low, high = node.get("minimum", node.get("exclusiveMinimum")), node.get("maximum")
    if low is not None and high is not None:
        above = "above " if "exclusiveMinimum" in node else ""
        return f"{above}{low:g} to {high:g}{unit}"
    if low is not None:
        return f"{low:g} or more{unit}"
    kind = node.get("type")
    if kind == "boolean":
        return "true or false"
    if kind == "array":
        if "prefixItems" in node:
            return f"a list of {len(node['prefixItems'])} values"
        return "a list"
    if kind == "object":
        return f"a table with {', '.join(node.get('properties', {}))}"
    if kind == "string":
        if "pattern" in node:
            return f"text of the form {node['pattern']}"
        return f"text of at most {node['maxLength']} characters" if "maxLength" in node else "text"
    return "a number" + unit
