"""The command `meshway`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Part, Quiet, app, option, print_json, progress_bar, say

Text = str | None


@app.command(epilog="Example: beadwright meshway part.step --chord 1,0.1,0.01 -o ways.svg")
def meshway(
    part: Part,
    chord: Annotated[
        Text, option("--chord", "MM,MM,...", "chord tolerances of the meshes [default: 1,0.1,0.01]")
    ] = None,
    mesh: Annotated[
        list[Path] | None,
        typer.Option(
            "--mesh", metavar="FILE", help="a mesh of the part as well: .stl .obj .ply .3mf; may repeat"
        ),
    ] = None,
    layers: Annotated[int, option("--layers", "N", "how many layers to look at, evenly spread")] = 20,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FILE", help="error against moves: .svg .png .pdf, or all as .json"
        ),
    ] = None,
    tolerance: Annotated[Text, option("--tolerance", "MM", "of the exact way [default: 0.010]")] = None,
    width: Annotated[Text, option("--width", "MM", "bead width [default: 8.4]")] = None,
    height: Annotated[Text, option("--height", "MM", "bead and layer height [default: 4]")] = None,
    contours: Annotated[Text, option("--contours", "N", "contour beads of each loop [default: 2]")] = None,
    feed: Annotated[Text, option("--feed", "MM/S", "speed along beads [default: 100]")] = None,
    scale: Annotated[Text, option("--scale", "S", "factor applied to the part [default: 1]")] = None,
    rotate: Annotated[Text, option("--rotate", "RX,RY,RZ", "degrees about X, then Y, then Z")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """What cutting triangles would have given on this part, side by side with cutting the solid.

    The same contour beads on the same layers are made both ways and measured against the exact offset: error,
    moves, bytes, joints, seconds, memory; and which mesh would match our bound. No program is written.
    """
    with Edge():
        from beadwright.pipeline import (
            CHORDS,
            check_meshway_file,
            chord_list,
            meshway,
            show_meshway,
            write_meshway,
        )
        from beadwright.settings import resolve

        if out is not None:
            check_meshway_file(out)
        given = {
            "tolerance": tolerance,
            "width": width,
            "height": height,
            "contours": contours,
            "feed": feed,
            "scale": scale,
            "rotate": rotate,
        }
        resolved = resolve(given)
        with progress_bar(quiet=quiet) as progress:
            found = meshway(
                part,
                resolved=resolved,
                chords=CHORDS if chord is None else chord_list(chord),
                files=mesh or (),
                layers=layers,
                progress=progress,
            )
        written = None if out is None else write_meshway(found, out)
        if as_json:
            print_json(found.as_dict())
        elif not quiet:
            show_meshway(found)
            if written is not None:
                say(f"written: {written}")
