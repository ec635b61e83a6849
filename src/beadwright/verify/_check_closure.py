"""Tapered laps: what a bead's rising start lacks its falling lap gives, measured on the extruder's axis."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.numeric import Finding
from beadwright.verify._cover import bead_area
from beadwright.verify._deposit import own_widths
from beadwright.verify._moves import MovesOfBeads
from beadwright.verify._reading import Reading
from beadwright.verify._result import Notes
from beadwright.verify._told import ToldBead

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]

# Rising and falling flow add up to one within this: digits of the axis on moves of some mm.
FULL = 0.02
# Places nearer to each other than this along a bead are one, mm: digits of the coordinates.
SAME = 0.01


def check_closures(reading: Reading, notes: Notes) -> None:
    """Hold every bead that says that its flow tapers against the advance of the extruder's axis along it and its lap.

    Parameters
    ----------
    reading : Reading
    notes : Notes
        Findings are added here.
    """
    told, moves = reading.told, reading.moves
    of_bead = MovesOfBeads(moves)
    section = told.settings.get("bead_section", "flat")

    def own(index: int) -> Rows:
        rows = of_bead[index]
        return rows[moves.length[rows] > 0]

    for index, bead in enumerate(told.beads):
        if not bead.shares or bead.role == "lap":
            continue
        after = told.beads[index + 1] if index + 1 < len(told.beads) else None
        lap = own(index + 1) if after is not None and after.role == "lap" else np.zeros(0, np.int64)
        text, off = "", 0.0
        if after is None or not len(lap):
            text = "says that its flow rises at its start, but no lap with the extruder on follows"
        elif not told.header.get("axis"):
            text = "says that its flow tapers, but no extruder axis makes it so"
        else:
            off = _off(reading, (bead, own(index)), (after, lap), section)
            if off > FULL:
                text = "and its tapered lap together are not one full bead"
        if text:
            finding = Finding(
                code="closure-flow",
                level="error",
                text=f"bead {bead.keys.get('index', index)} {text}",
                measured=off,
                allowed=FULL,
            )
            notes.add(finding, bead.line)


def _off(reading: Reading, bead: tuple[ToldBead, Rows], lap: tuple[ToldBead, Rows], section: str) -> float:
    """Greatest distance from one of what a bead and its lap lay together, as shares of the flow farther on."""
    moves = reading.moves
    ways, given = [], []
    for told, rows in (bead, lap):
        own = own_widths(told, moves.line[rows])
        width = np.full(len(rows), told.value("width")) if own is None else own
        area = bead_area(width, told.value("height"), section)
        ways.append(np.cumsum(moves.length[rows]))
        given.append(moves.advance[rows] / (moves.length[rows] * area))
    far = ways[0] > ways[1][-1] + SAME
    if not far.any():
        return np.inf
    full = float(np.median(given[0][far]))
    marks = np.unique(np.concatenate([[0.0], *ways]))
    marks = marks[marks <= ways[1][-1]]
    wide = np.diff(marks) > SAME
    middle = ((marks[:-1] + marks[1:]) / 2)[wide]
    both: Floats = sum(
        (flow[np.searchsorted(way[:-1], middle)] for way, flow in zip(ways, given, strict=True)),
        np.zeros(len(middle)),
    )
    return float(np.abs(both / full - 1.0).max(initial=0.0))
