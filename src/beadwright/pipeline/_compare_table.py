"""A comparison of two plans on the terminal."""

from __future__ import annotations

import math
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from beadwright.numeric import counted
from beadwright.pipeline._compare import UNMOVED, Comparison

NAMES = {
    "layers": "layers",
    "beads": "beads",
    "moves": "moves",
    "length_mm": "length mm",
    "feed_s": "time along beads s",
    "time_s": "time s",
    "mass_kg": "mass kg",
    "area_mm2": "area of the layers mm²",
    "bound_mm": "bound mm",
}
MAX_ROWS = 12


def show_comparison(found: Comparison) -> None:
    """Print what changed, on standard error."""
    console = Console(stderr=True)
    console.print(f"A {escape(found.a)}\nB {escape(found.b)}", highlight=False, soft_wrap=True)
    if found.rest is not None:
        rest, whole = ("A", "B") if found.rest["rest"] == "a" else ("B", "A")
        console.print(f"{rest} is the rest of {whole} from layer {found.rest['layer']}", highlight=False)
    if found.same:
        console.print("nothing changed: settings, faces, layers and beads are the same", style="green")
        return
    table = Table(box=None, pad_edge=False)
    for title in ("", "A", "B", "change"):
        table.add_column(title, justify="right" if title else "left")
    for key, (one, two) in found.totals.items():
        table.add_row(NAMES[key], f"{one:.6g}", f"{two:.6g}", _change(one, two))
    console.print(table)
    for key, (before, after) in found.settings.items():
        console.print(f"setting {key}: {_told(before)} -> {_told(after)}", highlight=False, markup=False)
    for name, tops in (("A", found.only_a), ("B", found.only_b)):
        if tops:
            console.print(
                f"{counted(len(tops), 'layer')} in {name} alone, tops {tops[0]:g} to {tops[-1]:g} mm",
                highlight=False,
            )
    for face in found.faces[:MAX_ROWS]:
        name = f" {face['name']}" if face["name"] else ""
        text = f"face {face['id']}{name} ({face['kind']}) {face['change']}"
        if face["change"] == "changed":
            text += ": " + ", ".join(_face_changes(face))
        console.print(text, highlight=False, markup=False, soft_wrap=True)
    if len(found.faces) > MAX_ROWS:
        console.print(
            f"and {counted(len(found.faces) - MAX_ROWS, 'more face', 'more faces')} (--json lists them)",
            style="dim",
        )
    _layers(console, found)


def _face_changes(face: dict[str, Any]) -> list[str]:
    """What changed of a face, without what did not."""
    told = [f"moved {face['moved_mm']:.4g} mm"] if face["moved_mm"] > UNMOVED else []
    for word, key in (("area", "area_mm2"), ("bead along it", "contour_mm")):
        one, two = face[key]
        if abs(two - one) > UNMOVED * max(1.0, abs(one)):
            told.append(f"{word} {_change(one, two)}")
    return told


def _layers(console: Console, found: Comparison) -> None:
    """The layers that changed most, by how far their beads moved, then by length."""
    if not found.layers:
        return
    worst = sorted(found.layers, key=_size)
    table = Table(box=None, pad_edge=False)
    for title in ("layer", "top mm", "beads moved by mm", "length", "time along", "mass"):
        table.add_column(title, justify="right")
    for row in worst[:MAX_ROWS]:
        table.add_row(
            str(row["index"][0]),
            f"{row['z_mm']:g}",
            f"{row['moved_mm']:.4f}" if "moved_mm" in row else "",
            *(_change(*row[key]) if key in row else "" for key in ("length_mm", "feed_s", "mass_kg")),
        )
    order = ", those that changed most first" if len(found.layers) > 1 else ""
    console.print(f"{counted(len(found.layers), 'layer')} changed{order}:")
    console.print(table)


def _size(row: dict[str, Any]) -> tuple[float, float]:
    """The layers that changed most come first."""
    before, after = row.get("length_mm", (0.0, 0.0))
    return -row.get("moved_mm", 0.0), -abs(after - before)


def _change(one: float, two: float) -> str:
    """From one to the other, in percent."""
    if math.isclose(one, two, rel_tol=UNMOVED):
        return "same"
    return f"{two:.6g} new" if not one else f"{100 * (two / one - 1):+.3g} %"


def _told(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "not set" if value is None else str(value)
