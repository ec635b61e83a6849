"""Draw the pictures of the readme: `python step_examples/draw.py`, after a change that shows in them."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import beadwright
from beadwright.report import BeadStroke, layer_picture

HERE = Path(__file__).resolve().parent
LAYERS: dict[str, tuple[str, int, dict[str, object]]] = {
    "fixture": ("planing_fixture.step", 32, {}),
    "mould": ("hatch_cover_mould.step", 101, {}),
    "ribs": ("planing_fixture.step", 10, {"fill": {"kind": "ribs", "rib_spacing": 90.0}}),
    "lines": ("planing_fixture.step", 24, {"fill": {"kind": "lines"}}),
    "bollard": ("turned_bollard.step", 30, {"fill": {"kind": "contour"}}),
}
WINDOW = "1600,1000"


def draw(name: str, part: str, index: int, options: dict[str, object]) -> Path:
    """One layer of an example, as planned with the defaults but for what shows."""
    plan = beadwright.plan(HERE / part, layers=(index, index + 1), workers=1, **options)
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


def sheet(part: str) -> Path:
    """The sheet of a whole plan as a browser shows it."""
    picture = HERE / "pictures" / "sheet.png"
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        beadwright.plan(HERE / part, out, fill={"kind": "lines"})
        browser = [
            "chromium",
            "--headless",
            "--no-sandbox",
            "--hide-scrollbars",
            "--virtual-time-budget=8000",
        ]
        subprocess.run(
            [*browser, f"--window-size={WINDOW}", f"--screenshot={picture}", (out / "report.html").as_uri()],
            check=True,
            capture_output=True,
        )
    return picture


if __name__ == "__main__":
    for name, (part, index, options) in LAYERS.items():
        print(draw(name, part, index, options))
    print(sheet("cradle_chocks.step"))
