"""The command `view`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Quiet, app, option, print_json, say

Folder = Annotated[Path, typer.Argument(metavar="DIR", help="output folder of plan, or a sheet (.html)")]


@app.command(epilog="Example: beadwright view out --layer 120 -o layer.svg")
def view(
    folder: Folder,
    out: Annotated[
        Path,
        typer.Option("--out", "-o", metavar="PICTURE", help="written as its ending says: .svg .png .pdf"),
    ],
    layer: Annotated[
        str | None,
        option("--layer", "N|worst", "draw this layer: its index, or the one with the gravest finding"),
    ] = None,
    column: Annotated[bool, typer.Option("--column", help="plot what is known of each layer over z")] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Pictures of a plan without a browser: a layer, the build column, or the part (.svg).

    PNG and PDF, and the column, need matplotlib.
    """
    with Edge():
        from beadwright.pipeline import view as draw

        path = draw(folder, out, layer=layer, column=column)
        if as_json:
            print_json({"written": path.name})
        elif not quiet:
            say(f"written: {path}")
