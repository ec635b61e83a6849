"""What is told of walls that rise steadily: what they save, where they are off, what flow and wait they cannot have."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from beadwright.numeric import Finding, counted
from beadwright.pipeline._document import Laid
from beadwright.pipeline._kept import Kept
from beadwright.pipeline._risen import RisenLayer
from beadwright.pipeline._rising import Rising
from beadwright.settings import PlanSettings

# What too much of a bead is told from on, and from when on it is a warning, kg: a hundredth of a gram, and a gram.
HUNDREDTH, GRAM = 1e-5, 1e-3
# A bound equals the tolerance within this share of it: what doubles leave of a sum that was laid out to meet it.
EQUAL = 1.001


def rising_findings(
    rising: Rising | None, laid: Kept[Laid], density: float, settings: PlanSettings
) -> tuple[Finding, ...]:
    """What is told of rising walls: where there are none, and what they cannot have.

    `density` in kg/mm3. The layers are gone over, never collected.
    """
    if rising is None:
        return ()
    found = [*rising.told, *_coarse(laid, settings)]
    short, at = max(((build.missed, build.index) for build in laid.each("build")), default=(0.0, 0))
    if short > 0:
        found.append(
            Finding(
                code="rising-time",
                level="warning",
                layer=at,
                measured=short,
                allowed=0.0,
                unit="s",
                text="a rising bead cannot wait, and even at the least speed this layer is over so much sooner than"
                " layer_time.least asks; take a larger part, more copies, or no rising",
            )
        )
    return (*found, *_flow(rising, laid, density))


def _risen(laid: Kept[Laid]) -> Iterator[tuple[int, RisenLayer, float]]:
    """Layers that climb: index, bead and feed, mm/s."""
    for risen, build in zip(laid.each("risen"), laid.each("build"), strict=True):
        if risen is not None:
            yield build.index, risen, build.pace.feed


def _coarse(laid: Kept[Laid], settings: PlanSettings) -> list[Finding]:
    """Walls that lean, turn or change so much that the planes allowed follow them less closely than the tolerance."""
    rows = [
        (own.bound, index, own) for index, own, _ in _risen(laid) if own.bound > settings.tolerance * EQUAL
    ]
    if not rows:
        return []
    off, layer, own = max(rows, key=lambda row: row[0])
    layers = [index for _, index, _ in rows]
    x, y = own.bead.start
    return [
        Finding(
            code="rising-coarse",
            level="note",
            layer=layer,
            at_mm=(x, y, float(own.height[0])),
            measured=off,
            allowed=settings.tolerance,
            unit="mm",
            text=f"{counted(len(layers), 'turn')} of rising walls, the lowest in layer {layers[0]}, the topmost in"
            f" layer {layers[-1]}, are followed by {counted(settings.rising_planes, 'plane')} each at most, and so"
            " only this closely; it is in the bound `section`, layer by layer in plan.json (rising.off_mm);"
            " rising_planes (--rising-planes) sets how many",
        )
    ]


def _flow(rising: Rising, laid: Kept[Laid], density: float) -> list[Finding]:
    """Where a rising bead gets more melt than fits under the nozzle."""
    tied = rising.flow == "speed-tied"
    over = [
        (density * own.excess(feed, tied=tied), index, own)
        for index, own, feed in _risen(laid)
        if (tied or own.by_speed is not None) and float(own.thickness.min()) < own.bead.height
    ]
    mass = sum(each for each, *_ in over)
    if mass < HUNDREDTH:
        return []
    worst, layer, own = max(over, key=lambda row: row[0])
    row = int(own.thickness.argmin())
    share = 100 * worst / (density * float(own.wanted().sum()))
    x, y = own.bead.path.points[row].tolist()
    if tied:
        why = (
            "the drive follows the path speed by itself, so a millimetre of way gets as much melt whatever the"
            " nozzle's height; where a rising bead begins and ends it is from half a layer to a whole one thick, and"
            " gets more than fits, which is pressed aside, while the half turn before its start and after its end is"
            " not laid and lacks as much"
        )
        remedy = "flow control axis (machine extruder.flow_control) follows the thickness from nothing on"
    else:
        why = (
            "the thinnest part of its first and last turn would be laid faster than the machine goes, so where a"
            " rising bead grows from nothing and ends so too much is laid"
        )
        remedy = "take a lower feed, or flow control axis"
    return [
        Finding(
            code="rising-flow",
            level="warning" if mass >= GRAM else "note",
            layer=layer,
            at_mm=(x, y, float(own.height[row])),
            measured=1000 * mass,
            allowed=0.0,
            unit="g",
            text=f"{why}: this mass in all, in {counted(len(over), 'layer')}; most of it here, {1000 * worst:.2g} g or"
            f" {share:.0f} % of what this turn should get; {remedy}",
        )
    ]


def rising_document(rising: Rising | None, laid: Kept[Laid]) -> dict[str, Any]:
    """What plan.json says of beads: how many there are without rising walls, and with them."""
    if rising is None:
        return {}
    beads = 0
    count = dict.fromkeys(range(len(rising.runs)), 0)
    first, off = dict[int, int](), dict[int, float]()
    of_layer = {plan.index: at for at, run in enumerate(rising.runs) for plan in run.plans}
    for work, risen in zip(laid.each("work"), laid.each("risen"), strict=True):
        beads += len(work.beads)
        at = of_layer.get(work.layer.plan.index)
        if at is None:
            continue
        count[at] += 1
        first.setdefault(at, work.layer.plan.index)
        off[at] = max(off.get(at, 0.0), 0.0 if risen is None else risen.bound)
    rows: list[dict[str, Any]] = []
    for at, run in enumerate(rising.runs):
        if not count[at]:
            continue
        turns = [turn for turn in run.turns if turn.layer >= first[at]]
        # A flat layer from which the climb cannot go on is a bead of its own.
        apart = run.even and run.begins == "flat" and first[at] == run.first
        rows.append(
            {
                "from_layer": first[at],
                "to_layer": run.last,
                "beads": {"before": count[at], "after": 1 + apart},
                "planes": sum(len(turn.planes()) for turn in turns),
                "off_mm": off[at],
            }
        )
    after = beads - sum(row["beads"]["before"] - row["beads"]["after"] for row in rows)
    return {"continuity": {"beads": {"before": beads, "after": after}, "rising": rows}}
