"""The commands `coupon` and `calibrate`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Quiet, app, option, print_json, say


@app.command(epilog="Example: beadwright coupon lag -o coupon_lag --width 8.4 --height 4")
def coupon(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND",
            help="screw (a sheet for weighed purges), width, lag, overlap, corner, lean or circle",
        ),
    ],
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="DIR", help="new folder, made whole or not at all")
    ],
    width: Annotated[str | None, option("--width", "MM", "bead width [default: 8.4]")] = None,
    height: Annotated[str | None, option("--height", "MM", "bead and layer height [default: 4]")] = None,
    feed: Annotated[str | None, option("--feed", "MM/S", "middle of the speeds [default: 100]")] = None,
    at: Annotated[str | None, option("--at", "X,Y", "middle of the piece, mm [default: 0,0]")] = None,
    dialect: Annotated[str | None, option("--dialect", "NAME", "how the program is written")] = None,
    job: Annotated[Path | None, typer.Option("--job", metavar="FILE", help="job file")] = None,
    machine: Annotated[Path | None, typer.Option("--machine", metavar="FILE", help="machine file")] = None,
    material: Annotated[
        str | None, option("--material", "FILE", "material file, or the name of a card that comes along")
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write the program of a test piece, and measured.csv for what is measured on it; `calibrate` reads that."""
    with Edge():
        from beadwright.numeric import counted
        from beadwright.pipeline import coupon as make
        from beadwright.settings import resolve

        given = {"width": width, "height": height, "feed": feed, "at": at, "dialect": dialect}
        made = make(kind, out, resolved=resolve(given, job=job, machine=machine, material=material))
        if as_json:
            print_json(made.as_dict())
        elif not quiet:
            say(f"wrote {', '.join(file.name for file in made.files)} to {out}")
            if made.beads:
                say(f"{counted(made.beads, 'bead')}, {made.mass:.3g} kg, {made.seconds:.0f} s along beads")
            say(made.measure)


@app.command(epilog="Example: beadwright calibrate coupon_lag/measured.csv -o measured")
def calibrate(
    measured: Annotated[
        Path, typer.Argument(metavar="MEASURED.csv", help="the filled sheet of a test piece")
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="DIR", help="where machine-measured.toml and job-measured.toml are written"
        ),
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Fit cards to what was measured: how well they hold is told, and what the data cannot carry is refused.

    Without -o the lines for the machine and the job file go to standard output.
    """
    with Edge():
        from beadwright.numeric import counted
        from beadwright.pipeline import calibrate as fit

        made = fit(measured, out)
        if as_json:
            print_json(made.as_dict())
            return
        if not quiet:
            for what, text in made.told:
                say(f"{what}: {text}")
            if made.skipped:
                say(f"{counted(made.skipped, 'row holds', 'rows hold')} no measurement")
        if out is None:
            for name, text in (("machine", made.machine), ("job", made.job)):
                if text:
                    print(f"# {name} file\n{text}", end="")
