"""Beads along the middle of walls that are about one bead thick.

A wall whose thickness lies within the range that one bead can take is laid as one medial bead, whose width
is what the wall leaves it. Where the flow can change inside a bead the width follows the wall (`stepped`). Where it
cannot, a bead has one width, twice the least distance of its centreline from the boundary, in closed form; a wall
whose thickness changes is several beads then, end to end. Contour beads are taken out where a medial bead takes their
place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs import Lost, offset, subtract
from beadwright.beads._along import along
from beadwright.beads._axis import Sounded, sounded
from beadwright.beads._bead import Bead
from beadwright.beads._curve import clearance, runs_of
from beadwright.beads._ends import to_wall_end
from beadwright.beads._listed import listed, spaced
from beadwright.beads._middle import Middle, free_ends, split, turned, with_limit
from beadwright.beads._sides import Stretch, stretches
from beadwright.beads._vary import stepped, varied_bead
from beadwright.beads._zones import WallRange, Zones
from beadwright.curves import (
    ArcPath,
    ArcRegion,
    chord_runs,
    inside,
    length,
    lengths,
    middle_of,
    signed_area,
    winding,
)
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding

Floats = npt.NDArray[np.float64]

# Room for rounding where a wall is exactly as thick as a limit says, mm.
SLACK = 1e-6
# Widths of neighbouring beads of one wall differ by this share of the nominal width, and each bead is at
# least this many widths long.
STEP, RUN = 0.05, 4.0
# Bead widths below which a middle is a corner or a junction, not a wall.
SHORT = 1.0
# Bead widths that a medial bead may cross where a wall is too thick for it, as where walls meet.
BRIDGE = 2.0
# Share of the tolerance of arcs by which a bead may lie off the middle: its width loses twice that.
SHARE = 0.25
# Face of the caps that close what is left of contour beads, while they are computed.
CAP = -7
# The contract prints widths of medial beads to this place, mm, far below the bounds.
PLACES = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Medial:
    """Medial beads of a layer, and what they leave to others.

    Attributes
    ----------
    beads : tuple of Bead
        Of role ``medial``, each of one width, not yet given to loops.
    findings : tuple of Finding
        ``wall`` for each wall too thick for one bead and too thin for two.
    sides : tuple of Stretch
        Of walls whose beads share what the wall leaves them; none where widths may not vary.
    thick : tuple of Bead
        Those between two widened ones, where contour beads of the next rank would find room too.
    """

    beads: tuple[Bead, ...]
    findings: tuple[Finding, ...]
    sides: tuple[Stretch, ...] = ()
    thick: tuple[Bead, ...] = ()


def medial_beads(
    layer: LayerRegion,
    region: ArcRegion,
    limits: WallRange,
    *,
    rank: int,
    inside: float,
    width: float,
    height: float,
    tolerance: float,
    zones: Zones | None = None,
    sounding: Sounded | None = None,
) -> Medial:
    """Lay one bead along the middle of every wall that one bead can make.

    Parameters
    ----------
    layer : LayerRegion
        For its place in the build.
    region : ArcRegion
        What to cover: that of the layer, or what its contour beads leave.
    limits : WallRange
        Of walls made by one bead and by two.
    rank : int
        Of the beads; only walls of the layer itself, rank 1, can be findings.
    inside : float
        How far inside the layer's region that to cover lies, mm.
    width, height : float
        Nominal, of the bead, mm.
    tolerance : float
        Of the lines and arcs that stand for the middle of a curved wall, mm: a bead may lie a quarter of
        that off the middle, and its width is measured where it lies.
    zones : Zones, optional
        Numbers of beads by thickness, where the flow can change inside a bead: widths follow the wall then, and
        the middle one of three beads is laid too.
    sounding : Sounded, optional
        Of `region`, as `sounding_of` makes it, where others use it too.
    """
    fine = tolerance * SHARE
    sounding = sounding or sounding_of(region, limits, zones)
    if sounding is None:
        return Medial(beads=(), findings=())
    cuts = {limits.most, limits.two, *(() if zones is None else zones.cuts)}
    found = sounding.walls(
        least=limits.least / 2 - SLACK,
        most=sounding.most,
        tolerance=fine,
        limits=tuple(cut / 2 for cut in sorted(cuts) if limits.least < cut < 2 * sounding.most),
    )
    beads: list[Bead] = []
    thick: list[Bead] = []
    findings: list[Finding] = []
    lines = found.middles()
    tips, radii = free_ends(lines, limits.least, limits.two if zones is None else zones.top)
    overlap = 2 * limits.least - limits.two
    # A bead at the wall's end fills up to where contour beads beside it do; between others it meets the one across.
    end = overlap / 2 if rank == 1 else 0.0

    def ended(bead: Bead, kind: int) -> Bead:
        across = end if kind == 1 else bead.width - overlap
        return to_wall_end(
            bead, tips, radii, region, across=across, inset=end if kind == 1 else 0.0, slack=2 * fine
        )

    for line in lines:
        for kind, part in _parts(line, limits, width, zones):
            if kind == 2:
                if rank == 1:
                    findings += _between(part, limits, layer)
                continue
            if zones is not None and kind:
                bead = _varied(
                    part, kind, zones, rank, inside, width=width, height=height, fine=fine, room=2 * tolerance
                )
                bead = ended(bead, kind)
                beads.append(bead)
                if kind > 1 and 2 * part.radius.max() > zones.widened:
                    thick.append(bead)
                continue
            for piece in _pieces(part, limits, width) if kind else ():
                path, _ = along(piece.at, piece.corner, closed=piece.closed, tolerance=fine)
                # What lines and arcs cut off a corner's middle must not make the bead too narrow to hold.
                clear = own = min(round(2 * clearance(path, region, reach=limits.most), PLACES), limits.most)
                if rank > 1:
                    # Between contour beads as much may lie on them as stays open.
                    own = min(max(own, round(_mean(piece), PLACES)), limits.most)
                bead = Bead(
                    path=path,
                    role="medial",
                    rank=rank,
                    loop=0,
                    hole=False,
                    offset=inside + clear / 2,
                    width=own,
                    height=height,
                )
                beads.append(ended(bead, 1))
    kept = [bead for bead in beads if bead.width >= limits.least - 10.0**-PLACES - 2 * fine]
    return Medial(
        beads=tuple(kept),
        findings=tuple(findings),
        sides=() if zones is None else stretches(found, limits.most / 2 + SLACK),
        thick=tuple(thick),
    )


def sounding_of(region: ArcRegion, limits: WallRange, zones: Zones | None = None) -> Sounded | None:
    """Places on a region's boundary from which its medial beads are found."""
    thick = limits.two if zones is None else max(limits.two, zones.top)
    return sounded(region, most=thick / 2 - SLACK, step=limits.least / 2)


def _varied(
    part: Middle,
    kind: int,
    zones: Zones,
    rank: int,
    inside: float,
    *,
    width: float,
    height: float,
    fine: float,
    room: float,
) -> Bead:
    """The bead along a middle, of as many as `kind` side by side, whose width follows the wall."""
    path, at = along(part.at, part.corner, closed=part.closed, tolerance=fine)
    path, widths = stepped(path, at, zones.shared(2 * part.radius, kind), width=width, room=room)
    return varied_bead(path, widths, rank=rank, inside=inside, height=height)


def _length(at: Floats) -> float:
    return float(np.hypot(*np.diff(at, axis=0).T).sum())


def _mean(line: Middle) -> float:
    """Mean thickness of a wall along its middle, mm."""
    run = np.hypot(*np.diff(line.at, axis=0).T)
    return float(run @ (line.radius[1:] + line.radius[:-1]) / run.sum())


def _runs(label: npt.NDArray[np.int64]) -> list[tuple[int, int]]:
    """First and last row of each run of equal labels."""
    cuts = np.flatnonzero(np.diff(label)) + 1
    return [(int(rows[0]), int(rows[-1])) for rows in np.split(np.arange(len(label)), cuts)]


def _parts(line: Middle, limits: WallRange, width: float, zones: Zones | None) -> list[tuple[int, Middle]]:
    """Parts of a middle by how many beads make the wall there; 2 stands for less than two can, 0 for contour beads."""
    cuts = (limits.most,) if zones is None else zones.cuts
    for cut in cuts:
        line = with_limit(line, cut / 2)
    # A point on a limit belongs to the thinner side.
    thick = 2 * (line.radius - SLACK)
    label = np.searchsorted(cuts, thick, side="right")
    runs = _runs(label)
    for first, last in runs[1:-1]:
        thinner = (label[first - 1] == 0) & (label[last + 1] == 0)
        if label[first] and thinner and _length(line.at[first - 1 : last + 2]) <= BRIDGE * width:
            label[first : last + 1] = 0
    number = np.asarray((1, 2) if zones is None else zones.beads)[label]
    return [
        (kind, part) for kind, part in split(line, number, thinner=True) if _length(part.at) >= SHORT * width
    ]


def _pieces(line: Middle, limits: WallRange, width: float) -> list[Middle]:
    """A middle cut into pieces of one width each: levels a share of the width apart, none too short."""
    level = np.floor((2 * line.radius - limits.least) / (STEP * width) + SLACK).astype(np.int64)
    top = int(np.floor((limits.most - limits.least) / (STEP * width)))
    level = np.clip(level, 0, top)
    if line.closed and (level != level[0]).any():
        # No level is cut in two by where the line happens to begin.
        first = int(np.flatnonzero(np.diff(level))[0]) + 1
        line, level = (
            replace(turned(line, first), closed=False),
            np.append(np.roll(level[:-1], -first), level[first - 1]),
        )
    run = chord_runs(line.at)
    while len(cuts := np.flatnonzero(np.diff(level))):
        begins, ends = np.append(0, cuts + 1), np.append(cuts, len(level) - 1)
        long = run[ends] - run[np.maximum(begins - 1, 0)]
        short = int(np.argmin(long))
        if long[short] >= RUN * width:
            break
        beside = [i for i in (short - 1, short + 1) if 0 <= i < len(begins)]
        near = min(beside, key=lambda i: abs(int(level[begins[i]]) - int(level[begins[short]])))
        both = slice(min(begins[near], begins[short]), max(ends[near], ends[short]) + 1)
        level[both] = level[both].min()
    return [part for _, part in split(line, level)]


def _between(part: Middle, limits: WallRange, layer: LayerRegion) -> list[Finding]:
    """The finding for a wall that neither one bead nor two can make."""
    part = with_limit(part, limits.two / 2)
    found = []
    for thin, own in split(part, (part.radius <= limits.two / 2 + SLACK).astype(np.int64), thinner=True):
        thick = 2 * own.radius
        if not thin or thick.min() > limits.two - SLACK:
            continue
        x, y = own.at[int(np.argmin(thick))]
        found.append(
            Finding(
                code="wall",
                level="warning",
                layer=layer.plan.index,
                at_mm=(float(x), float(y), layer.plan.z),
                measured=round(float(thick.min()), 6),
                allowed=round(limits.most, 6),
                unit="mm",
                text=f"{_length(own.at):.1f} mm of a wall {thick.min():.2f} to {thick.max():.2f} mm thick are more"
                f" than one bead takes, {limits.most:.2f} mm, and less than two, {limits.two:.2f} mm: two beads"
                " overfill it",
            )
        )
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """What is left of contour lines: paths, places taken out, error of the cuts (mm), polygons used."""

    paths: tuple[ArcPath, ...]
    lost: tuple[Lost, ...]
    bound: float
    fallbacks: int = 0


def without_walls(
    region: ArcRegion,
    outermost: ArcRegion,
    taken: Sequence[tuple[Sequence[Bead], float]],
    *,
    inside: float,
    width: float,
) -> Kept:
    """Contour lines of one rank without those parts whose wall a medial bead makes.

    Parameters
    ----------
    region : ArcRegion
        Of the layer.
    outermost : ArcRegion
        Bounded by the contour lines.
    taken : sequence of (sequence of Bead, float)
        Medial beads, with the greatest thickness at which they make what the ranks before leave of a wall, mm.
    inside : float
        How far inside the layer's region lies what the rank covers, mm.
    width : float
        Of contour beads, mm.

    Returns
    -------
    Kept
        ``paths`` run as the lines did; those cut open are open.
    """
    left, gone, bound, fallbacks = outermost, list[ArcPath](), 0.0, 0
    for medial, most in taken:
        if not medial or not left.loops:
            continue
        wide = offset(region, distance=inside + most / 2)
        grown = offset(wide.region, distance=-(most - width) / 2) if wide.region.loops else wide
        walls = subtract(left, _faced(grown.region, CAP))
        fallbacks += wide.fallbacks + (grown.fallbacks if grown is not wide else 0)
        made = _reached(walls.region, medial)
        if made.loops:
            rest = subtract(left, _faced(made, CAP))
            gone += [path for loop in made.loops for path in _open(loop)]
            left, bound = rest.region, bound + rest.bound.mm
    if not gone:
        return Kept(paths=outermost.loops, lost=(), bound=0.0, fallbacks=fallbacks)
    paths: list[ArcPath] = []
    scraps: list[ArcPath] = []
    for loop in left.loops:
        for path in _open(loop):
            (paths if path.closed or lengths(path).sum() >= BRIDGE * width else scraps).append(path)
    lost = [
        Lost(kind="medial", at=middle_of(path), length=length(path), width=width, along=listed(path))
        for path in (*gone, *scraps)
    ]
    return Kept(paths=tuple(paths), lost=tuple(lost), bound=bound, fallbacks=fallbacks)


def _faced(region: ArcRegion, face: int) -> ArcRegion:
    loops = tuple(replace(loop, face=np.full(len(loop.bulge), face, np.int32)) for loop in region.loops)
    return ArcRegion(loops=loops, supports=region.supports)


def _reached(walls: ArcRegion, medial: Sequence[Bead]) -> ArcRegion:
    """Those pieces of a region that a medial bead runs through."""
    at = np.concatenate([spaced(bead.path, bead.width / 4) for bead in medial])
    at = at[inside(walls, at)] if walls.loops else at[:0]
    outer = [loop for loop in walls.loops if signed_area(loop) > 0]
    holes = [loop for loop in walls.loops if signed_area(loop) <= 0]
    taken = [bool((winding(loop, at) != 0).any()) for loop in outer]
    kept = [loop for loop, yes in zip(outer, taken, strict=True) if yes]
    for hole in holes:
        around = [i for i, loop in enumerate(outer) if winding(loop, hole.points[:1])[0]]
        if around and taken[min(around, key=lambda i: signed_area(outer[i]))]:
            kept.append(hole)
    return ArcRegion(loops=tuple(kept), supports=walls.supports)


def _open(loop: ArcPath) -> list[ArcPath]:
    """A closed path without its caps: itself, or the open paths between them."""
    cap = loop.face == CAP
    return runs_of(loop, ~cap) if cap.any() else [loop]
