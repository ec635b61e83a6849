"""``python -m beadwright.settings`` writes the JSON Schemas that ship with the package anew."""

from __future__ import annotations

from pathlib import Path

from beadwright.settings._schema import DOCUMENTS, schema_text

if __name__ == "__main__":
    for document in DOCUMENTS:
        Path(__file__).with_name(f"{document}.schema.json").write_text(
            schema_text(document), encoding="utf-8"
        )
