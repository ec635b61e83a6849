"""Open ribs: families of parallel lines that stand at the same places in every layer.

Where two families cross, beads turn from one to the other (`_tours`), or one runs on and the other is broken,
so that nothing is laid twice; which way they turn, and which one runs on, changes from layer to layer, so that
each is bound to the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.arcs import offset
from beadwright.beads._lines import Laid, square_ends
from beadwright.beads._rows import rows_of, turned
from beadwright.beads._tours import Crossing, Piece, toured, turned_crossings
from beadwright.curves import ArcPath, ArcRegion, bounding_box

Floats = npt.NDArray[np.float64]

# Ribs shorter than this many widths are left out.
SHORT = 1.0
# Families whose directions differ by less than this (rad) do not cross: about one degree.
ALONG = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class RibPattern:
    """How ribs are laid.

    Attributes
    ----------
    angles : tuple of float
        Of the families against x, rad.
    spacing : float
        Of neighbouring ribs of a family, mm: their lines pass at whole multiples of it from the origin.
    width : float
        Of a bead, mm.
    overlap : float
        By how much ends of ribs overlap what they meet, mm.
    first : int
        Row of the family that is never broken.
    turned : bool
        Whether beads turn at crossings, where there is room, so that they are few.
    crossed : bool
        Which way they turn.
    """

    angles: tuple[float, ...]
    spacing: float
    width: float
    overlap: float
    first: int = 0
    turned: bool = False
    crossed: bool = False


def rib_beads(region: ArcRegion, core: ArcRegion, pattern: RibPattern) -> tuple[Laid, ...]:
    """Lay ribs across a region.

    Parameters
    ----------
    region : ArcRegion
        What is left inside the contour beads.
    core : ArcRegion
        Centrelines stay inside it: the layer's region eroded by half a width.
    pattern : RibPattern

    Returns
    -------
    tuple of Laid
    """
    count = len(pattern.angles)
    families = [
        _family(region, core, pattern.angles[(pattern.first + place) % count], pattern)
        for place in range(count)
    ]
    if pattern.turned:
        return _turned(families, pattern)
    laid = np.zeros((0, 4))
    for lines in families:
        laid = np.concatenate([laid, *(_broken(line, laid, pattern) for line in lines)])
    return tuple(Laid(path=_segment(row), width=pattern.width) for row in laid)


def _family(region: ArcRegion, core: ArcRegion, angle: float, pattern: RibPattern) -> Floats:
    """Ribs of one family, before any is broken, as rows (x0, y0, x1, y1)."""
    if not region.loops:
        return np.zeros((0, 4))
    piece = turned(region, -angle)
    boxes = [bounding_box(loop) for loop in piece.loops]
    low, high = min(float(a[1]) for a, _ in boxes), max(float(b[1]) for _, b in boxes)
    first, last = int(np.ceil(low / pattern.spacing)), int(np.floor(high / pattern.spacing))
    heights = np.asarray(pattern.spacing * np.arange(first, last + 1), dtype=np.float64)
    # A rib whose bead would lie on a contour bead along its side is none.
    rows = rows_of(offset(piece, distance=pattern.width / 2 - pattern.overlap).region, heights)
    ends = square_ends(
        piece, turned(core, -angle), heights, pattern.width, rows.line, rows.ends, pattern.overlap
    )
    c, s = np.cos(angle), np.sin(angle)
    y = heights[rows.line]
    found = np.column_stack([
        c * ends[:, 0] - s * y, s * ends[:, 0] + c * y, c * ends[:, 1] - s * y, s * ends[:, 1] + c * y
    ])  # fmt: skip
    return found[ends[:, 1] - ends[:, 0] >= SHORT * pattern.width]


def _turned(families: list[Floats], pattern: RibPattern) -> tuple[Laid, ...]:
    """Ribs in beads that turn at crossings where there is room; where there is none the later rib is broken."""
    ribs = np.concatenate(families)
    family = np.repeat(np.arange(len(families)), [len(lines) for lines in families])
    every = [
        Crossing(ribs=(int(other), row), at=(float(there), float(at)), cosine=float(cosine))
        for row in range(len(ribs))
        for other, at, there, cosine in _met(ribs[row], ribs[family < family[row]], pattern)
    ]
    good = turned_crossings(ribs, every, width=pattern.width, overlap=pattern.overlap)
    turns = [each for each, turn in zip(every, good, strict=True) if turn]
    arms: list[list[tuple[float, float, int]]] = [[] for _ in ribs]
    for number, each in enumerate(turns):
        for rib, at in zip(each.ribs, each.at, strict=True):
            arms[rib].append((at, 0.0, number))
    for each, turn in zip(every, good, strict=True):
        if not turn:
            gap = pattern.width / 2 / np.sqrt(1 - each.cosine**2) - pattern.overlap
            arms[each.ribs[1]].append((each.at[1], float(gap), -1))
    pieces = [piece for row, rib in enumerate(ribs) for piece in _pieces(row, rib, arms[row], turns, pattern)]
    return toured(pieces, turns, width=pattern.width, overlap=pattern.overlap, crossed=pattern.crossed)


def _pieces(
    row: int, rib: Floats, places: list[tuple[float, float, int]], turns: list[Crossing], pattern: RibPattern
) -> list[Piece]:
    """What a rib is between its crossings: (how far along, half a gap, crossing or -1 where it is broken)."""
    a, way = rib[:2], rib[2:] - rib[:2]
    size = float(np.hypot(*way))
    unit = way / size
    found: list[Piece] = []
    start, begin = 0.0, None
    for at, gap, number in [*sorted(places), (size, 0.0, -1)]:
        side = 2 * (turns[number].ribs[1] == row) if number >= 0 else 0
        end = (number, side) if number >= 0 else None
        if begin is not None or end is not None or at - gap - start >= SHORT * pattern.width:
            ends = np.array([a + start * unit, a + (at - gap) * unit])
            found.append(Piece(ends=ends, arms=(begin, end)))
        start, begin = max(start, at + gap), (number, side + 1) if number >= 0 else None
    return found


def _met(line: Floats, others: Floats, pattern: RibPattern) -> list[tuple[int, float, float, float]]:
    """Rows of ribs that a rib's bead meets, how far along it and along them, and the cosine between them."""
    a, way = line[:2], line[2:] - line[:2]
    size = float(np.hypot(*way))
    unit = way / size
    along = others[:, 2:] - others[:, :2]
    far = np.hypot(along[:, 0], along[:, 1])
    along = along / np.where(far > 0, far, 1.0)[:, None]
    sine = unit[0] * along[:, 1] - unit[1] * along[:, 0]
    rows = np.flatnonzero(np.abs(sine) > np.sin(ALONG))
    sine, along, far, to = sine[rows], along[rows], far[rows], others[rows, :2] - a
    at = (to[:, 0] * along[:, 1] - to[:, 1] * along[:, 0]) / sine
    there = (to[:, 0] * unit[1] - to[:, 1] * unit[0]) / sine
    half = pattern.width / 2 / np.abs(sine)
    met = (there > -half) & (there < far + half) & (at > -half) & (at < size + half)
    found = zip(rows[met], at[met], there[met], (along @ unit)[met], strict=True)
    return [(int(row), float(x), float(y), float(cosine)) for row, x, y, cosine in found]


def _broken(line: Floats, others: Floats, pattern: RibPattern) -> Floats:
    """What is left of a rib beside those that cross it: it ends where its bead meets theirs."""
    a, way = line[:2], line[2:] - line[:2]
    size = float(np.hypot(*way))
    unit = way / size
    cuts = sorted(
        (at, pattern.width / 2 / float(np.sqrt(1 - cosine**2)) - pattern.overlap)
        for _, at, _, cosine in _met(line, others, pattern)
    )
    pieces, start = [], 0.0
    for middle, gap in cuts:
        pieces.append((start, middle - gap))
        start = max(start, middle + gap)
    pieces.append((start, size))
    kept = [(s, e) for s, e in pieces if e - s >= SHORT * pattern.width]
    return np.array([[*(a + s * unit), *(a + e * unit)] for s, e in kept]).reshape(-1, 4)


def _segment(row: Floats) -> ArcPath:
    none = np.full(1, -1, np.int32)
    return ArcPath(points=row.reshape(2, 2), bulge=np.zeros(1), face=none, support=none, closed=False)
