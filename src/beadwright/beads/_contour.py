"""Contour beads: parallel to the boundary of the layer's region, from the outside in."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from beadwright.arcs import Lost, Offsets, lost, numbered
from beadwright.beads._bead import Bead
from beadwright.beads._even import EvenWall, even_walls, within, without_pieces
from beadwright.beads._gaps import NO_GAPS, Gaps, gaps_of, unclosed
from beadwright.beads._listed import listed
from beadwright.beads._loops import nearest_loop
from beadwright.beads._medial import medial_beads, sounding_of, without_walls
from beadwright.beads._narrow import narrowed
from beadwright.beads._ranks import Ranks, WidthStep
from beadwright.beads._sides import Stretch
from beadwright.beads._thin import thin_places
from beadwright.beads._zones import WallRange, zones
from beadwright.curves import ArcPath, ArcRegion, distances, length, middle_of, signed_area
from beadwright.errors import SettingsError
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding

# What printing with 4 decimals may move a bead by, mm: three units of the last place.
PRINTED = 3e-4
NOTHING = ArcRegion(loops=(), supports=np.zeros((0, 4)))
"""The region without a point."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refilled:
    """What was laid otherwise than asked, to keep within limits.

    Attributes
    ----------
    apart : int
        Pieces whose lines were not all joined.
    turned : int
        Pieces filled by lines at another angle.
    rings : int
        Pieces filled by contour-parallel beads.
    """

    apart: int = 0
    turned: int = 0
    rings: int = 0

    def __add__(self, other: Refilled) -> Refilled:
        """Both together."""
        return Refilled(
            apart=self.apart + other.apart,
            turned=self.turned + other.turned,
            rings=self.rings + other.rings,
        )

    def __bool__(self) -> bool:
        """Whether there is any."""
        return bool(self.apart or self.turned or self.rings)


AS_ASKED = Refilled()
"""Everything was."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerBeads:
    """The beads of one layer, not yet in order.

    Attributes
    ----------
    beads : tuple of Bead
        Rank by rank from the outside in; their order depends on nothing but the layer.
    bound : float
        Greatest proven error of the offsets, mm: it adds to the layer's ``region``.
    findings : tuple of Finding
        ``thin`` for each place that no bead reaches; ``neck`` for each of `lost` that no bead covers; ``wall``
        for each wall that neither one bead nor two can make.
    lost : tuple of Lost
        Places where the true offset curve may go on and the printed one does not: ``neck``, or ``medial``
        where a medial bead takes its place.
    grey : int
        Places where an offset region vanishes within the audit's reach: necks of width 0.
    fallbacks : int
        How often polygons had to stand in for lines and arcs.
    rest : ArcRegion
        What lies inside all contour beads; empty where not all ranks could be laid.
    joined : int
        Lines, ribs and rings inside them, before some were joined into one bead.
    refilled : Refilled
        What was filled otherwise than asked.
    corner : float
        Greatest distance of a rounding from its corner, mm.
    rounded : int
        Corners that were rounded.
    gaps : Gaps
        What lies between beads and no bead can fill; its findings are for those who ask for fill.
    """

    beads: tuple[Bead, ...]
    bound: float
    findings: tuple[Finding, ...]
    lost: tuple[Lost, ...] = ()
    grey: int = 0
    fallbacks: int = 0
    rest: ArcRegion = NOTHING
    joined: int = 0
    refilled: Refilled = AS_ASKED
    corner: float = 0.0
    rounded: int = 0
    gaps: Gaps = NO_GAPS


def contour_beads(
    layer: LayerRegion,
    *,
    width: float,
    height: float,
    spacing: float,
    contours: int,
    steps: Sequence[WidthStep] = (),
    walls: WallRange | None = None,
    tolerance: float = 0.01,
    rounding: float = PRINTED,
    vary: bool = False,
    offsets: Offsets | None = None,
) -> LayerBeads:
    """Lay up to `contours` beads along every loop of the region, holes too.

    The centreline of rank k is the boundary of all points of the region that lie at least
    ``width / 2 + (k - 1) spacing`` inside it (with `steps` see `Ranks`), offset from the region itself, never from
    the bead before. Where that is empty there are no beads of this rank nor of any higher one.

    Parameters
    ----------
    layer : LayerRegion
        What to cover.
    width, height, spacing : float
        Of the beads, mm, above 0; spacing is from centreline to centreline.
    contours : int
        Greatest rank, at least 1.
    steps : sequence of WidthStep
        From which ranks on beads are of another width; what the contour beads leave is of the rank after them.
    walls : WallRange, optional
        Walls that one bead can make are laid as one medial bead along their middle, in place of contour
        beads, and so is what the contour beads leave where one bead fills it; without it a wall thinner than
        one bead is left out and told.
    tolerance : float
        Of the middles of curved walls, mm.
    rounding : float
        What printing may move a bead by, mm: about three units of the last place.
    vary : bool
        Whether the flow can change inside a bead: then widths follow the walls, and beads of walls of two or
        three share what the wall leaves them. Not with `steps`: only beads that are alike can share.
    offsets : Offsets, optional
        Of the layer's region, where others ask for some of the same.

    Returns
    -------
    LayerBeads
        Material on the left of every contour bead. A place that no bead reaches is a finding, and so is a
        neck that is there or not within the bounds so far, so that a bead of the true region may be missing;
        with `walls` also a wall too thick for one bead and too thin for two.

    Raises
    ------
    SettingsError
        If a measure is not above 0.
    """
    check_sizes(width=width, height=height, spacing=spacing, contours=contours)
    beads: list[Bead] = []
    medial: list[Bead] = []
    outermost: tuple[ArcPath, ...] = ()
    places: list[Lost] = []
    findings: list[Finding] = []
    even: list[ArcRegion] = []
    gaps, thick = NO_GAPS, tuple[Bead, ...]()
    bound, grey, fallbacks = 0.0, 0, 0
    vary = vary and not steps
    ranks = Ranks(width=width, spacing=spacing, steps=steps)
    offset_by, marked = offsets or Offsets(layer.region), numbered(layer.region)
    for rank in range(1, contours + 1 + (walls is not None)):
        own, inside, distance = ranks.width_of(rank), ranks.inside(rank), ranks.offset(rank)
        middle: tuple[Bead, ...] = ()
        sides: tuple[Stretch, ...] = ()
        evened: tuple[EvenWall, ...] = ()
        by_number = None
        taken: list[tuple[tuple[Bead, ...], float]] = []
        if walls is not None:
            limits = ranks.walls_of(rank, walls)
            if vary and rank <= contours:
                by_number = zones(
                    limits, width=own, spacing=ranks.spacing_of(rank), last=rank == contours,
                    beyond=ranks.walls_of(rank + 1, walls),
                )  # fmt: skip
            # What the ranks so far leave, cut into walls and the rest.
            whole = offset_by(inside)
            rest = without_pieces(whole.region, even)
            sounding = sounding_of(rest, limits) if by_number is None else None
            if rank > 1 and not vary:
                gaps += gaps_of(
                    rest, layer, below=limits.least, width=own, tolerance=tolerance, sounding=sounding
                )
            if rank <= contours:
                evened = even_walls(
                    layer.region, rest, limits, depth=inside, width=own,
                    spacing=ranks.spacing_of(rank), tolerance=tolerance,
                )  # fmt: skip
                even += [each.piece for each in evened]
                rest = without_pieces(rest, even)
                bound = max([bound, *(each.bound for each in evened)])
                fallbacks += sum(each.fallbacks for each in evened)
            made = medial_beads(
                layer, rest, limits, rank=rank, inside=inside, width=own,
                height=height, tolerance=tolerance, zones=by_number,
                sounding=None if evened else sounding,
            )  # fmt: skip
            sides = made.sides
            if by_number is not None:
                gaps += unclosed(layer, sides, by_number, depth=inside, width=own, tolerance=tolerance)
            middle, bound = made.beads, max(bound, whole.bound.mm)
            taken = [(had, most) for had, most in ((thick, limits.two), (middle, limits.most)) if had]
            thick = made.thick
            fallbacks += whole.fallbacks
            medial += middle
            findings += made.findings
        if rank > contours:
            break
        inner = offset_by(distance)
        bound = max(bound, inner.bound.mm)
        grey, fallbacks = grey + inner.grey, fallbacks + inner.fallbacks
        error = layer.budget.total + inner.bound.mm + rounding
        places += [
            place
            for place in lost(layer.region, distance=distance, error=error, marked=marked)
            if place.kind == "neck"
        ]
        if not inner.region.loops:
            break
        uneven = without_pieces(inner.region, even)
        paths = uneven.loops
        places += _in_even_walls(inner.region.loops, even[: len(even) - len(evened)], width=own)
        if taken:
            kept = without_walls(layer.region, uneven, taken, inside=inside, width=own)
            paths, bound = kept.paths, max(bound, inner.bound.mm + kept.bound)
            fallbacks += kept.fallbacks
            places += kept.lost
        shared: tuple[Bead, ...] = ()
        if by_number is not None and sides:
            narrow = narrowed(
                paths, sides, by_number, rank=rank, inside=inside, width=own,
                height=height, tolerance=tolerance,
            )  # fmt: skip
            paths, shared = narrow.paths, narrow.beads
            places += narrow.lost
        lines = [(path, own, distance) for path in paths]
        lines += [(path, each.width, inside + each.width / 2) for each in evened for path in each.paths]
        if rank == 1:
            outermost = (*(path for path, _, _ in lines), *(bead.path for bead in shared))
        for place, bead in enumerate(shared, len(lines)):
            beads.append(replace(bead, loop=place if rank == 1 else nearest_loop(bead.path, outermost)))
        for place, (path, wide, deep) in enumerate(lines):
            loop = path if path.closed else inner.region.loops[nearest_loop(path, inner.region.loops)]
            beads.append(
                Bead(
                    path=path,
                    role="contour",
                    rank=rank,
                    loop=place if rank == 1 else nearest_loop(path, outermost),
                    hole=signed_area(loop) < 0,
                    offset=deep,
                    width=wide,
                    height=height,
                )
            )
    else:
        rank = contours + 1
    left = offset_by(ranks.inside(contours + 1)) if rank > contours else None
    rest = NOTHING if left is None else without_pieces(left.region, even)
    if vary and walls is not None and rest.loops:
        # Beads that share a wall lie in it too.
        least = ranks.walls_of(contours + 1, walls).least
        filled = gaps_of(rest, layer, below=least, width=width, tolerance=tolerance)
        rest, more, off = filled.taken_from(rest)
        bound, fallbacks = max(bound, off), fallbacks + filled.fallbacks + more
    beads += _in_loops(medial, outermost)
    first = [bead for bead in beads if bead.rank == 1]
    findings += thin_places(layer.region, first, width=width, layer=layer.plan.index, z=layer.plan.z)
    findings += [
        _neck(place, layer) for place in places if place.kind == "neck" and not _covered(place, medial)
    ]
    return LayerBeads(
        beads=tuple(beads),
        bound=bound,
        findings=tuple(findings),
        lost=tuple(places),
        grey=grey,
        fallbacks=fallbacks + gaps.fallbacks + (0 if left is None or walls is not None else left.fallbacks),
        rest=rest,
        gaps=gaps,
    )


def _in_even_walls(loops: Sequence[ArcPath], pieces: Sequence[ArcRegion], *, width: float) -> list[Lost]:
    """Lines of a rank for which pieces have room where they are thicker than the even wall that two beads fill."""
    return [
        Lost(kind="even", at=middle_of(path), length=length(path), width=width, along=listed(path))
        for piece in pieces
        for path in within(loops, piece)
    ]


def _in_loops(medial: Sequence[Bead], outermost: Sequence[ArcPath]) -> list[Bead]:
    """Medial beads with their loops: those between contour beads share theirs, each other has its own."""
    loops = itertools.count(len(outermost))
    return [
        replace(
            bead, loop=next(loops) if bead.rank == 1 or not outermost else nearest_loop(bead.path, outermost)
        )
        for bead in medial
    ]


def _covered(place: Lost, medial: Sequence[Bead]) -> bool:
    """Whether a medial bead runs through a neck: then no bead is missing there."""
    at = np.array([place.at])
    return any(distances([bead.path], at)[0] <= max(place.length, place.width) / 2 for bead in medial)


def _neck(place: Lost, layer: LayerRegion) -> Finding:
    """The finding for a place where a bead of the true region may be missing."""
    return Finding(
        code="neck",
        level="warning",
        layer=layer.plan.index,
        at_mm=(*place.at, layer.plan.z),
        measured=place.width,
        unit="mm",
        text=f"a neck {place.length:.1f} mm long is so nearly two offsets wide that a bead may not fit",
    )


def check_sizes(**sizes: float) -> None:
    """Raise SettingsError for a measure that is not above 0."""
    for name, size in sizes.items():
        if not (math.isfinite(size) and size > 0):
            msg = f"{name} must be above 0, not {size}"
            raise SettingsError(msg)
