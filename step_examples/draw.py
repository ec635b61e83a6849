"""Draw the pictures of the readme: `python step_examples/draw.py`, after a change that shows in them."""

from __future__ import annotations

from pathlib import Path

import beadwright
from beadwright.report import BeadStroke, layer_picture

HERE = Path(__file__).resolve().parent
LAYERS = {"fixture": ("planing_fixture.step", 32), "mould": ("hatch_cover_mould.step", 101)}


def draw(name: str, part: str, index: int) -> Path:
    """One layer of an example, as planned with the defaults."""
    plan = beadwright.plan(HERE / part, layers=(index, index + 1), workers=1)
    layer = plan.layers[0]
    strokes = [BeadStroke(path=bead.path, width=bead.width, role=bead.role) for bead in layer.beads]
    moves = sum(len(bead.path.bulge) for bead in layer.beads)
    return layer_picture(
        HERE / "pictures" / f"{name}_layer.svg",
        layer.layer.region,
        strokes,
        title=f"{part}, layer {index}: {len(strokes)} beads, {moves} lines and arcs",
        caption=f"off the solid by at most {1000 * plan.bounds.total:.1f} µm",
    )


if __name__ == "__main__":
    for name, (part, index) in LAYERS.items():
        print(draw(name, part, index))
