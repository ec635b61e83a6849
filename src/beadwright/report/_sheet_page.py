"""The sheet as one page: its modules, its style, its data, nothing from elsewhere."""

from __future__ import annotations

import base64
import html
import json
import re
from collections.abc import Iterator, Mapping
from importlib import resources
from string import Template
from typing import Any

import numpy as np

from beadwright.report._sheet_data import LAYOUT, SheetData, counted_block, packed

MODULES = (
    "contract",
    "store",
    "units",
    "palette",
    "colours",
    "canvas",
    "balloons",
    "section",
    "elevation",
    "column",
    "shaded",
    "blocks",
    "main",
)
"""Modules of the page, each after those it imports; their top-level names differ."""

CAUTION = (
    "Nothing here has been proved safe for your machine, material, room or part. Hot, moving and heavy: the"
    " machine builder's manual, your local codes and your site's safety rules come first."
)
_IMPORT = re.compile(r"^import .* from \"\./\w+\.js\";\n", flags=re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?function|const|let|class)", flags=re.MULTILINE)


def sheet_file(name: str) -> str:
    """Text of a file of the page, as the package holds it."""
    return (resources.files("beadwright.report") / "sheet" / name).read_text(encoding="utf-8")


def sheet_script() -> str:
    """All modules as one, in the order of their imports."""
    texts = (sheet_file(f"{name}.js") for name in MODULES)
    return "\n".join(_EXPORT.sub("", _IMPORT.sub("", text)).strip() for text in texts)


def sheet_page(sheet: SheetData) -> str:
    """The page: one HTML text that opens from the disk and asks nothing of anybody.

    Parameters
    ----------
    sheet : SheetData

    Returns
    -------
    str
        The same for the same data.
    """
    return "".join(sheet_parts(sheet))


def sheet_parts(sheet: SheetData) -> Iterator[str]:
    """The same page in parts, for a file: of a tall part it is large."""
    found: set[str] = set()
    rows: list[dict[str, Any]] = []
    for layer in sheet.layers:
        found.update(run.role for run in layer.moves.runs)
        rows.append({**layer.row, "counts": counted_block(layer)})
    roles = sorted(found)
    head: dict[str, Any] = {
        **sheet.head,
        "roles": roles,
        "layout": [list(row) for row in LAYOUT],
        "layers": rows,
    }
    part = None
    if sheet.edges or sheet.triangles is not None:
        head["part"], part = _part(sheet)
    top, bottom = sheet_file("page.html").split("$blocks")
    yield Template(top).substitute(
        title=html.escape(f"{head['input']['file']} \N{EN DASH} sheet"),
        style=sheet_file("sheet.css").strip(),
        caution=html.escape(CAUTION),
        data=_json(head),
    )
    between = ""
    for place, layer in enumerate(sheet.layers):
        yield between + _block(f"layer-{place}", packed(layer, roles))
        between = "\n"
    if part is not None:
        yield between + _block("part-data", part)
    yield Template(bottom).substitute(script=sheet_script())


def _block(name: str, text: str) -> str:
    return f'<script type="text/plain" id="{name}">{text}</script>'


def _json(document: Mapping[str, Any]) -> str:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(document, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _part(sheet: SheetData) -> tuple[dict[str, Any], str]:
    """Edges and triangles of the part, packed, and how many there are."""
    edges = [chain for chain in sheet.edges if len(chain)]
    arrays = [
        np.concatenate(edges).astype("<f4") if edges else np.zeros((0, 3), "<f4"),
        np.cumsum([0, *map(len, edges)])[:-1].astype("<u4"),
    ]
    told: dict[str, Any] = {"edges": {"points": len(arrays[0]), "chains": len(edges)}}
    if sheet.triangles is not None:
        shape = sheet.triangles
        arrays += [shape.points.astype("<f4"), shape.corners.astype("<u4"), shape.face.astype("<u4")]
        told["triangles"] = {"points": len(shape.points), "count": len(shape.face), "chord_mm": shape.chord}
    data = b"".join(np.ascontiguousarray(array).tobytes() for array in arrays)
    return told, base64.b64encode(data).decode("ascii")
