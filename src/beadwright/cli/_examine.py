"""The command `examine`."""

from __future__ import annotations

import typer

from beadwright.cli._app import AsJson, Edge, Part, Quiet, app, print_json


@app.command(epilog="Example: beadwright examine part.step")
def examine(part: Part, as_json: AsJson = False, quiet: Quiet = False) -> None:
    """What is in the file, is it printable and why not, with advice.

    Exit code 0: printable; 1: read, but not printable as it is; 2: cannot be read.
    """
    with Edge():
        from beadwright.pipeline import examine as examine_part

        found = examine_part(part)
        if as_json:
            print_json(found.as_dict())
        elif not quiet:
            from beadwright.pipeline import show_examination

            show_examination(found)
        raise typer.Exit(0 if found.printable else 1)
