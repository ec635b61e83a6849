"""Beads whose width follows the speed: one volume a second along each, as a screw that turns evenly gives it."""

from __future__ import annotations

import numpy as np

from beadwright.numeric import Finding
from beadwright.verify._cover import bead_area
from beadwright.verify._deposit import Deposit
from beadwright.verify._reading import Reading
from beadwright.verify._result import Notes

# Volume a second is even within this share along a bead: digits of the feed.
EVEN = 0.002


def check_widths(reading: Reading, deposit: Deposit, notes: Notes) -> None:
    """Hold the speed along every bead whose width and speed both change against its width.

    Parameters
    ----------
    reading : Reading
    deposit : Deposit
    notes : Notes
        Findings are added here.
    """
    if reading.told.header.get("axis") or reading.told.bed:
        return
    moves = reading.moves
    section = reading.told.settings.get("bead_section", "flat")
    for layer in deposit.layers:
        for bead in layer.beads:
            feed = moves.feed[bead.rows]
            if bead.widths is None or len(feed) < 2 or np.ptp(feed) == 0:
                continue
            volume = feed * bead_area(bead.widths, bead.height, section)
            uneven = float(volume.max() / volume.min()) - 1.0
            if uneven > EVEN:
                finding = Finding(
                    code="width-flow",
                    level="error",
                    layer=layer.index,
                    measured=100 * uneven,
                    allowed=100 * EVEN,
                    unit="%",
                    text=f"the speed along bead {bead.index} does not follow its width",
                )
                notes.add(finding, bead.line)
