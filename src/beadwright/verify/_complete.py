"""Is a bead missing? Every place of the section's boundary demands the beads that run along it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
import shapely

from beadwright.numeric import Finding
from beadwright.verify._cut import Chords, Cut
from beadwright.verify._deposit import Bead, Deposit, DepositLayer
from beadwright.verify._moves import Moves, points_along
from beadwright.verify._result import Notes

Floats = npt.NDArray[np.float64]

# A place is demanded only where a little more than the offset fits, so that a width just at the limit decides nothing.
MARGIN = 0.02
# The section is known within its chords: a place whose foot is the nearest of the boundary may look this much nearer.
FOOT = 1e-3
# How far a bead may be from a place that demands it, mm, beside the margin: how far off it is, the profile tells.
NEAR = 0.1
# Beads are looked for along chords of this sag, mm.
SAG = 1e-3


def common_offsets(deposit: Deposit) -> dict[str, float]:
    """Offset of each rank of contour beads, the most frequent of the whole program, mm."""
    found: dict[str, Counter[float]] = defaultdict(Counter)
    for bead in deposit.beads:
        if bead.role == "contour" and np.isfinite(bead.offset):
            found[bead.rank][bead.offset] += 1
    return {rank: counts.most_common(1)[0][0] for rank, counts in found.items()}


def usual_beside(deposit: Deposit) -> dict[str, dict[str, float]]:
    """For each rank of contour beads, the most frequent offset of every other one in layers that have both, mm."""
    found: dict[str, dict[str, Counter[float]]] = defaultdict(lambda: defaultdict(Counter))
    for layer in deposit.layers:
        own = [bead for bead in layer.beads if bead.role == "contour" and np.isfinite(bead.offset)]
        for rank in {bead.rank for bead in own}:
            for bead in own:
                if bead.rank != rank:
                    found[rank][bead.rank][bead.offset] += 1
    return {
        rank: {other: counts.most_common(1)[0][0] for other, counts in beside.items()}
        for rank, beside in found.items()
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places:
    """Where beads may be due: at an offset straight inside from points along every ring of a section.

    Attributes
    ----------
    at, feet : (k, 2) float
        The place, and the point of the boundary, mm.
    ring : (k,) int64
        Which ring of the region the foot lies on.
    probe : (k, 2) float
        A little farther inside.
    depth : float
        Which is how far inside, unless another part of the boundary is nearer.
    """

    at: Floats
    feet: Floats
    ring: npt.NDArray[np.int64]
    probe: Floats
    depth: float

    def due(self, cut: Cut, rows: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
        """Whether a bead is due at some places: corners and necks demand nothing that does not exist."""
        if not len(rows):
            return np.zeros(0, bool)
        return np.asarray(cut.depth(self.probe[rows]) >= self.depth - FOOT)


def places_inside(cut: Cut, offset: float, step: float) -> Places:
    """Places at an offset inside the boundary, a step apart at most."""
    feet, normals, rings = [np.zeros((0, 2))], [np.zeros((0, 2))], [np.zeros(0, np.int64)]
    for number, ring in enumerate(shapely.get_rings(shapely.get_parts(cut.region))):
        xy = shapely.get_coordinates(ring)
        size = np.hypot(*np.diff(xy, axis=0).T)
        along = np.concatenate([[0.0], np.cumsum(size)])
        count = max(12, int(np.ceil(along[-1] / step)))
        at = (np.arange(count) + 0.5) * along[-1] / count
        k = np.clip(np.searchsorted(along, at, side="right") - 1, 0, len(size) - 1)
        direction = (xy[k + 1] - xy[k]) / np.maximum(size[k], 1e-300)[:, None]
        feet.append(xy[k] + direction * (at - along[k])[:, None])
        normals.append(np.column_stack([-direction[:, 1], direction[:, 0]]))
        rings.append(np.full(count, number))
    foot, normal = np.concatenate(feet), np.concatenate(normals)
    return Places(
        at=foot + offset * normal,
        feet=foot,
        ring=np.concatenate(rings),
        probe=foot + (offset + MARGIN) * normal,
        depth=offset + MARGIN,
    )


def demanded(cut: Cut, offset: float, step: float) -> tuple[Floats, Floats, npt.NDArray[np.int64]]:
    """Places at an offset inside the boundary that a centreline must pass: those of `places_inside` that are due.

    Returns
    -------
    places, feet : (k, 2) float
        Where the bead is due, and the point of the boundary.
    ring : (k,) int64
        Which ring of the region the foot lies on.
    """
    found = places_inside(cut, offset, step)
    due = found.due(cut, np.arange(len(found.at)))
    return found.at[due], found.feet[due], found.ring[due]


def distance_to_beads(
    moves: Moves, beads: list[Bead], points: Floats, *, enough: float = 0.0
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Distance of points to the nearest centreline of some beads, mm, and the row of its move: two (k,).

    The nearest move is sought along chords; the distance to it is that to its line or arc. Where a chord passes within
    `enough` less its sag, 0 and -1 are told: it is as near as is asked.
    """
    lines, owners = [np.zeros((0, 2, 2))], [np.zeros(0, np.int64)]
    rows = np.concatenate([np.zeros(0, np.int64)] + [bead.rows for bead in beads])
    straight = rows[moves.sweep[rows] == 0]
    lines.append(np.stack([moves.start[straight, :2], moves.end[straight, :2]], axis=1))
    owners.append(straight)
    arcs = rows[moves.sweep[rows] != 0]
    if len(arcs):
        radius = np.hypot(*(moves.start[arcs, :2] - moves.centre[arcs]).T)
        dense, row = points_along(moves, arcs, np.maximum(np.sqrt(8 * SAG * radius), 1e-3))
        chord = np.flatnonzero(row[1:] == row[:-1])
        lines.append(np.stack([dense[chord], dense[chord + 1]], axis=1))
        owners.append(row[chord])
    chords, owner = Chords.of(np.concatenate(lines)), np.concatenate(owners)
    if not len(owner):
        return np.full(len(points), 1e9), np.full(len(points), -1)
    far, row = np.zeros(len(points)), np.full(len(points), -1)
    left = np.arange(len(points))
    if enough > SAG:
        left = np.flatnonzero(~chords.within(points, enough - SAG))
    found, far[left] = chords.nearest(points[left])
    row[left] = owner[found]
    bent = left[moves.sweep[row[left]] != 0]
    far[bent] = _to_arcs(moves, row[bent], points[bent])
    return far, row


def _to_arcs(moves: Moves, row: npt.NDArray[np.int64], points: Floats) -> Floats:
    """Distance of each point to its own arc: to the circle where it stands before the arc, else to the nearer end."""
    start, end, centre = moves.start[row, :2], moves.end[row, :2], moves.centre[row]
    away, first = points - centre, start - centre
    turned = np.arctan2(away[:, 1], away[:, 0]) - np.arctan2(first[:, 1], first[:, 0])
    before = np.mod(turned * np.sign(moves.sweep[row]), 2 * np.pi) <= np.abs(moves.sweep[row])
    to_ends = np.minimum(np.hypot(*(points - start).T), np.hypot(*(points - end).T))
    return np.asarray(np.where(before, np.abs(np.hypot(*away.T) - np.hypot(*first.T)), to_ends))


def check_complete(
    moves: Moves,
    layer: DepositLayer,
    cut: Cut,
    offsets: dict[str, float],
    *,
    allowed: float,
    step: float,
    notes: Notes,
    room: float = 0.0,
    usual: Mapping[str, Mapping[str, float]] = MappingProxyType({}),
) -> None:
    """A finding for every ring of the section along which a rank of contour beads is missing somewhere.

    Beads may lie farther from the place by `room`, where the section is not the layer's region but near to it.

    Where a medial bead runs within half its width of the place, it stands for the contour beads. Where the bead
    outside the place does not lie as `usual` (see `usual_beside`), two beads of another width share a wall: what such
    a wall has room for where it bulges is due to no bead of the usual width, and the cover tells what is left open.
    """
    middle = [b for b in layer.beads if b.role == "medial" and len(b.rows)]
    reach = max((float(b.own_widths().max()) / 2 for b in middle), default=0.0)
    for rank, common in sorted(offsets.items()):
        beads = [b for b in layer.beads if b.role == "contour" and b.rank == rank]
        offset = max((b.offset for b in beads), default=common)
        near = NEAR + MARGIN + allowed + room + offset - min((b.offset for b in beads), default=common)
        inside = places_inside(cut, offset - layer.stock, step)
        far, _ = distance_to_beads(moves, beads, inside.at, enough=near)
        bare = np.flatnonzero(far > near)
        if len(middle) and len(bare):
            beside, _ = distance_to_beads(moves, middle, inside.at[bare], enough=reach)
            far[bare[beside <= reach]] = 0.0
            bare = bare[beside > reach]
        for bead in _sharing(layer, usual.get(rank, {}), offset) if len(bare) else ():
            beside, _ = distance_to_beads(moves, [bead], inside.at[bare])
            shared = beside <= offset - bead.offset + near
            far[bare[shared]] = 0.0
            bare = bare[~shared]
        if not inside.due(cut, bare).any():
            continue
        due = inside.due(cut, np.arange(len(inside.at)))
        places, ring, far = inside.at[due], inside.ring[due], far[due]
        for number in np.unique(ring):
            own = ring == number
            lost = np.flatnonzero(own & (far > near))
            if not len(lost):
                continue
            every = len(lost) == own.sum()
            where = "all round" if every else "along part of"
            text = f"contour bead of rank {rank} is missing {where} a loop of the section"
            x, y = places[lost[0]]
            notes.add(
                Finding(
                    code="missing-bead",
                    level="error",
                    text=f"{text}: at {len(lost)} of {own.sum()} places",
                    layer=layer.index,
                    at_mm=(float(x), float(y), layer.z),
                    measured=float(min(far[lost].max(), 1e9)),
                    allowed=near,
                    unit="mm",
                ),
                layer.line,
            )


def _sharing(layer: DepositLayer, usual: Mapping[str, float], offset: float) -> list[Bead]:
    """Contour beads outside an offset that do not lie where those of their rank do."""
    return [
        bead
        for bead in layer.beads
        if bead.role == "contour"
        and len(bead.rows)
        and bead.offset < offset
        and abs(bead.offset - usual.get(bead.rank, bead.offset)) > FOOT
    ]
