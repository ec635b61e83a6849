"""Run-ins: what is laid before a bead begins, while the flow comes up, against what the program tells of it."""

from __future__ import annotations

import numpy as np

from beadwright.numeric import Finding
from beadwright.verify._moves import Moves, MovesOfBeads, at_parameter
from beadwright.verify._reading import Reading
from beadwright.verify._result import Notes
from beadwright.verify._told import ToldBead, number

# Lengths of printed moves and distances between them may be off by this, mm: digits of some moves.
LED = 0.05


def check_run_ins(reading: Reading, notes: Notes) -> None:
    """Each run-in is told, as long as told, no longer than the lag accounts for, and lies on the bead that follows.

    A bead of role approach with the extruder on that is no purge is a run-in.
    """
    moves, beads = reading.moves, reading.told.beads
    if not any(bead.role == "approach" or bead.value("start_lead") > 0 for bead in beads):
        return
    own = MovesOfBeads(moves)
    settings = reading.told.settings
    up, tau, prime = (
        number(settings.get(f"machine.extruder.lag.{name}_s", default))
        for name, default in (("dead_up", None), ("tau_up", None), ("prime", "0"))
    )
    for place, bead in enumerate(beads):
        lead = bead.value("start_lead")
        before = own[place - 1] if place and _runs_in(beads[place - 1]) else np.zeros(0, np.int64)
        if not lead > 0 and not len(before):
            continue
        text, measured, allowed = _wrong(moves, before, own[place], lead, max(up + tau - prime, 0.0))
        if text:
            layer = number(reading.told.layers[bead.layer].keys.get("index"))
            notes.add(
                Finding(
                    code="start-lead",
                    level="error",
                    layer=int(layer) if np.isfinite(layer) else None,
                    measured=measured,
                    allowed=allowed,
                    unit="mm",
                    text=f"bead {bead.keys.get('index', place)} {text}",
                ),
                bead.line,
            )


def _runs_in(bead: ToldBead) -> bool:
    return bead.role == "approach" and bead.keys.get("purge") != "1"


def _wrong(
    moves: Moves, before: np.ndarray, own: np.ndarray, lead: float, seconds: float
) -> tuple[str, float, float]:
    """What is wrong with a run-in, measured and allowed, mm; "" where nothing is."""
    run = float(moves.length[before].sum())
    if not lead > 0:
        return "has a run-in with the extruder on, which it does not tell", run, 0.0
    if not len(before) or not abs(run - lead) <= LED:
        return "has no run-in as long as it tells", run, lead
    limit = float(np.nanmax(moves.feed[before], initial=0.0)) * seconds + LED
    if not run <= limit:
        return "has a longer run-in than its lag accounts for", run, limit if np.isfinite(limit) else 0.0
    if not len(own):
        return "has a run-in and no move of its own", run, 0.0
    way = np.cumsum(moves.length[own])
    if way[-1] < run - LED:
        return "has a run-in longer than itself", run, float(way[-1])
    at = min(int(np.searchsorted(way, run)), len(own) - 1)
    row = own[at : at + 1]
    share = np.array([1.0 - float(way[at] - run) / max(float(moves.length[row[0]]), LED)])
    on_it = at_parameter(moves, row, np.clip(share, 0.0, 1.0))[0]
    apart = float(np.hypot(*(moves.start[before[0], :2] - on_it)))
    gap = float(np.hypot(*(moves.end[before[-1]] - moves.start[own[0]])[:2]))
    if max(apart, gap) > 2 * LED:
        return "has a run-in that does not lie on it", max(apart, gap), 2 * LED
    return "", 0.0, 0.0
