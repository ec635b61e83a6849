"""A long program of rings, made by formula: as many layers and arcs as asked for."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from beadwright.curves import ArcPath
from beadwright.report import SheetData, SheetLayer, layer_spans, read_moves, sheet_head

WIDTH, HEIGHT, RADIUS = 8.4, 4.0, 600.0


def program_text(layers: int, moves: int) -> str:
    """Each layer two rings of `moves` arcs in all, their radii wavering so that every arc is another one."""
    parts = ["G21\nG17\nG90\n"]
    half = moves // 2
    for k in range(layers):
        z = HEIGHT * (k + 1)
        parts.append(
            f"(layer index={k} z0={z - HEIGHT} z={z} height={HEIGHT} section_z={z - 2} rule=neutral)\n"
        )
        for rank in (1, 2):
            radius = RADIUS + 40 * math.sin(0.05 * k) - WIDTH * (rank - 0.5)
            turn = np.arange(half + 1) * 2 * math.pi / half
            r = radius + 20 * np.sin(7 * turn)
            x, y = r * np.cos(turn), r * np.sin(turn)
            # an arc over each chord with the centre a radius to its left
            dx, dy = np.diff(x), np.diff(y)
            rise = np.sqrt(radius**2 - (dx * dx + dy * dy) / 4) / np.hypot(dx, dy)
            i, j = dx / 2 - dy * rise, dy / 2 + dx * rise
            parts.append(f"G0 X{x[0]:.4f} Y{y[0]:.4f}\nF6000.0\nG1 Z{z:.4f}\n")
            head = f"(bead index={2 * k + rank - 1} role=contour rank={rank} loop=0 hole=0"
            parts.append(
                f"{head} offset={WIDTH * (rank - 0.5)} width={WIDTH} height={HEIGHT} closed=1)\nM3\n"
            )
            rows = np.column_stack([x[1:], y[1:], i, j])
            parts.append(
                "".join("G3 X{:.4f} Y{:.4f} I{:.4f} J{:.4f}\n".format(*row) for row in rows.tolist())
            )
            parts.append("M5\n(end bead)\n")
        parts.append("(end layer)\n")
    return "".join(parts)


def long_sheet(layers: int, moves: int, *, text: str | None = None) -> SheetData:
    """The sheet of such a program, or of its text with changes, with the outline of its outer ring as region."""
    reader, found = read_moves([text or program_text(layers, moves)])
    rows = []
    for k, layer in enumerate(found):
        run = next(run for run in layer.runs if run.bead >= 0)
        ring = slice(run.first, run.first + moves // 2)
        none = np.full(moves // 2, -1, np.int32)
        outline = ArcPath(
            points=np.column_stack([layer.x[ring], layer.y[ring]]) * (1 + WIDTH / 2 / RADIUS),
            bulge=layer.bulge[ring],
            face=none,
            support=none,
        )
        z = HEIGHT * (k + 1)
        row: dict[str, Any] = {"index": k, "z0_mm": z - HEIGHT, "z_mm": z, "height_mm": HEIGHT, "beads": 2}
        row |= {
            "length_mm": 2 * math.pi * RADIUS * 2,
            "time_s": 80.0,
            "interlayer_c": [130.0, 140.0 + k % 20],
        }
        rows.append(SheetLayer(row=row, moves=layer, loops=(outline,)))
        front, side = layer_spans(rows[-1])
        row |= {"front": front, "side": side}
    document = {
        "version": "1",
        "input": {"file": "rings.step", "sha256": "0" * 64},
        "totals": {"layers": layers, "beads": 2 * layers, "length_mm": 1.0},
        "findings": [
            {
                "code": "thin",
                "level": "warning",
                "layer": layers // 3,
                "at_mm": [RADIUS, 0.0, 4.0],
                "text": "planted",
            }
        ],
    }
    head = sheet_head(
        document, rows, kind="plan", settings=[], program={"sha256": "0" * 64, "moves": reader.moves}
    )
    return SheetData(head=head, layers=tuple(rows))
