"""JSON Schemas of the three documents, for editors; they ship beside this module."""

from __future__ import annotations

import json
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from beadwright.settings._base import Section
from beadwright.settings._machine import Machine
from beadwright.settings._material import Material
from beadwright.settings._plan import PlanSettings

DOCUMENTS: Mapping[str, type[Section]] = MappingProxyType(
    {"machine": Machine, "material": Material, "job": PlanSettings}
)
"""The models by the names of their documents."""


def schema(name: str) -> dict[str, Any]:
    """JSON Schema of a document.

    Parameters
    ----------
    name : {"machine", "material", "job"}
    """
    return {
        "$schema": GenerateJsonSchema.schema_dialect,
        **DOCUMENTS[name].model_json_schema(),
        "title": f"beadwright {name}",
    }


def schema_text(name: str) -> str:
    """JSON Schema of a document as the text of its file."""
    return json.dumps(schema(name), indent=1, ensure_ascii=False) + "\n"
