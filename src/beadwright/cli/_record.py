"""The command `record`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Quiet, app, option, print_json, say

Text = str | None


@app.command(
    epilog='Example: beadwright record out --operator "A. Turner" --lot L-0417 --drying "80 degC, 4 h"'
)
def record(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="output of plan --release")],
    revision: Annotated[Text, option("--revision", "TEXT", "of the part")] = None,
    lot: Annotated[Text, option("--lot", "TEXT", "of the feedstock")] = None,
    drying: Annotated[Text, option("--drying", "TEXT", "temperature and time")] = None,
    sheet: Annotated[Text, option("--sheet", "TEXT", "that is printed on")] = None,
    operator: Annotated[Text, option("--operator", "TEXT", "who runs the machine")] = None,
    start: Annotated[Text, option("--start", "TEXT", "when the build began")] = None,
    stop: Annotated[Text, option("--stop", "TEXT", "when it ended")] = None,
    deviation: Annotated[
        Text, option("--deviation", "TEXT", "from the plan; may be told again and again")
    ] = None,
    sign: Annotated[Text, option("--sign", "TEXT", "who signs off, and what")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Append an entry to the job record; earlier entries are never changed, and a change of them shows."""
    with Edge():
        from beadwright.pipeline import append_record

        told = {
            "revision": revision,
            "lot": lot,
            "drying": drying,
            "sheet": sheet,
            "operator": operator,
            "start": start,
            "stop": stop,
            "deviation": deviation,
            "sign": sign,
        }
        made = append_record(folder, {key: value for key, value in told.items() if value is not None})
        if as_json:
            print_json(made)
        elif not quiet:
            say(f"{len(made['entries'])} entries; {folder / 'job_record.txt'} is the page to print")
