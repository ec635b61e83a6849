"""The command `compare`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Quiet, app, print_json, progress_bar

PlanOrProgram = "a folder that plan wrote, or a program"


@app.command(epilog="Example: beadwright compare out-of-may out-of-june")
def compare(
    a: Annotated[Path, typer.Argument(metavar="A", help=PlanOrProgram)],
    b: Annotated[Path, typer.Argument(metavar="B", help="the same of the other one")],
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Two plans or programs of one part, or of two revisions: what changed by layer and by face.

    Exit code 0: nothing changed; 1: something did; 2: one of them cannot be read.
    """
    with Edge():
        from beadwright.pipeline import compare as compare_both
        from beadwright.pipeline import show_comparison

        with progress_bar(quiet=quiet) as progress:
            found = compare_both(a, b, progress)
        if as_json:
            print_json(found.as_dict())
        elif not quiet:
            show_comparison(found)
        raise typer.Exit(0 if found.same else 1)
