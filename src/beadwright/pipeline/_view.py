"""Pictures of an output folder without a browser."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from beadwright.curves import ArcRegion
from beadwright.errors import InputError, OutputError, SettingsError
from beadwright.numeric import counted
from beadwright.report import (
    BeadStroke,
    SheetData,
    SheetLayer,
    column_plot,
    layer_plot,
    layer_svg,
    part_svg,
    read_sheet,
    run_paths,
    write_whole,
)

WORST = "worst"
_LEVELS = {"error": 2, "warning": 1, "note": 0}


def view(
    folder: str | Path, out: str | Path, *, layer: str | int | None = None, column: bool = False
) -> Path:
    """Draw a layer, the build column or the part of an output folder.

    Parameters
    ----------
    folder : str or Path
        An output folder of `plan`, or a sheet.
    out : str or Path
        Written as its ending says: ``.svg``, ``.png`` or ``.pdf``; the part as ``.svg`` only.
    layer : str or int, optional
        Index of a layer, or ``worst``: that with the gravest findings, then with the greatest bound.
    column : bool
        Draw what is known of each layer over its height.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        There is no sheet, no such layer, or matplotlib is not installed.
    OutputError
        The picture cannot be written, or its ending is none of these.
    """
    path = Path(out)
    kind = path.suffix.lower().removeprefix(".")
    if kind not in {"svg", "png", "pdf"}:
        raise OutputError(f"{path}: expected a name that ends in .svg, .png or .pdf")
    if column and layer is not None:
        raise SettingsError("--layer and --column exclude each other: draw two pictures")
    sheet = read_sheet(folder)
    name = str(sheet.head["input"]["file"])
    if column:
        rows = [one.row for one in sheet.layers]
        return write_whole(path, column_plot(rows, title=name, kind=kind))
    if layer is not None:
        return write_whole(path, _layer_bytes(pick_layer(sheet, layer), name, kind))
    if kind != "svg":
        raise OutputError(
            f"{path}: the part is drawn as .svg; with --layer or --column .png and .pdf are there too"
        )
    if sheet.triangles is None:
        raise InputError(f"{folder}: {sheet.head['part_missing'] or 'holds no picture of the part'}")
    return write_whole(path, part_svg(sheet.triangles, title=name).encode())


def pick_layer(sheet: SheetData, layer: str | int) -> SheetLayer:
    """A layer by its index, or the worst.

    Raises
    ------
    InputError
        There is none of that index.
    """
    if not sheet.layers:
        raise InputError("the sheet holds no layers")
    if layer == WORST:
        return max(
            sheet.layers, key=lambda one: (_grief(sheet, one.row["index"]), _bound(one), -one.row["index"])
        )
    for one in sheet.layers:
        if str(one.row["index"]) == str(layer):
            return one
    first, last = sheet.layers[0].row["index"], sheet.layers[-1].row["index"]
    raise InputError(f"there is no layer {layer}; the sheet holds {first} to {last}, and `worst` picks one")


def _grief(sheet: SheetData, index: int) -> int:
    """Gravest level of a finding in a layer; -1 without one."""
    own = [_LEVELS[f["level"]] for f in sheet.head["findings"] if f.get("layer") == index]
    return max(own, default=-1)


def _bound(layer: SheetLayer) -> float:
    return float(layer.row.get("bounds_mm", {}).get("total", 0.0))


def strokes(layer: SheetLayer) -> list[BeadStroke]:
    """The beads of a layer as a picture needs them."""
    found: list[BeadStroke] = []
    bead = part = -1
    runs = run_paths(layer)
    count = Counter(run.bead for run, _ in runs)
    for run, path in runs:
        part = part + 1 if run.bead == bead else 1
        bead = run.bead
        many = count[bead] > 1
        found.append(BeadStroke(path=path, width=run.width, role=run.role, part=part if many else 0))
    return found


def region_of(layer: SheetLayer) -> ArcRegion:
    """The layer's region, without the CAD's own lines and circles."""
    import numpy as np

    return ArcRegion(loops=layer.loops, supports=np.zeros((0, 4)))


def layer_words(layer: SheetLayer) -> tuple[str, str]:
    """Title and caption of a layer's picture."""
    row = layer.row
    parts: Sequence[str] = [
        f"z = {row['z0_mm']:g} to {row['z_mm']:g} mm",
        *([f"bound {row['bounds_mm']['total']:.3g} mm"] if "bounds_mm" in row else []),
        *(["rising steadily"] if "rising" in row else []),
        *(
            [f"{counted(row['beads'], 'bead')}, {row['length_mm'] / 1000:.4g} m"]
            if "length_mm" in row
            else []
        ),
    ]
    return f"layer {row['index']}", ", ".join(parts)


def _layer_bytes(layer: SheetLayer, name: str, kind: str) -> bytes:
    title, caption = layer_words(layer)
    region, beads = region_of(layer), strokes(layer)
    if kind == "svg":
        return layer_svg(region, beads, title=f"{name}, {title}", caption=caption).encode()
    return layer_plot(region, beads, title=f"{name}, {title}", caption=caption, kind=kind)
