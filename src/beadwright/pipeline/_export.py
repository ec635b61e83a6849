"""What other tools take from an output folder: beads, sections, moves, deposits, the printed body, tables."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args

import numpy as np

from beadwright.curves import ArcPath, ArcRegion, bounding_box, region_area
from beadwright.errors import InputError, OutputError, SettingsError
from beadwright.numeric import counted
from beadwright.pipeline._range import layer_range
from beadwright.pipeline._view import layer_words, region_of, strokes
from beadwright.report import (
    Flat,
    SheetData,
    SheetLayer,
    body_stl,
    layer_svg,
    layers_dxf,
    moves_csv,
    read_sheet,
    run_paths,
    stock_csv,
    summary_markdown,
    write_whole,
)

What = Literal["beads", "sections", "moves", "deposit", "body", "stock", "summary"]
WHATS: tuple[str, ...] = get_args(What)
ENDINGS = {
    "beads": ("dxf", "svg", "step"),
    "sections": ("dxf", "svg", "step"),
    "moves": ("csv",),
    "deposit": ("step",),
    "body": ("stl",),
    "stock": ("csv",),
    "summary": ("md",),
}
# Ends of a bead nearer than this meet: above the rounding of any program, mm.
MEETS = 1e-3

KILO = 1000
"""Bytes of a kB."""

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Export:
    """A file that was written.

    Attributes
    ----------
    path : Path
    what : str
    layers : int
        How many layers it is made from.
    items : int
        Paths, rows, solids or triangles in it: `noun` says which.
    noun : str
        Of one of them.
    bytes : int
        Of the file.
    size_mm : tuple of float or None
        Of a deposit or body, along X, Y and Z.
    volume_mm3 : float or None
        Of a deposit or body, as the beads' outlines have it.
    level : int
        Layers that follow a measured platform and are written level, at their nominal heights.
    """

    path: Path
    what: str
    layers: int
    items: int
    noun: str
    bytes: int
    size_mm: tuple[float, float, float] | None = None
    volume_mm3: float | None = None
    level: int = 0

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        told = {
            "written": self.path.name,
            "what": self.what,
            "layers": self.layers,
            "items": self.items,
            "of": self.noun,
            "bytes": self.bytes,
        }
        if self.size_mm is not None:
            told |= {"size_mm": list(self.size_mm), "volume_mm3": self.volume_mm3}
        return {**told, **({"layers_written_level": self.level} if self.level else {})}

    def sentence(self) -> str:
        """What was written, in words."""
        parts = [counted(self.layers, "layer"), counted(self.items, self.noun)]
        if self.size_mm is not None and self.volume_mm3 is not None:
            x, y, z = self.size_mm
            parts.append(f"{x:.1f} x {y:.1f} x {z:.1f} mm, {self.volume_mm3 / 1e6:.4g} dm3")
        parts.append(_size_text(self.bytes))
        if self.level:
            parts.append(f"{self.level} follow the platform's map and are written level")
        return f"{self.path} ({', '.join(parts)})"


def _size_text(size: int) -> str:
    """Bytes for people."""
    if size < KILO:
        return f"{size} bytes"
    return f"{size / KILO:.0f} kB" if size < KILO**2 else f"{size / KILO**2:.1f} MB"


def export(
    folder: str | Path,
    what: str,
    out: str | Path,
    *,
    layers: str | None = None,
    chord: float = 0.05,
    progress: Progress | None = None,
) -> Export:
    """Write a part of a plan for another tool.

    Parameters
    ----------
    folder : str or Path
        An output folder of `plan`, or a sheet.
    what : {"beads", "sections", "moves", "deposit", "body", "stock", "summary"}
        Beads are centrelines; sections the boundaries of the layers' regions, stock included, as arcs within the
        plan's bound; the deposit what the beads cover, layer by layer; the body the same as triangles.
    out : str or Path
        Its ending says the format; `ENDINGS` lists those of each.
    layers : str, optional
        ``A:B``, layers A up to B - 1; all by default.
    chord : float
        Of the body's triangles, mm.
    progress : callable, optional
        Called as ``progress(stage, done, total)``.

    Raises
    ------
    InputError
        There is no sheet, no such layers, or nothing of the kind in it.
    OutputError
        The file cannot be written, or its ending fits nothing.
    SettingsError
        `what`, `layers` or `chord` is not understood.
    """
    path = Path(out)
    if what not in ENDINGS:
        raise SettingsError(f"export: expected one of {', '.join(WHATS)}, got {what!r}")
    kind = path.suffix.lower().removeprefix(".")
    if kind not in ENDINGS[what]:
        names = " or ".join(f".{ending}" for ending in ENDINGS[what])
        raise OutputError(f"{path}: `{what}` can be written as {names} only")
    if not (np.isfinite(chord) and chord > 0):
        raise SettingsError(f"--chord: expected a length above 0 mm, got {chord:g}")
    sheet = read_sheet(folder)
    chosen = chosen_layers(sheet, layers)
    tell = progress or _silent
    slabs = list(_slabs(chosen, tell)) if what in {"deposit", "body"} else []
    data, items, noun = _data(sheet, chosen, what, kind, chord, slabs)
    mapped = sum("map" in layer.row for layer in chosen) if what in {"beads", "deposit", "body"} else 0
    size, volume = _extent(slabs)
    return Export(
        path=write_whole(path, data),
        what=what,
        layers=len(chosen),
        items=items,
        noun=noun,
        bytes=len(data),
        size_mm=size,
        volume_mm3=volume,
        level=mapped,
    )


Slab = tuple[float, float, ArcRegion]


def _extent(slabs: Sequence[Slab]) -> tuple[tuple[float, float, float] | None, float | None]:
    """Size along X, Y and Z, mm, and volume, mm3, of what slabs hold; None without any."""
    laid = [slab for slab in slabs if slab[2].loops]
    if not laid:
        return None, None
    boxes = np.array([bounding_box(loop) for _, _, region in laid for loop in region.loops])
    across = boxes[:, 1].max(axis=0) - boxes[:, 0].min(axis=0)
    rise = max(z for _, z, _ in laid) - min(z0 for z0, _, _ in laid)
    return (float(across[0]), float(across[1]), rise), math.fsum(
        (z - z0) * region_area(region) for z0, z, region in laid
    )


def _silent(_stage: str, _done: int, _total: int) -> None:
    """Nobody wants to know how far it is."""


def chosen_layers(sheet: SheetData, layers: str | None) -> tuple[SheetLayer, ...]:
    """Layers ``A:B`` of a sheet.

    Raises
    ------
    SettingsError
        It is not of that form.
    InputError
        There are none.
    """
    if layers is None:
        return tuple(sheet.layers)
    low, high = layer_range(layers)
    found = tuple(
        x for x in sheet.layers if low <= x.row["index"] and (high is None or x.row["index"] < high)
    )
    if not found:
        raise InputError(f"--layers {layers}: the sheet holds no such layer")
    return found


def _data(
    sheet: SheetData,
    chosen: Sequence[SheetLayer],
    what: str,
    kind: str,
    chord: float,
    slabs: Sequence[Slab],
) -> tuple[bytes, int, str]:
    """A file's bytes, how many of a thing it holds, and what one of them is called."""
    name = str(sheet.head["input"]["file"])
    match what:
        case "moves":
            return moves_csv(chosen).encode(), sum(len(layer.moves.x) for layer in chosen), "move"
        case "stock":
            faces = sheet.head["faces"]
            if not any("stock_mm" in face for face in faces):
                raise InputError("the plan holds no stock: plan with stock in the job file")
            return stock_csv(faces).encode(), len(faces), "face"
        case "summary":
            return summary_markdown(sheet).encode(), len(sheet.head["findings"]), "finding"
        case "body":
            return *body_stl(slabs, chord=chord, name=name), "triangle"
        case "deposit":
            from beadwright.kernel import prisms_step

            return prisms_step(slabs, f"{name} deposit"), len(slabs), "solid layer"
        case _:
            return *_paths(chosen, what, kind, name), "bead" if what == "beads" else "contour"


def _paths(chosen: Sequence[SheetLayer], what: str, kind: str, name: str) -> tuple[bytes, int]:
    """Beads or sections."""
    beads = what == "beads"
    if kind == "svg":
        if len(chosen) != 1:
            raise SettingsError(
                f"--layers: one .svg shows one layer; {len(chosen)} were chosen, A:A+1 chooses one"
            )
        (layer,) = chosen
        title, caption = layer_words(layer)
        drawn = strokes(layer) if beads else []
        text = layer_svg(region_of(layer), drawn, title=f"{name}, {title}", caption=caption)
        return text.encode(), len(drawn) if beads else len(layer.loops)
    if kind == "step":
        from beadwright.kernel import wires_step

        levels = [
            (float(layer.row["z_mm"]), [p for _, p in closed_paths(layer)] if beads else list(layer.loops))
            for layer in chosen
        ]
        return wires_step(levels, f"{name} {what}"), sum(len(paths) for _, paths in levels)
    flats = [flat for layer in chosen for flat in (_bead_flats(layer) if beads else _section_flats(layer))]
    return layers_dxf(flats), len(flats)


def _bead_flats(layer: SheetLayer) -> list[Flat]:
    z = float(layer.row["z_mm"])
    return [
        Flat(path=path, z=z, layer=run.role, width=run.width if np.isfinite(run.width) else 0.0)
        for run, path in closed_paths(layer)
    ]


def _section_flats(layer: SheetLayer) -> list[Flat]:
    z = float(layer.row["z_mm"])
    return [Flat(path=loop, z=z, layer="section") for loop in layer.loops]


def closed_paths(layer: SheetLayer) -> list[tuple[Any, ArcPath]]:
    """Beads with their runs; those that end where they begin are closed."""
    found = []
    for run, path in run_paths(layer):
        gap = float(np.hypot(*(path.points[-1] - path.points[0])))
        if len(path.bulge) > 1 and gap < MEETS:
            path = ArcPath(points=path.points[:-1], bulge=path.bulge, face=path.face, support=path.support)
        found.append((run, path))
    return found


def _slabs(chosen: Sequence[SheetLayer], tell: Progress) -> Iterator[Slab]:
    """What the beads of each layer cover, from its lower to its upper level."""
    from beadwright.arcs import swept

    for done, layer in enumerate(chosen):
        tell("layers", done, len(chosen))
        strips = [(path, run.width) for run, path in closed_paths(layer) if run.width > 0]
        yield float(layer.row["z0_mm"]), float(layer.row["z_mm"]), swept(strips).region
    tell("layers", len(chosen), len(chosen))
