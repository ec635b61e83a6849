"""What is found by looking at the beads of all layers: corners, bends, and closed hollow spaces."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from beadwright.beads import Bead, Corner, Tight, Voids, sharpest_corner, tightest_bend
from beadwright.layers import LayerPlan
from beadwright.numeric import Finding, counted
from beadwright.pipeline._layer_beads import ranks_of
from beadwright.pipeline._layer_work import LayerWork
from beadwright.post import Dialect
from beadwright.settings import PlanSettings

# A corner missed by less than this is none, mm.
LEAST = 0.05


class Seen:
    """What is seen in the beads of each layer as it is laid, beside the workers that make the next ones.

    Parameters
    ----------
    amounts : mapping of int to float
        Stock of each face that has any, mm: a corner is missed where the beads fall short of it by more.
    """

    def __init__(self, amounts: Mapping[int, float]) -> None:
        self._amounts = amounts
        self._voids = Voids()
        self._missed: list[tuple[float, float, Corner, LayerPlan]] = []
        self._bends: list[tuple[Tight, float, LayerPlan]] = []

    def add(self, work: LayerWork) -> None:
        """Look at the next layer, its beads in their order."""
        plan, region = work.layer.plan, work.layer.region
        self._voids.add(plan.index, plan.z, plan.height, region, work.hollow)
        corner, bend = sharpest_corner(region, work.beads), tightest_bend(work.beads)
        if corner is not None:
            stock = min(self._amounts.get(face, 0.0) for face in corner.faces)
            if corner.shortfall > stock + LEAST:
                self._missed.append((corner.shortfall, stock, corner, plan))
        if bend is not None:
            self._bends.append((bend, max(bead.width for bead in work.beads), plan))

    def findings(self) -> tuple[Finding, ...]:
        """Those of closed hollow spaces; at most one ``corner`` and one ``tight-bend``, each at the worst place."""
        return (*self._voids.findings(), *_corner_findings(self._missed, self._bends))


def widths_follow(settings: PlanSettings, dialect: Dialect) -> bool:
    """Whether widths may change inside a bead: on a platform's map the speed has the thickness to follow."""
    return dialect.varies and not (dialect.by_speed and settings.bed_map is not None)


def _corner_findings(
    missed: Sequence[tuple[float, float, Corner, LayerPlan]], bends: Sequence[tuple[Tight, float, LayerPlan]]
) -> tuple[Finding, ...]:
    """Of corners with what they are missed by and their stock, and of bends with their bead's width, the worst."""
    found = []
    if missed:
        short, stock, corner, plan = max(missed, key=lambda row: row[0] - row[1])
        found.append(
            Finding(
                code="corner",
                level="note",
                layer=plan.index,
                at_mm=(*corner.at, plan.z),
                face=corner.faces[1] if corner.faces[1] >= 0 else None,
                measured=short,
                allowed=stock,
                unit="mm",
                text=f"the bead's round edge falls {short:.2f} mm short of a corner of"
                f" {math.degrees(corner.angle):.0f} degrees; so in {counted(len(missed), 'layer')}, here most: where"
                " the corner must be sharp, leave that much stock and machine it",
            )
        )
    if bends:
        bend, width, plan = min(bends, key=lambda row: row[0].radius)
        found.append(
            Finding(
                code="tight-bend",
                level="note",
                layer=plan.index,
                at_mm=(*bend.at, plan.z),
                measured=bend.radius,
                allowed=width / 2,
                unit="mm",
                text=f"a centreline bends with a radius of {bend.radius:.2f} mm, below half a bead: material piles"
                f" up inside the bend; so in {counted(len(bends), 'layer')}, here most",
            )
        )
    return tuple(found)


def width_findings(
    works: Sequence[LayerWork], settings: PlanSettings, dialect: Dialect
) -> tuple[Finding, ...]:
    """At most one note: beads narrower or wider than nominal on a machine that cannot follow.

    Parameters
    ----------
    works : sequence of LayerWork
    settings : PlanSettings
    dialect : Dialect
        How the extruder is commanded.
    """
    flow, ranks = dialect.flow, ranks_of(settings)
    if widths_follow(settings, dialect):
        return ()
    # A flow tied to the speed knows one area; else each bead has that of its own role.
    tied = flow == "speed-tied"
    count = all_beads = 0
    worst: tuple[float, Bead, LayerPlan] | None = None
    for work in works:
        all_beads += len(work.beads)
        for bead in work.beads:
            if tied or bead.role == "medial":
                apart = abs(bead.width - (settings.width if tied else ranks.width_of(bead.rank)))
                count += apart > LEAST
                if apart > (LEAST if worst is None else worst[0]):
                    worst = apart, bead, work.layer.plan
    if worst is None:
        return ()
    _, bead, plan = worst
    if tied:
        text = (
            f"{count} of {all_beads} beads are narrower or wider than nominal, this one most; the flow follows"
            " the path speed by itself, so every bead gets the nominal area unless you set the drive's ratio by"
            " hand: a program that commands the flow (flow_control s-word or axis) sees to it"
        )
    else:
        text = (
            f"{count} beads along walls have one width each, this one farthest from nominal: the flow cannot"
            " change inside a bead; with an extruder axis, or a screw speed that the program commands, widths follow"
            " the wall (on a platform's map only with an axis)"
        )
    return (
        Finding(
            code="width-fixed",
            level="note",
            layer=plan.index,
            at_mm=(*bead.start, plan.z),
            measured=bead.width,
            allowed=settings.width if tied else ranks.width_of(bead.rank),
            unit="mm",
            text=text,
        ),
    )
