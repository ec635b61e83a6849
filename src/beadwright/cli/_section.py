"""The command `section`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Part, Quiet, app, print_json


@app.command(epilog="Example: beadwright section part.step --z 120 -o section.dxf")
def section(
    part: Part,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE", help="written as its ending says: .dxf .svg .step .json"),
    ] = None,
    z: Annotated[
        float | None,
        typer.Option("--z", metavar="MM", help="height of a horizontal plane, as in the file"),
    ] = None,
    plane: Annotated[
        str | None,
        typer.Option("--plane", metavar="X,Y,Z,NX,NY,NZ", help="a point of the plane and its normal instead"),
    ] = None,
    surfaces: Annotated[bool, typer.Option("--surfaces", help="cut open shells and loose faces too")] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """The exact section of a part by a plane, as lines, arcs, ellipses and splines."""
    with Edge():
        from beadwright.pipeline import section_at, write_section

        cut = section_at(part, z=z, plane=plane, surfaces=surfaces)
        written = None if out is None else write_section(cut, out)
        if as_json:
            print_json(cut.as_dict())
        elif not quiet:
            from beadwright.pipeline import show_section

            show_section(cut, written)
