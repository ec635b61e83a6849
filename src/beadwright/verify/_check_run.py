"""What the machine does while the program runs: flow where the axes stand or traverse, speed, envelope, time, mass."""

from __future__ import annotations

import math

import numpy as np

from beadwright.numeric import Finding
from beadwright.verify._bed import Grid, mapped_volume
from beadwright.verify._cover import bead_area
from beadwright.verify._deposit import Deposit
from beadwright.verify._moves import Moves, extents_of
from beadwright.verify._options import VerifyOptions
from beadwright.verify._reading import Reading, Standstill
from beadwright.verify._result import Notes, Run
from beadwright.verify._rising import climbs, lies_on, risen_volume
from beadwright.verify._told import number

AXES = "XYZ"
# Times are printed in milliseconds.
PRINTED = 0.001


def check_faults(reading: Reading, notes: Notes) -> None:
    """Broken rules of the standard, by line."""
    for fault in reading.faults:
        finding = Finding(
            code="standard-" + fault.rule.replace(" ", "-"),
            level="error" if fault.strict else "warning",
            text=fault.text,
            measured=fault.measured,
            allowed=fault.allowed,
            unit="" if fault.measured is None else "mm",
        )
        notes.add(finding, fault.line)
    told = sum(notes.counts[code] for code in notes.counts if code.startswith("standard-"))
    more = sum(reading.counts.values()) - told
    if more > 0:
        text = f"{more} more broken rules of the kinds listed"
        notes.add(Finding(code="standard-more", level="error", text=text), None)


def check_flow(
    reading: Reading, deposit: Deposit, options: VerifyOptions, section: str, notes: Notes
) -> None:
    """Flow on while the axes stand, with its volume, and flow on in a traverse.

    A wait before the first move of a bead, no longer than the program says that it primes the extruder, is a note.
    """
    moves = reading.moves
    prime = number(reading.told.settings.get("machine.extruder.lag.prime_s"))
    for wait in reading.standstills:
        if wait.flow and wait.seconds != 0:
            _standstill(wait, moves, deposit, options, section, prime, notes)
    for row in np.flatnonzero(moves.flow & (moves.kind == 0)):
        x, y, z = moves.end[row].tolist()
        finding = Finding(
            code="flow-in-traverse",
            level="error",
            text="the extruder runs in a traverse",
            layer=int(moves.layer[row]) if moves.layer[row] >= 0 else None,
            at_mm=(x, y, z),
            measured=float(moves.length[row]),
            allowed=0.0,
            unit="mm",
        )
        notes.add(finding, int(moves.line[row]))


def _standstill(
    wait: Standstill,
    moves: Moves,
    deposit: Deposit,
    options: VerifyOptions,
    section: str,
    prime: float,
    notes: Notes,
) -> None:
    """One wait with flow: volume at the flow of the bead beside it (its area by the feed in force)."""
    area = _area_beside(wait.line, moves, deposit, section)
    volume = wait.seconds * area * wait.feed if math.isfinite(wait.seconds) else math.nan
    if wait.what.endswith("alone"):
        text = f"the extruder's axis advances by {wait.advance:g} while the axes stand"
    elif math.isnan(wait.seconds):
        text = f"{wait.what} stops the axes with the extruder on until somebody acts"
    else:
        text = f"the axes stand for {wait.seconds:g} s with the extruder on"
    if math.isfinite(volume):
        if volume <= options.standstill_mm3:
            return
        text += f"; {volume:.1f} mm3 flow out, by the flow of the bead"
    primes = wait.what == "G4" and wait.seconds <= prime + PRINTED and _before_a_bead(wait.line, moves)
    notes.add(
        Finding(
            code="priming" if primes else "flow-while-standing",
            level="note" if primes else "error",
            text=text,
            at_mm=wait.at,
            measured=volume if math.isfinite(volume) else None,
            allowed=options.standstill_mm3 if math.isfinite(volume) else None,
            unit="mm3" if math.isfinite(volume) else "",
        ),
        wait.line,
    )


def _before_a_bead(line: int, moves: Moves) -> bool:
    """Whether the move after a line is the first one since the extruder was started."""
    after = int(np.searchsorted(moves.line, line))
    return after < len(moves.line) and bool(moves.flow[after]) and not (after and bool(moves.flow[after - 1]))


def _area_beside(line: int, moves: Moves, deposit: Deposit, section: str) -> float:
    """Area of the bead nearest to a line of the program, mm2; nan if no bead has measures."""
    best, area = math.inf, math.nan
    for bead in deposit.beads:
        if len(bead.rows) and bead.width > 0 and bead.height > 0:
            first, last = moves.line[bead.rows[0]], moves.line[bead.rows[-1]]
            away = max(first - line, line - last, 0)
            if away < best:
                best, area = away, bead_area(bead.width, bead.height, section)
    return area


def check_limits(moves: Moves, options: VerifyOptions, notes: Notes) -> None:
    """Envelope and speed: the first move beyond each limit, and how many there are."""
    if options.greatest_feed is not None:
        fast = np.flatnonzero((moves.kind > 0) & (moves.feed > options.greatest_feed * (1 + 1e-9)))
        if len(fast):
            row = int(fast[0])
            text = f"{len(fast)} feed moves are faster than allowed; this is the first"
            finding = Finding(
                code="feed-limit",
                level="error",
                text=text,
                measured=float(moves.feed[row]),
                allowed=options.greatest_feed,
                unit="mm/s",
            )
            notes.add(finding, int(moves.line[row]))
    if options.envelope is None or not len(moves):
        return
    reach = extents_of(moves)
    for axis in range(3):
        for side, sign in ((0, -1.0), (1, 1.0)):
            limit = float(options.envelope[side, axis])
            beyond = np.flatnonzero(sign * (reach[:, side, axis] - limit) > 1e-9)
            if not len(beyond):
                continue
            row = int(beyond[0])
            x, y, z = moves.end[row].tolist()
            finding = Finding(
                code="envelope",
                level="error",
                text=f"{len(beyond)} moves leave the envelope in {AXES[axis]}; this is the first",
                at_mm=(x, y, z),
                measured=float(reach[row, side, axis]),
                allowed=limit,
                unit="mm",
            )
            notes.add(finding, int(moves.line[row]))


def run_of(
    reading: Reading, deposit: Deposit, options: VerifyOptions, section: str, grid: Grid | None = None
) -> Run:
    """Time by length and feed, waits, lengths, volume by bead sections, mass."""
    moves = reading.moves
    feeding = moves.kind > 0
    seconds = moves.seconds[feeding]
    waits = [w.seconds for w in reading.standstills if math.isfinite(w.seconds)]
    traverse = float(moves.length[~feeding].sum())
    volume: float | None = 0.0
    purged = 0.0
    by_axis = bool(reading.told.header.get("axis"))
    for place, layer, bead in (
        (place, each, bead) for place, each in enumerate(deposit.layers) for bead in each.beads
    ):
        if bead.role == "wall" and len(bead.rows) and climbs(moves, layer):
            even = not by_axis and float(np.ptp(moves.feed[bead.rows])) == 0.0
            share = risen_volume(
                moves, lies_on(moves, deposit.layers, place), layer, bead, section, even=even
            )
        elif grid is not None and layer.index < grid.layers and not bead.purge:
            share = mapped_volume(moves, layer, bead, grid, section)
        else:
            share = float(
                (bead_area(bead.own_widths(), bead.height, section) * moves.length[bead.rows]).sum()
            )
        if bead.purge:
            purged += share
            continue
        volume = volume + share if volume is not None and math.isfinite(share) else None
    mass = volume * options.density / 1000.0 if volume is not None and options.density is not None else None
    return Run(
        feed_s=float(np.nansum(seconds)),
        dwell_s=float(sum(waits)),
        traverse_s=traverse / options.traverse if options.traverse else None,
        bead_mm=math.fsum(
            float(moves.length[bead.rows].sum())
            for layer in deposit.layers
            for bead in layer.beads
            if not bead.purge
        ),
        feed_mm=float(moves.length[feeding].sum()),
        traverse_mm=traverse,
        volume_mm3=volume,
        purge_mm3=purged or None,
        mass_g=mass,
        lines=int((moves.kind < 2).sum()),
        arcs=int((moves.kind > 1).sum()),
    )
