"""In which order the beads of a layer are laid, and where each starts.

*Order.* Base beads beside the part come before all others. Then contour, wall and medial beads, then what lies
inside them. From where the nozzle stands, the nearest bead comes next (nearest neighbour). The ranks of one loop
stay together: outermost first (the better face; the default) or innermost first (it carries a leaning outer bead).
The order of fill, ribs and decks is then made shorter (`shortened`).

*Start points.* A closed bead starts at least three bead widths from every start point of the two layers
below, so closures do not stand above each other; where a bead is too short for that, of the one layer
below; where it is too short even for that, as far from them as it allows, which is a finding. Among the
places left it keeps clear of the start points of its own layer, then prefers an inside corner, then the
place nearest to the nozzle. A `SiteRule` asks for other distances, for start points as far apart as may be or
above each other, and for faces to start on or to keep off, which come before all else. Open beads start at
the nearer end, but for contour beads, which keep the material on their left.

One pass over the layers in their order: a `Trail` carries what the next layer must know, so the beads
themselves can be made by any number of workers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from beadwright.beads._bead import Bead, Order
from beadwright.beads._shorten import nearest_order, shortened
from beadwright.beads._start import Sites, cut_bound, sites, started_at
from beadwright.curves import reversed_path
from beadwright.numeric import Finding, counted

Points = npt.NDArray[np.float64]

# Bead widths between start points of neighbouring layers: at most 2 to 3 are asked for in practice.
STAGGER_WIDTHS = 3.0
# Layers below whose start points are kept clear of, so that two sites do not simply alternate.
REMEMBERED = 2
# What lies inside the contour beads is laid after them.
INSIDE = frozenset({"fill", "rib", "deck"})


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteRule:
    """Where closed beads start.

    Attributes
    ----------
    kind : {"corner", "spread", "line"}
        At an inside corner, staggered; as far as may be from the start points below; above them.
    stagger : float
        Bead widths that start points keep from those below.
    on, off : frozenset of int
        Faces along which a bead starts, or does not, where it has the choice.
    """

    kind: Literal["corner", "spread", "line"] = "corner"
    stagger: float = STAGGER_WIDTHS
    on: frozenset[int] = frozenset()
    off: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trail:
    """What the layers below leave for the next one.

    Attributes
    ----------
    end : (2,) float or None
        Where the nozzle stands, mm; None before the first bead.
    starts : tuple of (k, 2) float
        Start points of closed beads, of the layer just below first.
    """

    end: Points | None = None
    starts: tuple[Points, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arranged:
    """Beads in their order, each from its start point.

    Attributes
    ----------
    beads : tuple of Bead
        In the order in which they are laid.
    trail : Trail
        For the next layer.
    bound : float
        How far cutting the paths at their start points may have moved them, by rounding alone, mm.
    findings : tuple of Finding
        ``closure`` where start points of neighbouring layers are nearer than asked, at most one a layer.
    """

    beads: tuple[Bead, ...]
    trail: Trail
    bound: float
    findings: tuple[Finding, ...]


ANYWHERE = SiteRule()


def arrange(
    beads: Sequence[Bead],
    trail: Trail,
    *,
    layer: int,
    z: float,
    order: Order = "outer",
    rule: SiteRule = ANYWHERE,
    groups: Sequence[int] | None = None,
    restart: bool = False,
) -> Arranged:
    """Order the beads of one layer and choose their start points.

    Parameters
    ----------
    beads : sequence of Bead
        Of one layer, in any order that does not depend on who made them.
    trail : Trail
        Of the layers below; ``Trail()`` for the first.
    layer : int
        Index of the layer, for findings.
    z : float
        Height of the layer, mm, for findings.
    order : {"outer", "inner"}
        Which rank of a loop comes first.
    rule : SiteRule
        Where closed beads start.
    groups : sequence of int, optional
        For each bead the part that it belongs to: all of one part are laid before the next
        part begins, in the order of their numbers.
    restart : bool
        Whether the extruder stood before the layer: what lies inside comes first then, and the outermost bead last,
        so that the first bead, which is the worst, is not seen.

    Returns
    -------
    Arranged
        Every bead exactly once. The same input gives the same output.
    """
    place = trail.end
    laid: list[Bead] = []
    sites = _Sites(below=trail.starts, rule=rule)
    for own in _grouped(beads, groups):
        laid += _of_group(
            own, np.array(laid[-1].end) if laid else place, order, sites, restart=restart and not laid
        )
    if laid:
        place = np.array(laid[-1].end)
    return Arranged(
        beads=tuple(laid),
        trail=Trail(end=place, starts=(np.array(sites.own).reshape(-1, 2), *trail.starts)[:REMEMBERED]),
        bound=max((cut_bound(bead.path) for bead in laid if bead.closed), default=0.0),
        findings=(_closure(sites.close, layer, z, rule.stagger),)
        if sites.close and rule.kind != "line"
        else (),
    )


@dataclass(slots=True, eq=False)
class _Sites:
    """State local to one layer: its start points so far, and those too near to one below."""

    below: tuple[Points, ...]
    rule: SiteRule
    own: list[tuple[float, float]] = field(default_factory=list)
    close: list[tuple[float, Bead]] = field(default_factory=list)


def _grouped(beads: Sequence[Bead], groups: Sequence[int] | None) -> list[list[Bead]]:
    """The beads of each part, by its number: the same order in every layer, so that all have as long to cool."""
    if groups is None:
        return [list(beads)]
    waiting: dict[int, list[Bead]] = {}
    for bead, group in zip(beads, groups, strict=True):
        waiting.setdefault(group, []).append(bead)
    return [waiting[group] for group in sorted(waiting)]


def _of_group(
    beads: Sequence[Bead], place: Points | None, order: Order, sites: _Sites, *, restart: bool
) -> list[Bead]:
    """Beads in their order, each from its start point: outer ones, then what lies inside them; or the other way."""
    foot = [bead for bead in beads if bead.role == "base"]
    if foot and len(foot) < len(beads):
        laid = _of_group(foot, place, order, sites, restart=False)
        others = [bead for bead in beads if bead.role != "base"]
        return laid + _of_group(others, np.array(laid[-1].end), order, sites, restart=restart)
    outer = [bead for bead in beads if bead.role not in INSIDE]
    inside = [bead for bead in beads if bead.role in INSIDE]
    waiting = _Waiting(outer, "inner" if restart else order)
    laid = _inner(inside, place) if restart else []
    if laid:
        place = np.array(laid[-1].end)
    while (chosen := waiting.take(place)) is not None:
        bead = outer[chosen]
        if bead.closed:
            bead, kept = _started(bead, place, sites.below, sites.own, sites.rule)
            sites.own.append(bead.start)
            if kept < sites.rule.stagger * bead.width:
                sites.close.append((kept, bead))
        elif (
            bead.role != "contour"
            and place is not None
            and _is_nearer(bead.path.points[-1], bead.path.points[0], place)
        ):
            bead = replace(bead, path=reversed_path(bead.path))
        laid.append(bead)
        place = np.array(bead.end)
    return laid + ([] if restart else _inner(inside, place))


def _inner(beads: Sequence[Bead], place: Points | None) -> list[Bead]:
    """Fill, ribs and decks in an order of short traverses, each from its nearer end."""
    if not beads:
        return []
    ends = np.array([[bead.start, bead.end] for bead in beads])
    order, turned = shortened(ends, *nearest_order(ends, place), place)
    return [
        replace(beads[row], path=reversed_path(beads[row].path)) if back else beads[row]
        for row, back in zip(order.tolist(), turned.tolist(), strict=True)
    ]


class _Waiting:
    """State local to one layer: the beads that are still to be laid."""

    def __init__(self, beads: Sequence[Bead], order: Order) -> None:
        sign = 1 if order == "outer" else -1
        rows = sorted(range(len(beads)), key=lambda i: (sign * beads[i].rank, i))
        self.loops: dict[int, list[list[int]]] = {}
        for row in rows:
            ranks = self.loops.setdefault(beads[row].loop, [])
            if ranks and beads[ranks[-1][0]].rank == beads[row].rank:
                ranks[-1].append(row)
            else:
                ranks.append([row])
        self.joints = [b.path.points if b.closed else b.path.points[[0, -1]] for b in beads]
        # Joints of the beads with which a loop can be begun, as one table.
        entries = sorted(row for ranks in self.loops.values() for row in ranks[0])
        self.entry = np.concatenate([np.zeros((0, 2)), *(self.joints[i] for i in entries)])
        loops = np.array([beads[i].loop for i in entries], np.int64)
        self.entry_loop = np.repeat(loops, [len(self.joints[i]) for i in entries])
        self.begun: list[list[int]] = []

    def take(self, place: Points | None) -> int | None:
        """Row of the bead that comes next, or None: of the loop begun, else of the nearest loop."""
        if not self.begun and not self._begin(place):
            return None
        ready = self.begun[0]
        row = min(ready, key=lambda i: _far(self.joints[i], place))
        ready.remove(row)
        if not ready:
            del self.begun[0]
        return row

    def _begin(self, place: Points | None) -> bool:
        """Begin the loop with the nearest joint, at the very start the first; False if none is left."""
        if not len(self.entry):
            return False
        nearest = 0 if place is None else int(np.argmin(np.hypot(*(self.entry - place).T)))
        loop = int(self.entry_loop[nearest])
        self.begun = self.loops.pop(loop)
        kept = self.entry_loop != loop
        self.entry, self.entry_loop = self.entry[kept], self.entry_loop[kept]
        return True


def _far(joints: Points, place: Points | None) -> float:
    """Distance of the nearest joint from the nozzle; 0 where that stands nowhere yet."""
    return 0.0 if place is None else float(np.hypot(*(joints - place).T).min())


def _is_nearer(a: Points, b: Points, place: Points) -> bool:
    """Whether a is nearer to a place than b."""
    return bool(np.hypot(*(a - place)) < np.hypot(*(b - place)))


def _started(
    bead: Bead,
    place: Points | None,
    below: tuple[Points, ...],
    own: list[tuple[float, float]],
    rule: SiteRule,
) -> tuple[Bead, float]:
    """The bead from its start point, and that point's distance from the start points of the layer below."""
    apart = rule.stagger * bead.width
    found = sites(bead.path, offset=bead.offset, spacing=bead.width)
    near = [_clearance(found, points, max(apart, bead.width)) for points in below]
    good = _on_faces(bead, found, rule)
    if rule.kind == "line":
        return _in_line(bead, found, good, place, below)
    if near:
        if (near[0][good] >= apart).any():
            good = good & (near[0] >= apart)
        else:
            good = good & (near[0] == near[0][good].max())
    tidy = [*near[1:], _clearance(found, np.array(own).reshape(-1, 2), apart)]
    for wish in [clear >= apart for clear in tidy] + [found.inside]:
        good = good & wish if (good & wish).any() else good
    rows = np.flatnonzero(good)
    if rule.kind == "spread" and any(map(len, below)):
        points = np.concatenate(below)
        far = np.hypot(*(found.at[rows, None] - points[None]).transpose(2, 0, 1)).min(axis=1)
        row = rows[np.argmax(far)]
    else:
        row = rows[0] if place is None else rows[np.argmin(np.hypot(*(found.at[rows] - place).T))]
    path = started_at(bead.path, int(found.move[row]), float(found.share[row]))
    return replace(bead, path=path), float(near[0][row]) if near else np.inf


def _on_faces(bead: Bead, found: Sites, rule: SiteRule) -> npt.NDArray[np.bool_]:
    """Sites along faces to start on and not along those to keep off, as far as there are any."""
    good = np.ones(len(found.at), bool)
    face = bead.path.face[found.move]
    # A joint lies on the face before it too.
    before = np.where(found.share == 0.0, bead.path.face[found.move - 1], face)
    if rule.on:
        wish = np.isin(face, list(rule.on)) & np.isin(before, list(rule.on))
        good = wish if wish.any() else good
    if rule.off:
        wish = good & ~np.isin(face, list(rule.off)) & ~np.isin(before, list(rule.off))
        good = wish if wish.any() else good
    return good


def _in_line(
    bead: Bead,
    found: Sites,
    good: npt.NDArray[np.bool_],
    place: Points | None,
    below: tuple[Points, ...],
) -> tuple[Bead, float]:
    """The bead from the site nearest to a start point of the layer below, else at an inside corner."""
    last = below[0] if below else np.zeros((0, 2))
    if len(last):
        far = np.hypot(*(found.at[:, None] - last[None]).transpose(2, 0, 1)).min(axis=1)
        row = int(np.argmin(np.where(good, far, np.inf)))
    else:
        good = good & found.inside if (good & found.inside).any() else good
        rows = np.flatnonzero(good)
        row = int(rows[0] if place is None else rows[np.argmin(np.hypot(*(found.at[rows] - place).T))])
    path = started_at(bead.path, int(found.move[row]), float(found.share[row]))
    return replace(bead, path=path), np.inf


def _clearance(found: Sites, points: Points, reach: float) -> npt.NDArray[np.float64]:
    """Distance of each site from the nearest of some points; infinite where none is within `reach`."""
    low, high = found.at.min(axis=0) - reach, found.at.max(axis=0) + reach
    points = points[((points >= low) & (points <= high)).all(axis=1)]
    if not len(points):
        return np.full(len(found.at), np.inf)
    apart = found.at[:, None, :] - points[None, :, :]
    return np.asarray(np.hypot(apart[..., 0], apart[..., 1]).min(axis=1))


def _closure(close: list[tuple[float, Bead]], layer: int, z: float, stagger: float) -> Finding:
    """One finding for all beads of a layer that start too near to a start point below."""
    kept, bead = min(close, key=lambda pair: pair[0])
    return Finding(
        code="closure",
        level="note",
        layer=layer,
        at_mm=(*bead.start, z),
        measured=kept,
        allowed=stagger * bead.width,
        unit="mm",
        text=f"{counted(len(close), 'bead has', 'beads have')} no place to start that far from the start points of"
        " the layer below",
    )
