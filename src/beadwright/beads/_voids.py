"""Hollow spaces that nothing vents: hollow cells of the layers, joined where they lie above each other.

So are holes of the layers themselves: a cavity of the part that opens nowhere is a void as well.
A cell is vented where the layer above or below does not cover it, and in the lowest layer, which stands open
once the part is off the platform. Spaces that reach the first or the last of only some layers are not known
and not told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs import intersect, subtract, swept
from beadwright.beads._bead import Bead
from beadwright.beads._rows import pieces_of, rows_of
from beadwright.curves import ArcRegion, bounding_box, depths, inside, region_area, reversed_path
from beadwright.numeric import Finding, counted

Floats = npt.NDArray[np.float64]

# Cells smaller than this, and open places smaller than this, are what rounding leaves, mm2.
DUST = 1.0
# Closed spaces smaller than this are pores: between two round beads (1 - pi / 4) h^2 stay open, 3.4 mm2 of a bead
# 4 mm high, so that this much lies along 30 mm of any joint, mm3.
PORE = 100.0
# So many closed spaces are told one by one; a ribbed part has dozens alike, which share one row.
SINGLY = 3


def hollow_cells(hollow: ArcRegion, beads: Sequence[Bead]) -> tuple[ArcRegion, ...]:
    """What beads leave of a hollow region, piece by piece."""
    if not hollow.loops:
        return ()
    strips = [(bead.path, bead.width) for bead in beads if bead.role == "rib"]
    left = subtract(hollow, swept(strips).region).region if strips else hollow
    return tuple(piece for piece in pieces_of(left) if region_area(piece) > DUST)


class Voids:
    """Hollow spaces found so far, layer by layer from the platform up.

    Of only some layers of a part, spaces that reach the first or the last are not told.
    """

    def __init__(self) -> None:
        self._up: list[int] = []
        self._vented: list[bool] = []
        self._volume: list[float] = []
        self._box: list[tuple[Floats, Floats]] = []
        self._place: list[tuple[int, float, float, float]] = []
        self._last: list[tuple[int, ArcRegion]] = []
        self._below: ArcRegion | None = None
        self._beside: list[tuple[list[tuple[int, ArcRegion]], ArcRegion]] = []

    def add(self, layer: int, z: float, height: float, region: ArcRegion, cells: Sequence[ArcRegion]) -> None:
        """Take the next layer: its region, whose holes are hollow too, and its hollow cells."""
        rows: list[tuple[int, ArcRegion]] = []
        region, holes = _filled(region)
        for cell in (*cells, *holes):
            rows.append((len(self._up), cell))
            self._up.append(len(self._up))
            self._vented.append(self._below is None)
            self._volume.append(region_area(cell) * height)
            self._box.append(bounding_box(cell.loops[0]))
            x, y = _within(cell)
            self._place.append((layer, x, y, z))
        for beside, cover in ((self._last, region), (rows, self._below)):
            if cover is not None and beside:
                self._beside.append((beside, cover))
        for row, cell in rows:
            for other, under in self._last:
                if self._apart(row, other):
                    continue
                if self._meet(row, cell, under):
                    self._join(row, other)
        self._last, self._below = rows, region

    def findings(self) -> tuple[Finding, ...]:
        """Findings ``void``: the largest closed spaces above a pore's size, then one for all further ones."""
        for row, _ in self._last:
            # Nothing lies above the last layer, or it is not known what.
            self._vented[row] = True
        vented = {self._root(row) for row in range(len(self._up)) if self._vented[row]}
        for beside, cover in self._beside:
            # Most spaces open at their ends: only the others are held against what lies beside them.
            left = [(self._root(row), cell) for row, cell in beside if self._root(row) not in vented]
            vented |= _open_to(left, cover)
        groups: dict[int, list[int]] = {}
        for row in range(len(self._up)):
            groups.setdefault(self._root(row), []).append(row)
        closed = [rows for rows in groups.values() if self._root(rows[0]) not in vented]
        sized = sorted(
            ((sum(self._volume[row] for row in rows), rows) for rows in closed), key=lambda pair: -pair[0]
        )
        sized = [pair for pair in sized if pair[0] >= PORE]
        # A single further one needs no row of its own kind.
        singly = SINGLY if len(sized) > SINGLY + 1 else len(sized)
        found = [
            self._told(
                volume,
                rows,
                f"a closed hollow space of {volume / 1e6:.3g} dm3 in"
                f" {counted(len({self._place[r][0] for r in rows}), 'layer')} has no vent: let it out by a hole,"
                " or fill it",
            )
            for volume, rows in sized[:singly]
        ]
        if further := sized[singly:]:
            layers = [self._place[row][0] for _, rows in further for row in rows]
            total = sum(volume for volume, _ in further)
            found.append(
                self._told(
                    total,
                    further[0][1],
                    f"{counted(len(further), 'further closed hollow space')} of {total / 1e6:.3g} dm3 together in"
                    f" layers {min(layers)} to {max(layers)}, the largest of {further[0][0] / 1e6:.3g} dm3 here,"
                    " have no vent: let each out by a hole, or fill them",
                )
            )
        return tuple(found)

    def _told(self, volume: float, rows: Sequence[int], text: str) -> Finding:
        """The finding at the lowest cell of a space."""
        layer, x, y, z = self._place[rows[0]]
        return Finding(
            code="void", level="warning", layer=layer, at_mm=(x, y, z), measured=volume, unit="mm3", text=text
        )

    def _apart(self, a: int, b: int) -> bool:
        """Whether the boxes of two cells are apart."""
        (a0, a1), (b0, b1) = self._box[a], self._box[b]
        return bool((a0 >= b1).any() or (b0 >= a1).any())

    def _meet(self, row: int, cell: ArcRegion, under: ArcRegion) -> bool:
        """Whether two cells of neighbouring layers lie above each other by more than dust."""
        if inside(under, np.array([self._place[row][1:3]]))[0]:
            return True
        if _boundaries_apart(cell, under):
            # A cell that is not all within the other holds a whole loop of it, or they share nothing.
            return bool(inside(cell, np.array([loop.points[0] for loop in under.loops])).any())
        return region_area(intersect(cell, under).region) > DUST

    def _join(self, a: int, b: int) -> None:
        a, b = self._root(a), self._root(b)
        self._up[max(a, b)] = min(a, b)

    def _root(self, row: int) -> int:
        while self._up[row] != row:
            self._up[row] = self._up[self._up[row]]
            row = self._up[row]
        return row


def _open_to(cells: Sequence[tuple[int, ArcRegion]], cover: ArcRegion) -> set[int]:
    """Those of some cells, by their numbers, that a neighbouring layer does not cover."""
    if not cells:
        return set()
    together = ArcRegion(loops=tuple(p for _, cell in cells for p in cell.loops), supports=np.zeros((0, 4)))
    if cover.loops and region_area(subtract(_bare(together), cover).region) <= DUST:
        return set()
    return {row for row, cell in cells if not cover.loops or region_area(subtract(cell, cover).region) > DUST}


def _boundaries_apart(one: ArcRegion, other: ArcRegion) -> bool:
    """Whether no move of one region's boundary comes near one of another's, by the boxes that hold them."""
    (low, high), (others_low, others_high) = _move_boxes(one), _move_boxes(other)
    near = (low[:, None] <= others_high) & (others_low <= high[:, None])
    return not bool(near.all(axis=2).any())


def _move_boxes(region: ArcRegion) -> tuple[Floats, Floats]:
    """Least and greatest x and y of boxes that hold each move of a region, mm: two (n, 2)."""
    starts = np.concatenate([loop.points for loop in region.loops])
    ends = np.concatenate([np.roll(loop.points, -1, axis=0) for loop in region.loops])
    bulge = np.concatenate([loop.bulge for loop in region.loops])
    # An arc lies within half the bulge of its chord's length of the chord.
    bow = (np.abs(bulge) / 2 * np.hypot(*(ends - starts).T))[:, None]
    return np.minimum(starts, ends) - bow, np.maximum(starts, ends) + bow


def _filled(region: ArcRegion) -> tuple[ArcRegion, tuple[ArcRegion, ...]]:
    """A region without its holes, and these, each with what stands in it as holes of its own."""
    depth = depths(region)
    if not (depth % 2).any():
        return region, ()
    outer = [loop for loop, deep in zip(region.loops, depth, strict=True) if deep == 0]
    turned = tuple(reversed_path(loop) for loop, deep in zip(region.loops, depth, strict=True) if deep > 0)
    holes = pieces_of(_bare(ArcRegion(loops=turned, supports=region.supports)))
    return ArcRegion(loops=tuple(outer), supports=region.supports), tuple(
        hole for hole in holes if region_area(hole) > DUST
    )


def _bare(region: ArcRegion) -> ArcRegion:
    """A region whose moves name no supports."""
    none = [replace(loop, support=np.full(len(loop.support), -1, np.int32)) for loop in region.loops]
    return ArcRegion(loops=tuple(none), supports=region.supports)


def _within(cell: ArcRegion) -> tuple[float, float]:
    """A place well inside a cell: the middle of its widest interval at half height, mm."""
    low, high = bounding_box(cell.loops[0])
    y = float(low[1] + 0.4988 * (high[1] - low[1]))
    rows = rows_of(cell, np.array([y]))
    if not len(rows.line):
        return float(cell.loops[0].points[0, 0]), float(cell.loops[0].points[0, 1])
    widest = int(np.argmax(rows.ends[:, 1] - rows.ends[:, 0]))
    return float(rows.ends[widest].mean()), y
