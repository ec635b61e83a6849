"""The command `export`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Quiet, app, option, print_json, progress_bar, say

Folder = Annotated[Path, typer.Argument(metavar="DIR", help="output folder of plan, or a sheet (.html)")]
What = Annotated[
    str, typer.Argument(metavar="WHAT", help="beads, sections, moves, deposit, body, stock or summary")
]


@app.command(epilog="Example: beadwright export out beads -o beads.dxf --layers 0:10")
def export(
    folder: Folder,
    what: What,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="written as its ending says")],
    layers: Annotated[str | None, option("--layers", "A:B", "only layers A up to B - 1")] = None,
    chord: Annotated[
        float, option("--chord", "MM", "greatest distance of the body's triangles from its arcs")
    ] = 0.05,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """What other tools take from a plan.

    beads: centrelines as .dxf, .svg (one layer) or .step, true arcs. sections: boundaries of the layers, the same
    formats. moves: every move as .csv. deposit: what the beads cover, a prism a layer, as .step. body: the same as
    triangles for a machining program, .stl. stock: by face, .csv. summary: .md.
    """
    with Edge():
        from beadwright.pipeline import export as write

        with progress_bar(quiet=quiet) as progress:
            written = write(folder, what, out, layers=layers, chord=chord, progress=progress)
        if as_json:
            print_json(written.as_dict())
        elif not quiet:
            say(f"written: {written.sentence()}")
