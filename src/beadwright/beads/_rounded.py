"""Corners of contour beads rounded by an arc, as far as stock and neighbours allow.

An arc of radius r that touches both sides of a corner of the angle phi runs (1 / sin(phi / 2) - 1) r beside the
corner. Between two lines that is a closed form; beside an arc it is the distance from the corner to the rounding's
centre, less r. From where the arc touches a side up to the corner the side's distance from that centre only grows
(along a circle the distance from a point is monotone between its nearest and its farthest place), so it is the
greatest distance between the corner and its rounding.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.beads._bead import Bead
from beadwright.beads._contour import LayerBeads
from beadwright.curves import ArcPath, chords
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding

Floats = npt.NDArray[np.float64]

# A joint that turns left by less than this (rad) is smooth: there the drives' own rounding is smaller than any arc.
SMOOTH = 0.05
# Share of half a width by which a rounding may run beside its corner: the bead still covers the corner's centreline.
MOST = 0.9
# Share of a move that stays between two roundings at the least, so that no move vanishes.
STAYS = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    """A move as the line or circle that it lies on: start, direction or centre, and how far it goes."""

    start: complex
    end: complex
    centre: complex | None
    turn: float

    @property
    def radius(self) -> float:
        """Of an arc, mm: below 0 where it runs clockwise."""
        assert self.centre is not None
        return math.copysign(abs(self.start - self.centre), self.turn)

    def direction(self, share: float) -> complex:
        """Unit direction at a share of the way."""
        chord = self.end - self.start
        return chord / abs(chord) * complex(np.exp(1j * (share - 0.5) * self.turn))

    def foot(self, centre: complex) -> float:
        """Share of the way at which the side is nearest to a place; beyond 0 to 1 on its continuation."""
        if self.centre is None:
            chord = self.end - self.start
            return ((centre - self.start) * chord.conjugate()).real / abs(chord) ** 2
        ratio = (centre - self.centre) / (self.start - self.centre)
        angle = math.atan2(ratio.imag, ratio.real) * math.copysign(1.0, self.turn)
        # On an arc of at most half a turn what lies behind is nearer backwards.
        return (angle if angle > -math.pi / 2 else angle + 2 * math.pi) / abs(self.turn)

    def at(self, share: float) -> complex:
        """Place at a share of the way."""
        if self.centre is None:
            return self.start + share * (self.end - self.start)
        return self.centre + (self.start - self.centre) * complex(np.exp(1j * share * self.turn))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Round:
    """A rounding at the start of a move: its way away from the corner, and shares of the moves where it touches."""

    row: int
    off: float
    before: float
    after: float
    turn: float


def rounded(
    layer: LayerRegion, laid: LayerBeads, *, radius: float, amounts: Mapping[int, float]
) -> LayerBeads:
    """Round the sharp corners of contour beads by arcs of one radius.

    Parameters
    ----------
    layer : LayerRegion
    laid : LayerBeads
        Its contour beads.
    radius : float
        Of the arcs, mm.
    amounts : mapping of int to float
        Stock of each face that has any, mm. A corner beside a face with stock stays sharp where the rounded bead's edge
        would fall short of the corner by more than that stock.

    Returns
    -------
    LayerBeads
        ``corner`` is the greatest distance of a rounding from its corner, mm. At most three findings: corners whose
        neighbours are too short for the arc, corners from which the arc would run too far, and corners that the
        stock does not allow.
    """
    beads: list[Bead] = []
    short: list[complex] = []
    far: list[tuple[complex, float, float]] = []
    stock: list[tuple[complex, float, float]] = []
    off, count = 0.0, 0
    for bead in laid.beads:
        if bead.role != "contour" or bead.widths:
            beads.append(bead)
            continue
        sides = _sides(bead.path)
        found = _roundings(bead, sides, radius, amounts, short, far, stock)
        off, count = max([off, *(each.off for each in found)]), count + len(found)
        beads.append(replace(bead, path=_with(bead.path, sides, found)) if found else bead)
    findings = list(laid.findings)
    index, z = layer.plan.index, layer.plan.z
    if short:
        findings.append(
            Finding(
                code="corner-not-rounded",
                level="warning",
                layer=index,
                at_mm=(short[0].real, short[0].imag, z),
                measured=float(len(short)),
                text=f"{len(short)} corner(s) stay sharp, this one first: the moves beside them are too short, or bend"
                f" too much, for an arc of {radius:g} mm",
            )
        )
    if far:
        at, measured, allowed = max(far, key=lambda row: row[1] - row[2])
        findings.append(
            Finding(
                code="corner-too-sharp",
                level="warning",
                layer=index,
                at_mm=(at.real, at.imag, z),
                measured=measured,
                allowed=allowed,
                unit="mm",
                text=f"{len(far)} corner(s) stay sharp, this one most: an arc of {radius:g} mm would run so far beside"
                " them that the bead no longer covers them; a smaller radius does",
            )
        )
    if stock:
        at, measured, allowed = max(stock, key=lambda row: row[1] - row[2])
        findings.append(
            Finding(
                code="corner-needs-stock",
                level="note",
                layer=index,
                at_mm=(at.real, at.imag, z),
                measured=measured,
                allowed=allowed,
                unit="mm",
                text=f"{len(stock)} corner(s) stay sharp, since rounded beads would fall short of them by more than the"
                " stock that is machined there; this one most",
            )
        )
    return replace(
        laid, beads=tuple(beads), findings=tuple(findings), corner=max(laid.corner, off), rounded=count
    )


def _roundings(
    bead: Bead,
    sides: Sequence[_Side],
    radius: float,
    amounts: Mapping[int, float],
    short: list[complex],
    far: list[tuple[complex, float, float]],
    stock: list[tuple[complex, float, float]],
) -> list[_Round]:
    """Roundings of a bead, from its start on; corners that stay sharp are added to `short`, `far` and `stock`."""
    path = bead.path
    n = len(path.bulge)
    found: list[_Round] = []
    ends: dict[int, float] = {}
    for row in range(0 if path.closed else 1, n):
        one, two = sides[row - 1], sides[row]
        turn = two.direction(0.0) / one.direction(1.0)
        angle = math.atan2(turn.imag, turn.real)
        if angle <= SMOOTH:
            continue
        # What the bead's edge misses grows with the radius of its centreline.
        missed = (1 / math.cos(angle / 2) - 1) * (radius + bead.width / 2)
        own = [amounts[face] for face in (int(path.face[row - 1]), int(path.face[row])) if face in amounts]
        if own and missed > min(own):
            stock.append((two.start, missed, min(own)))
            continue
        made = _round(one, two, row, radius)
        # Shares that earlier roundings of this bead have taken of both moves.
        taken = next((each.after for each in found if each.row == (row - 1) % n), 0.0)
        end = ends.get(row, 1.0)
        if made is None or made.before <= taken + STAYS or made.after >= end - STAYS:
            short.append(two.start)
            continue
        if made.off > MOST * bead.width / 2:
            far.append((two.start, made.off, MOST * bead.width / 2))
            continue
        found.append(made)
        ends[(row - 1) % n] = made.before
    return found


def _sides(path: ArcPath) -> list[_Side]:
    chord = chords(path)
    turn = 4 * np.arctan(path.bulge)
    found = []
    for row, (x, y) in enumerate(path.points[: len(path.bulge)].tolist()):
        start = complex(x, y)
        end = start + complex(*chord[row].tolist())
        bulge = float(path.bulge[row])
        centre = None
        if bulge:
            centre = (start + end) / 2 + 1j * (end - start) * (1 - bulge * bulge) / (4 * bulge)
        found.append(_Side(start=start, end=end, centre=centre, turn=float(turn[row])))
    return found


def _round(one: _Side, two: _Side, row: int, radius: float) -> _Round | None:
    """The arc that touches two sides from their left; None where it does not touch both."""
    corner = two.start
    best: _Round | None = None
    for centre in _centres(one, two, radius):
        before, after = one.foot(centre), two.foot(centre)
        if not (0 < before < 1 and 0 < after < 1):
            continue
        ratio = two.direction(after) / one.direction(before)
        turn = math.atan2(ratio.imag, ratio.real)
        off = abs(corner - centre) - radius
        if turn > 0 and off >= 0 and (best is None or off < best.off):
            best = _Round(row=row, off=off, before=before, after=after, turn=turn)
    return best


def _centres(one: _Side, two: _Side, radius: float) -> Sequence[complex]:
    """Places a radius to the left of both sides' lines or circles."""
    if one.centre is None and two.centre is None:
        a, b = one.direction(0.5), two.direction(0.5)
        cross = (a.conjugate() * b).imag
        p, q = one.end + 1j * radius * a, two.start + 1j * radius * b
        return [p + a * ((q - p).conjugate() * b).imag / cross] if cross else []
    if two.centre is None:
        return _centres(two, one, radius)
    room = two.radius - radius if two.turn > 0 else -two.radius + radius
    if room <= 0:
        return []
    if one.centre is None:
        a = one.direction(0.5)
        p = one.end + 1j * radius * a
        foot = p + a * ((two.centre - p) * a.conjugate()).real
        square = room**2 - abs(foot - two.centre) ** 2
        return [foot + sign * a * math.sqrt(square) for sign in (-1, 1)] if square >= 0 else []
    other = one.radius - radius if one.turn > 0 else -one.radius + radius
    apart = two.centre - one.centre
    size = abs(apart)
    if other <= 0 or size == 0:
        return []
    along = (other**2 - room**2 + size**2) / (2 * size)
    square = other**2 - along**2
    if square < 0:
        return []
    foot = one.centre + apart / size * along
    return [foot + sign * 1j * apart / size * math.sqrt(square) for sign in (-1, 1)]


def _with(path: ArcPath, sides: Sequence[_Side], found: Sequence[_Round]) -> ArcPath:
    """A path with its roundings in place of corners; the arcs follow no face."""
    n = len(path.bulge)
    begins = {each.row: each for each in found}
    ends = {(each.row - 1) % n: each for each in found}
    points: list[complex] = []
    bulge: list[float] = []
    source: list[int] = []
    for row, side in enumerate(sides):
        start, end = begins.get(row), ends.get(row)
        first = 0.0 if start is None else start.after
        last = 1.0 if end is None else end.before
        points.append(side.start if start is None else side.at(first))
        bulge.append(math.tan(side.turn * (last - first) / 4) if side.turn else 0.0)
        source.append(row)
        if end is not None:
            points.append(side.at(last))
            bulge.append(math.tan(end.turn / 4))
            source.append(-1)
    if not path.closed:
        points.append(sides[-1].end)
    rows = np.array(source)
    kept = rows >= 0
    return ArcPath(
        points=np.column_stack([np.real(points), np.imag(points)]),
        bulge=np.array(bulge),
        face=np.where(kept, path.face[rows], -1).astype(np.int32),
        support=np.where(kept, path.support[rows], -1).astype(np.int32),
        closed=path.closed,
    )
