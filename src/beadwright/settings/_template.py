"""Settings documents to begin with: every key with what it means, what it may be, and its default."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Mapping
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from beadwright.settings._base import Section
from beadwright.settings._document import DEFAULT_MATERIAL, material_document
from beadwright.settings._faults import allowed
from beadwright.settings._machine import Machine
from beadwright.settings._material import Material
from beadwright.settings._plan import PlanSettings

WIDTH = 100

HEADS: Mapping[str, str] = {
    "machine": "Machine: what it can do. These are the defaults, of a generic machine: check each number"
    " against your machine and its builder's manual before anything moves.",
    "material": "Material: a card of numbers, each with its standing (source, common practice, from memory,"
    " measured). What is from memory must be checked against the data sheet of your grade.",
    "job": "Job: the options of beadwright plan by their names. An option of the command wins over this file.",
}
UNITS_TOLD = (
    'A number stands in the unit of its comment, or as text with its unit: "0.33 in", "20 ft",'
    ' "100 lb/h", "450 degF".'
)


def template(name: str, *, material: str = DEFAULT_MATERIAL) -> str:
    """A commented document that gives exactly the defaults.

    Parameters
    ----------
    name : {"machine", "material", "job"}
    material : str
        Name of the shipped card, for the material.
    """
    model: type[Section]
    values: Section
    if name == "material":
        model = Material
        values = Material.model_validate(dict(material_document(material).values))
    else:
        model = Machine if name == "machine" else PlanSettings
        values = model.model_validate({})
    head = [f"#:schema ./{name}.schema.json", *_comment(HEADS[name]), *_comment(UNITS_TOLD)]
    return "\n".join([*head, *_table(model, values, (), model, ())]) + "\n"


def _comment(text: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(text, WIDTH)]


def _table(
    model: type[Section],
    values: Section | None,
    header: tuple[str, ...],
    root: type[Section],
    path: tuple[str | int, ...],
) -> list[str]:
    """Lines of a table: first its own keys, then its tables; without values all of it is commented out."""
    own: list[str] = []
    tables: list[str] = []
    for name, field in model.model_fields.items():
        here = (*path, name)
        inner = _section_of(field)
        if inner is None:
            own += ["", *_about(field, root, here), _line(name, field, values)]
            continue
        many = _is_many(field)
        present = None if values is None or many else getattr(values, name)
        title = ".".join([*header, name])
        lines = [
            f"[[{title}]]" if many else f"[{title}]",
            *_table(inner, present, (*header, name), root, (*here, 0) if many else here),
        ]
        if present is None and values is not None:
            lines = [line if not line or line.startswith("#") else f"# {line}" for line in lines]
        tables += ["", "", *_comment(_told(field)), *lines]
    return own + tables


def _told(field: FieldInfo) -> str:
    return _sentence(field.description or "")


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


def _about(field: FieldInfo, root: type[Section], path: tuple[str | int, ...]) -> list[str]:
    """What a key means and may be."""
    return _comment(f"{_told(field)} {_sentence(allowed(root, path))}")


def _line(name: str, field: FieldInfo, values: Section | None) -> str:
    """A key with its value, commented out where it has none."""
    if values is None:
        value = None if field.is_required() else field.get_default(call_default_factory=True)
    else:
        value = getattr(values, name)
    if value is None:
        examples = field.examples or ()
        return f"# {name} = {toml(examples[0]) if examples else '...'}"
    return f"{name} = {toml(value)}"


def toml(value: Any) -> str:
    """A value as TOML has it; a range of layers as text.

    Examples
    --------
    >>> toml((1.0, "a")), toml((0, None)), toml(True)
    ('[1.0, "a"]', '"0:"', 'true')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, tuple) and len(value) == 2 and value[1] is None:
        return f'"{value[0]}:"'
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(toml(each) for each in value)}]"
    if isinstance(value, Section):
        kept = {
            key: each
            for key, field in type(value).model_fields.items()
            if (each := getattr(value, key)) is not None and (each != field.default or field.is_required())
        }
        return "{ " + ", ".join(f"{key} = {toml(each)}" for key, each in kept.items()) + " }"
    return repr(value)


def _section_of(field: FieldInfo) -> type[Section] | None:
    """The table or array of tables that a field holds, if it holds one."""
    return _section_in(field.annotation)


def _section_in(annotation: Any) -> type[Section] | None:
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return None if annotation.LEAF else annotation
    if get_origin(annotation) in {Union, UnionType, tuple, list, Annotated}:
        for part in get_args(annotation):
            found = _section_in(part)
            if found is not None:
                return found
    return None


def _is_many(field: FieldInfo) -> bool:
    annotations = [field.annotation, *get_args(field.annotation)]
    return any(get_origin(each) in {tuple, list} for each in annotations)
