"""Files to begin with give exactly the defaults; published schemas are those of the models."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

import beadwright.settings
from beadwright.settings import (
    DOCUMENTS,
    Machine,
    Material,
    PlanSettings,
    Section,
    material_names,
    parse_document,
    resolve,
    schema_text,
    template,
)

SHIPPED = Path(beadwright.settings.__file__).parent


def keys_of(model: type[Section]) -> set[str]:
    return set(model.model_fields)


def test_files_to_begin_with_give_exactly_the_defaults() -> None:
    documents = {name: parse_document(template(name), name=f"{name}.toml", told=name) for name in DOCUMENTS}

    found, plain = resolve({}, **documents), resolve({})

    assert (found.settings, found.machine, found.material) == (plain.settings, plain.machine, plain.material)


@pytest.mark.parametrize("name", material_names())
def test_a_card_written_out_is_the_same_card(name: str) -> None:
    document = parse_document(template("material", material=name), name="m.toml", told="material")

    assert resolve({}, material=document).material == resolve({}, material=name).material


@pytest.mark.parametrize(
    ("name", "model"), [("machine", Machine), ("material", Material), ("job", PlanSettings)]
)
def test_every_key_stands_in_the_file_to_begin_with(name: str, model: type[Section]) -> None:
    text = template(name)

    for key in keys_of(model):
        assert any(
            line.removeprefix("# ").startswith((f"{key} = ", f"[{key}]", f"[[{key}]]"))
            for line in text.split("\n")
        ), key
    assert max(map(len, text.split("\n"))) < 400


def test_commented_tables_can_be_taken_into_use() -> None:
    # A user takes the comment sign off the lines of a table that has defaults only.
    lines = template("machine").split("\n")
    first = lines.index("# [tamper]")
    block = [line.removeprefix("# ") for line in lines[first : first + 20]]
    wanted = [line for line in block if line == "[tamper]" or " = " in line]

    found = resolve({}, machine=parse_document("\n".join(wanted), name="m.toml", told="machine")).machine

    assert found.tamper is not None
    assert found.tamper.size == (80.0, 80.0)


@pytest.mark.parametrize("name", list(DOCUMENTS))
def test_published_schemas_are_those_of_the_models(name: str) -> None:
    shipped = (SHIPPED / f"{name}.schema.json").read_text("utf-8")

    assert shipped == schema_text(name), "python -m beadwright.settings writes them anew"


@pytest.mark.parametrize("name", list(DOCUMENTS))
def test_schemas_take_what_the_models_take(name: str) -> None:
    check = jsonschema.Draft202012Validator(json.loads(schema_text(name)))
    jsonschema.Draft202012Validator.check_schema(check.schema)

    good = tomllib.loads(template(name))

    assert list(check.iter_errors(good)) == []
    assert list(check.iter_errors({**good, "unheard": 1})) != []
    if name == "machine":
        assert list(check.iter_errors({"speeds": {"least": 0}})) != []
        assert list(check.iter_errors({"speeds": {"least": "1 in/s"}})) == []
