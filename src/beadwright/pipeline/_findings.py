"""The findings of a whole plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from beadwright.beads import AS_ASKED
from beadwright.brep import Model
from beadwright.numeric import Finding, counted
from beadwright.pipeline._layer_work import LayerWork
from beadwright.settings import Fill


def plan_findings(
    solid: Model,
    works: Sequence[LayerWork],
    more: Sequence[Finding] = (),
    *,
    fill: Fill,
    strict: bool,
) -> tuple[Finding, ...]:
    """Those of the part, of solids that meet, of inverted pieces, and of each layer.

    Parameters
    ----------
    solid : Model
        Placed, so that places are in machine coordinates.
    works : sequence of LayerWork
    more : sequence of Finding
        Of the whole plan; they come first.
    fill : Fill
        With the limits of coverage.
    strict : bool
        Whether warnings become errors.
    """
    found = [
        *more,
        *solid.findings,
        *_bare(works),
        *_worst_layer(works, lambda work: work.overlap, _overlapping),
        *_worst_layer(works, lambda work: work.shared, _touching),
        *_inverted(works),
        *_coverage(works, fill),
        *_refilled(works),
        *(finding for work in works for finding in work.layer.findings),
    ]
    return tuple(finding.strict() if strict else finding for finding in found)


def _bare(works: Sequence[LayerWork]) -> list[Finding]:
    """A plan that lays nothing at all."""
    if any(work.beads for work in works):
        return []
    text = "no bead fits anywhere: the part is thinner than a bead, or its scale or unit is wrong; nothing is laid"
    return [Finding(code="no-bead", level="warning", text=text)]


def _worst_layer(
    works: Sequence[LayerWork], measure: Callable[[LayerWork], float], told: Callable[[int], Finding]
) -> list[Finding]:
    """One finding for all layers in which something is not 0, with the place where it is greatest."""
    rows = [(measure(work), work.layer.plan.index) for work in works if measure(work) > 0]
    if not rows:
        return []
    most, layer = max(rows, key=lambda row: row[0])
    return [replace(told(len(rows)), layer=layer, measured=most)]


def _coverage(works: Sequence[LayerWork], fill: Fill) -> list[Finding]:
    """At most one finding each for layers that miss more than the limit, overfill more, and are not known."""
    missed, excess, unknown = [], [], []
    for work in works:
        layer = work.layer.plan.index
        if work.coverage is not None:
            missed.append((work.coverage.missed, layer))
            excess.append((work.coverage.excess, layer))
        elif work.layer.region.loops:
            unknown.append(layer)
    found = [
        *_above("underfill", fill.underfill_limit, missed, "of what whole beads could cover is not covered"),
        *_above("overfill", fill.overfill_limit, excess, "more is laid than the area covered takes"),
    ]
    if unknown:
        found.append(
            Finding(
                code="coverage-unknown",
                level="note",
                layer=unknown[0],
                measured=float(len(unknown)),
                text="layers, the first of them told, for which what beads cover could not be had for certain",
            )
        )
    return found


def _refilled(works: Sequence[LayerWork]) -> list[Finding]:
    """One finding for all layers whose fill is not as asked."""
    rows = [(work.refilled, work.layer.plan.index) for work in works if work.refilled]
    if not rows:
        return []
    told = sum((refilled for refilled, _ in rows), AS_ASKED)
    ways = [
        counted(count, f"piece has {what}", f"pieces have {what}")
        for count, what in (
            (told.apart, "lines that are not all joined"),
            (told.turned, "lines at another angle"),
            (told.rings, "contour-parallel beads"),
        )
        if count
    ]
    return [
        Finding(
            code="refilled",
            level="note",
            layer=rows[0][1],
            measured=float(len(rows)),
            text=f"in {counted(len(rows), 'layer')}, the first of them told, lines as asked pass the limits of"
            f" coverage: " + ", ".join(ways),
        )
    ]


def _above(code: str, limit: float, shares: list[tuple[float, int]], text: str) -> list[Finding]:
    """One finding for all layers whose share is above a limit, at the worst."""
    rows = [row for row in shares if row[0] > limit]
    if not rows:
        return []
    share, layer = max(rows, key=lambda row: row[0])
    return [
        Finding(
            code=code,
            level="note",
            layer=layer,
            measured=100 * share,
            allowed=100 * limit,
            unit="percent",
            text=f"{100 * share:.2f} percent {text}; {counted(len(rows), 'layer passes', 'layers pass')} the limit,"
            " this one most",
        )
    ]


def _overlapping(count: int) -> Finding:
    return Finding(
        code="solids-overlap",
        level="warning",
        unit="mm2",
        allowed=0.0,
        text=f"pieces of the part overlap in {counted(count, 'layer')}, here most; they were united",
    )


def _touching(count: int) -> Finding:
    return Finding(
        code="solids-touch",
        level="warning",
        unit="mm",
        allowed=0.0,
        text=f"pieces of the part touch in {counted(count, 'layer')}, here most; they were united",
    )


def _inverted(works: Sequence[LayerWork]) -> list[Finding]:
    """Pieces that wind the wrong way: one finding, at the largest."""
    pieces = [(abs(area), x, y, work.layer.plan) for work in works for area, x, y in work.layer.inverted]
    if not pieces:
        return []
    area, x, y, slab = max(pieces, key=lambda piece: piece[0])
    count = len({each.index for *_, each in pieces})
    return [
        Finding(
            code="inverted",
            level="warning",
            layer=slab.index,
            at_mm=(x, y, slab.z),
            measured=area,
            allowed=0.0,
            unit="mm2",
            text=f"a piece turned inside out is left out in {counted(count, 'layer')}, here most; check the CAD",
        )
    ]
