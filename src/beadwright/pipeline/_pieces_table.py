"""Several programs of one job for the terminal, on standard error."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Console

from beadwright.pipeline._plan_table import show_plan

if TYPE_CHECKING:
    from beadwright.pipeline._pieces import Pieces


def show_pieces(made: Pieces) -> None:
    """Print what was planned, piece by piece, and what all of them take."""
    console = Console(stderr=True)
    for name, result in made.results:
        console.rule(name, align="left")
        show_plan(result)
    console.rule("all", align="left")
    document = made.document
    told = [f"{len(document['pieces'])} {document['kind']} of {document['input']['file']}"]
    if "volumes_off_relative" in document:
        told.append(f"volumes add up to the whole within {document['volumes_off_relative']:.2g} of it")
    totals = document["totals"]
    if "mass_kg" in totals:
        told.append(f"{totals['mass_kg']:.4g} kg")
    if "time_s" in totals:
        told.append(f"{totals['time_s'] / 3600:.3g} h")
    if made.out is not None:
        told.append(f"written to {made.out}")
    for text in told:
        console.print(text, markup=False, highlight=False, soft_wrap=True)
