"""The command `replan`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Quiet, app, option, print_json, progress_bar


@app.command(epilog="Example: beadwright replan out --from-layer 100 --height 396.0")
def replan(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="output of the earlier plan; it stays as it is")
    ],
    from_layer: Annotated[
        int | None, typer.Option("--from-layer", metavar="N", min=1, help="first layer that is not printed")
    ] = None,
    height: Annotated[
        float | None, typer.Option("--height", metavar="MM", help="measured height of what is printed")
    ] = None,
    from_bead: Annotated[
        int | None,
        typer.Option("--from-bead", metavar="N", min=0, help="within a layer: first bead not wholly printed"),
    ] = None,
    after: Annotated[
        float,
        typer.Option(
            "--after", metavar="MM", min=0.0, help="with --from-bead: so much of that bead is printed"
        ),
    ] = 0.0,
    at_line: Annotated[
        int | None,
        typer.Option(
            "--at-line", metavar="N", min=1, help="instead: first line of program.nc not carried out"
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="DIR", help="new folder [default: beside the old, DIR-from-...]"),
    ] = None,
    part: Annotated[
        Path | None,
        typer.Option(
            "--part", metavar="PART", help="the STEP file [default: where the earlier plan found it]"
        ),
    ] = None,
    finished: Annotated[
        Path | None,
        typer.Option(
            "--finished",
            metavar="FILE",
            help="STEP file of the finished part that stock is judged against [default: where it was]",
        ),
    ] = None,
    workers: Annotated[int | None, option("--workers", "N", "processes [default: all cores]")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="replace an earlier output of ours")] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """The rest of a print: from a layer on at its measured height, or from a place within a layer.

    A built height drifts from layers times height: the solid is cut anew at the heights that are missing. Within a
    layer (--from-bead with --after, or --at-line) the heights stay as planned. The settings are
    those of the earlier plan.
    """
    with Edge():
        from beadwright.pipeline import replan as make

        with progress_bar(quiet=quiet) as progress:
            result = make(
                folder,
                out,
                from_layer=from_layer,
                height=height,
                from_bead=from_bead,
                after=after,
                at_line=at_line,
                part=part,
                finished=finished,
                workers=workers,
                overwrite=overwrite,
                progress=progress,
            )
        if as_json:
            print_json(result.document)
        elif not quiet:
            from beadwright.pipeline import show_plan

            show_plan(result)
        raise typer.Exit(1 if result.has_errors else 0)
