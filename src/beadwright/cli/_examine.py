"""The command `examine`."""

from __future__ import annotations

from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Part, Quiet, app, option, print_json, progress_bar


@app.command(epilog="Example: beadwright examine part.step --width 8.4 --height 4")
def examine(
    part: Part,
    job: Annotated[
        str | None,
        option("--job", "FILE", "job file: pose, bead, and by its stock the machined faces; an option wins"),
    ] = None,
    width: Annotated[str | None, option("--width", "MM", "bead width [default: 8.4]")] = None,
    height: Annotated[str | None, option("--height", "MM", "bead and layer height [default: 4]")] = None,
    bead_section: Annotated[
        str | None, option("--bead-section", "flat|round", "tamped or not [default: flat]")
    ] = None,
    scale: Annotated[str | None, option("--scale", "S", "factor applied to the part [default: 1]")] = None,
    rotate: Annotated[
        str | None, option("--rotate", "RX,RY,RZ", "degrees about X, then Y, then Z [default: 0,0,0]")
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """What is in the file, is it printable and why not; how well in this pose, and which poses there are.

    Exit code 0: printable; 1: read, but not printable as it is; 2: cannot be read.
    """
    given = {
        "width": width,
        "height": height,
        "bead_section": bead_section,
        "scale": scale,
        "rotate": rotate,
    }
    with Edge():
        from beadwright.pipeline import examine as examine_part

        with progress_bar(quiet=quiet) as progress:
            found = examine_part(part, job=job, progress=progress, **given)  # type: ignore[arg-type]
        if as_json:
            print_json(found.as_dict())
        elif not quiet:
            from beadwright.pipeline import show_examination

            show_examination(found)
        raise typer.Exit(0 if found.printable else 1)
