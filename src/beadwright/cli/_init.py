"""The command `init`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Quiet, app, option, print_json, say


@app.command(epilog="Example: beadwright init workshop --material cf-pc-20")
def init(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="where the files are written")],
    material: Annotated[
        str, option("--material", "NAME", "material card that comes with beadwright")
    ] = "cf-abs-20",
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write commented machine, material and job files that hold all defaults, and their schemas for editors.

    An existing file is never changed.
    """
    with Edge():
        from beadwright.pipeline import write_settings

        files = write_settings(folder, material=material)
        if as_json:
            print_json({"files": [str(file) for file in files]})
        elif not quiet:
            say(f"wrote {', '.join(file.name for file in files)} to {folder}")
            say(
                "check every number of machine.toml and material.toml against your machine and data sheet, then:"
                f" beadwright plan PART -o DIR --machine {folder / 'machine.toml'}"
                f" --material {folder / 'material.toml'} --job {folder / 'job.toml'}"
            )
