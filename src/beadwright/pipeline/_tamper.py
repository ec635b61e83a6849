"""What a tamper asks of a plan: room in traverses, corners that its footprint can follow, a switch of its own."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from beadwright.beads import Bead
from beadwright.curves import chords, length, lengths
from beadwright.numeric import Finding, counted
from beadwright.pipeline._layer_work import LayerWork
from beadwright.settings import Machine, PlanSettings, Tamper

# Name by which a tamper stands in the table of devices.
NAME = "tamper"
# Joints that turn by less than this (rad) are smooth; arcs that turn by less are no corner.
SMOOTH = 0.05


def tamper_findings(
    machine: Machine, settings: PlanSettings, works: Sequence[LayerWork]
) -> tuple[Finding, ...]:
    """Findings of a machine with a tamper; none without one.

    Parameters
    ----------
    machine : Machine
    settings : PlanSettings
    works : sequence of LayerWork
        All layers with their beads.
    """
    tamper = machine.tamper
    if tamper is None:
        return ()
    return (
        *_switched(machine),
        *_room(tamper, settings),
        *_delay(tamper, settings.feed, works),
        *_corners(tamper, works),
    )


def _switched(machine: Machine) -> list[Finding]:
    """On and off by the table of devices."""
    device = next((each for each in machine.device if each.name == NAME), None)
    if device is None or not device.on_at:
        return [
            Finding(
                code="tamper-not-switched",
                level="warning",
                text=f"the machine has a tamper, but its table of devices switches none on: write a device named {NAME}"
                " with its words and moments, or it stays as the operator leaves it",
            )
        ]
    if set(device.off_at) & {"bead end", "traverse begin"}:
        return []
    return [
        Finding(
            code="tamper-in-traverse",
            level="warning",
            text=f"device {NAME} is not switched off at the end of a bead, so it goes on striking in traverses: name"
            ' "bead end" or "traverse begin" in its off_at',
        )
    ]


def _room(tamper: Tamper, settings: PlanSettings) -> list[Finding]:
    """Traverses clear a layer and the stroke (common practice); a flat bead is pressed to its height."""
    found = []
    allowed = settings.height + tamper.stroke
    if settings.clearance < allowed:
        found.append(
            Finding(
                code="tamper-clearance",
                level="warning",
                measured=settings.clearance,
                allowed=allowed,
                unit="mm",
                text="traverses clear the layer by less than a layer and the tamper's stroke (common practice): what"
                " stands up from a bead may be struck",
            )
        )
    if tamper.lowest > 0 and settings.bead_section == "flat":
        found.append(
            Finding(
                code="tamper-high",
                level="warning",
                measured=tamper.lowest,
                allowed=0.0,
                unit="mm",
                text="the tamper's lowest point stays above the tip, so it does not press beads to the layer's height,"
                " and bead_section flat is not what is laid",
            )
        )
    return found


def _delay(tamper: Tamper, feed: float, works: Sequence[LayerWork]) -> list[Finding]:
    """What is laid before the first stroke."""
    way = feed * tamper.on_delay
    if not way:
        return []
    short = [work.layer.plan.index for work in works for bead in work.beads if length(bead.path) <= way]
    text = (
        f"the tamper strikes {tamper.on_delay:g} s after it is switched on: so much of each bead's start is not"
        " pressed"
    )
    if short:
        text += f", and {counted(len(short), 'bead, shorter than that, is', 'beads, shorter than that, are')}"
        text += " not pressed at all"
    return [
        Finding(
            code="tamper-delay",
            level="warning" if short else "note",
            layer=short[0] if short else None,
            measured=way,
            allowed=0.0,
            unit="mm",
            text=text,
        )
    ]


def _corners(tamper: Tamper, works: Sequence[LayerWork]) -> list[Finding]:
    """Corners tighter than the footprint, at most one finding, at the layer with the most of them."""
    radius = min(tamper.size) / 2
    found = []
    for work in works:
        tight = [row for bead in work.beads for row in _tight(bead, radius)]
        if tight:
            found.append((len(tight), min(tight), work.layer.plan))
    if not found:
        return []
    count = sum(row[0] for row in found)
    _, (least, x, y), plan = max(found, key=lambda row: row[0])
    return [
        Finding(
            code="tamper-corner",
            level="note",
            layer=plan.index,
            at_mm=(x, y, plan.z),
            measured=least,
            allowed=radius,
            unit="mm",
            text=f"{counted(count, 'corner is', 'corners are')} tighter than the tamper's footprint, in"
            f" {counted(len(found), 'layer')}: there it presses what it has laid just before once more, and drags it"
            " along",
        )
    ]


def _tight(bead: Bead, radius: float) -> list[tuple[float, float, float]]:
    """Radius, 0 at a sharp joint, and place of each corner of a bead that is tighter than a radius, mm."""
    path = bead.path
    run, sweep = lengths(path), 4 * np.arctan(path.bulge)
    heading = np.arctan2(*chords(path).T[::-1])
    turn = np.roll(heading - sweep / 2, -1) - (heading + sweep / 2)
    turn = np.abs(np.arctan2(np.sin(turn), np.cos(turn)))
    if not path.closed:
        turn[-1] = 0.0
    ends = path.points[: len(run)] + chords(path)
    sharp = [(0.0, float(x), float(y)) for x, y in ends[turn > SMOOTH]]
    own = np.divide(run, np.abs(sweep), out=np.full(len(run), np.inf), where=np.abs(sweep) > SMOOTH)
    bent = np.flatnonzero(own < radius)
    return sharp + [(float(own[k]), float(ends[k, 0]), float(ends[k, 1])) for k in bent]
