"""The command `verify`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Part, Quiet, app, option, print_json, progress_bar

Number = float | None
Text = str | None


@app.command(epilog="Example: beadwright verify out/program.nc part.step --all")
def verify(
    program: Annotated[Path, typer.Argument(metavar="PROGRAM", help="RS274/NGC text, ours or not")],
    part: Part,
    layers: Annotated[
        str, option("--layers", "N|A:B", "measure N layers, evenly spread, or all of A up to B - 1")
    ] = "10",
    every: Annotated[bool, typer.Option("--all", help="measure every layer")] = False,
    tolerance: Annotated[Number, option("--tolerance", "MM", "allowed; else as stated, or 0.1")] = None,
    width: Annotated[Number, option("--width", "MM", "of beads; else as stated, or inferred")] = None,
    height: Annotated[Number, option("--height", "MM", "of layers; else as stated, or their step")] = None,
    bead_section: Annotated[Text, option("--bead-section", "flat|round", "of the beads")] = None,
    density: Annotated[Number, option("--density", "G/CM3", "for the mass")] = None,
    matrix: Annotated[Text, option("--matrix", "12,NUMBERS", "part to machine, by rows")] = None,
    envelope: Annotated[Text, option("--envelope", "X,Y,Z,X,Y,Z", "least and greatest place, mm")] = None,
    greatest_feed: Annotated[Number, option("--greatest-feed", "MM/S", "limit of the feed")] = None,
    traverse: Annotated[Number, option("--traverse-speed", "MM/S", "for the time of traverses")] = None,
    standstill: Annotated[float, option("--standstill", "MM3", "what may flow out in one wait")] = 0.0,
    on: Annotated[Text, option("--on", "WORDS", "extruder on; else as stated, or M3, M4")] = None,
    off: Annotated[Text, option("--off", "WORDS", "extruder off; else as stated, or M5")] = None,
    axis: Annotated[Text, option("--extruder-axis", "LETTER", "its advance is flow")] = None,
    least_cover: Annotated[
        Number, option("--least-cover", "PERCENT", "of each section that beads must cover [default: any]")
    ] = None,
    most_overfill: Annotated[
        Number,
        option("--most-overfill", "PERCENT", "of it that may be laid beyond or twice [default: any]"),
    ] = None,
    bed_map: Annotated[
        Path | None,
        typer.Option("--bed-map", metavar="FILE", help="measured heights that the first layers must follow"),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(
            "--sheet",
            metavar="FILE",
            help="where the sheet goes [default: PROGRAM's name with _verify.html, beside it]",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="DIR", help="a folder instead: report.html and verification.json"
        ),
    ] = None,
    no_sheet: Annotated[bool, typer.Option("--no-sheet", help="write nothing")] = False,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="replace an earlier folder, or another file of that name")
    ] = False,
    parts: Annotated[
        list[Path] | None,
        typer.Option(
            "--part", metavar="FILE", help="a further file that the program prints; may be repeated"
        ),
    ] = None,
    release: Annotated[
        Path | None,
        typer.Option(
            "--release",
            metavar="FILE",
            help="release.json: files read back beside PROGRAM must be the same bytes",
        ),
    ] = None,
    workers: Annotated[
        int | None, option("--workers", "N", "processes [default: up to all cores, if it pays]")
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """A program's text against the part, by a reader of its own and the CAD kernel's own section.

    Writes a sheet beside the program: the deposit by deviation, section and stock under it, findings as balloons.
    Exit code 0: all holds; 1: it does not; 2: the program or the part cannot be read.
    """
    with Edge():
        from beadwright.errors import SettingsError
        from beadwright.pipeline import sheet_beside, verify_options, verify_program

        if no_sheet and (sheet is not None or out is not None):
            raise SettingsError(f"--no-sheet and --{'out' if sheet is None else 'sheet'} exclude each other")
        options = verify_options(
            layers=None if every else layers,
            tolerance=tolerance,
            bead=(width, height, bead_section),
            density=density,
            matrix=matrix,
            machine=(envelope, greatest_feed, traverse),
            standstill=standstill,
            flow=(on, off, axis),
            cover=(least_cover, most_overfill),
        )
        page = sheet
        if sheet is None and out is None and not no_sheet:
            page = sheet_beside(program)
        shown = page if out is None else out / "report.html"
        with progress_bar(quiet=quiet) as progress:
            found = verify_program(
                program,
                part,
                options,
                progress,
                sheet=page,
                out=out,
                overwrite=overwrite,
                release=release,
                parts=parts or (),
                workers=workers,
                bed_map=bed_map,
            )
        if as_json:
            print_json({**found.as_dict(), **({"sheet": str(shown)} if shown else {})})
        elif not quiet:
            from beadwright.pipeline import show_verification

            show_verification(found, shown)
        raise typer.Exit(0 if found.ok else 1)
