"""A path as the moves that its printed digits say, and how far they stray from it.

Everything here is in units of the last place of the words, so printed numbers are whole numbers. Points
are complex: x + i y.

*Rounding.* Both ends of an arc are rounded. The centre is moved to where the rounded ends and the same
bulge put it, on the perpendicular bisector of the rounded chord, and rounded from there.

*Bound.* An exact move A and a printed move B are run through with the same share t of their sweep, so
D(t) = A(t) - B(t) bounds their Fréchet distance. For lines D is linear. A centre-form arc whose two radii
R0, R1 differ can be read with the one, the other or any blend of them: for fixed t the norm of D is convex
in the radius, so the two extremes bound all readings. With c, C the centres and s, s' the sweeps

    |D''| <= s^2 (max |D| + |c - C|) + |s'^2 - s^2| R,

and a curve stays within h^2/8 max |D''| of its chord over steps of h, so samples at t = 0, 1/4, ..., 1
bound |D| everywhere.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ends_of
from beadwright.errors import InternalError
from beadwright.post._words import Words

# An arc that rises less than this many units of the last place above its chord is printed as a line: its
# direction and centre would be made of rounding, and the line is nearer (0.71 + 1 against 2.42 units).
FLAT_BELOW = 1.0
# An arc of a few units of the last place may have no legal whole-numbered centre; up to this rise a line is
# taken for it (and measured), above it that would be a fault.
FLAT_AT_MOST = 8.0
# Centres tried where the nearest would turn the arc by more than half a turn.
AROUND = np.array([complex(i, j) for i in (-1, 0, 1, 2) for j in (-1, 0, 1, 2)])
# Share of the arc rule that such a centre may use up.
RULE_SHARE = 0.9
# Cross products nearer to 0 than this share of their parts are redone in integers; doubles are good to 4e-16.
NEAR_ZERO = 1e-9
# Each number here went through at most about 16 roundings of 2^-53 of the greatest coordinate.
ROUNDING = 16 * 2.0**-53

Complex = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrintedMoves:
    """Moves as printed, in units of the last place (m moves that are left).

    Attributes
    ----------
    start : complex
        Where the first move starts.
    end : (m,) complex
        Where each move ends; whole numbers.
    centre : (m,) complex
        Centre from the move's start (words I, J); whole numbers, 0 for a line.
    turn : (m,) int8
        0 a line, 1 counter-clockwise (G3), -1 clockwise (G2).
    radius : (m,) float
        Of arcs told by their radius, whole numbers; 0 for a line, and where arcs are told by their centre.
    source : (m,) int
        Row of the path's move that each stands for.
    bound : float
        Greatest distance between a move as read, by any reading, and the exact move.
    n_flat, n_dropped : int
        Arcs printed as lines; moves that vanished. Both are within `bound`.
    """

    start: complex
    end: Complex
    centre: Complex
    turn: npt.NDArray[np.int8]
    radius: Floats
    source: npt.NDArray[np.int64]
    bound: float
    n_flat: int
    n_dropped: int

    def part(self, first: int, end: int) -> PrintedMoves:
        """Some moves of it, from a row up to before another."""
        if not first and end >= len(self.turn):
            return self
        rows = slice(first, end)
        return replace(
            self,
            start=complex(self.end[first - 1]) if first else self.start,
            end=self.end[rows],
            centre=self.centre[rows],
            turn=self.turn[rows],
            radius=self.radius[rows],
            source=self.source[rows],
        )


class Moves(NamedTuple):
    """Exact ends p0, p1, printed ends q0, q1 and bulges b of some moves."""

    p0: Complex
    p1: Complex
    q0: Complex
    q1: Complex
    b: Floats

    def at(self, rows: npt.NDArray[np.int64] | npt.NDArray[np.bool_]) -> Moves:
        """Some of the moves."""
        return Moves(self.p0[rows], self.p1[rows], self.q0[rows], self.q1[rows], self.b[rows])


def print_path(path: ArcPath, words: Words, *, by_radius: bool = False) -> PrintedMoves:
    """Round a path to the digits of its words and bound what that moved: `print_paths` of one."""
    return print_paths([path], words, by_radius=by_radius)[0]


def print_paths(paths: Sequence[ArcPath], words: Words, *, by_radius: bool = False) -> list[PrintedMoves]:
    """Round paths to the digits of their words and bound what that moved.

    Parameters
    ----------
    paths : sequence of ArcPath
        Lines, and arcs of at most half a turn, mm.
    words : Words
        Unit and decimals.
    by_radius : bool
        Arcs are told by their radius; they turn by at most a quarter.

    Returns
    -------
    list of PrintedMoves
        Of each path. Every arc obeys the standard's arc rule and turns by at most half a turn, *as printed*.
        Guaranteed: every reading of the moves lies within ``bound`` of the path in the sense of Fréchet.

    Raises
    ------
    InternalError
        If an arc turns by more than half a turn, or cannot be printed within the arc rule.
    """
    ends = ends_of(paths)
    bulge = ends.bulge
    if np.any(np.abs(bulge) > 1):
        msg = f"an arc turns by more than half a turn: bulge {np.abs(bulge).max()}"
        raise InternalError(msg)
    exact = ends.points[:, 0] * words.scale + 1j * (ends.points[:, 1] * words.scale)
    whole = np.rint(exact.real) + 0.0 + 1j * (np.rint(exact.imag) + 0.0)
    moves = Moves(exact[ends.start], exact[ends.end], whole[ends.start], whole[ends.end], bulge)

    rise = np.abs(bulge) * np.abs(moves.p1 - moves.p0) / 2
    arcs = np.flatnonzero(rise > FLAT_BELOW)
    centre = np.zeros(len(rise), complex)
    radius = np.zeros(len(rise))
    turn = np.zeros(len(rise), np.int8)
    if len(arcs):
        own = moves.at(arcs)
        middle, legal = _centres_by_radius(own) if by_radius else _centres(own, words.arc_rule)
        if np.any(~legal & (rise[arcs] > FLAT_AT_MOST)):
            worst = arcs[~legal][int(np.argmax(rise[arcs[~legal]]))]
            msg = f"no legal centre for the arc at {ends.points[ends.start[worst]]} mm, bulge {bulge[worst]}"
            raise InternalError(msg)
        arcs, own, middle = arcs[legal], own.at(legal), middle[legal]
        centre[arcs] = middle
        turn[arcs] = np.sign(own.b).astype(np.int8)
        if by_radius:
            radius[arcs] = np.rint(np.abs(middle))
    off, reach = strays(moves, centre, turn), np.abs(exact)
    kept = moves.q0 != moves.q1
    flat = (bulge != 0) & (turn == 0) & kept
    made = []
    points, rows = ends.first_point.tolist(), ends.first_move.tolist()
    for (a, b), (first, end) in zip(itertools.pairwise(points), itertools.pairwise(rows), strict=True):
        source = np.flatnonzero(kept[first:end])
        left = slice(first, end) if len(source) == end - first else source + first
        made.append(
            PrintedMoves(
                start=complex(whole[a]),
                end=moves.q1[left],
                centre=centre[left],
                turn=turn[left],
                radius=radius[left],
                source=source,
                bound=float(off[first:end].max(initial=0.0)) + ROUNDING * float(reach[a:b].max(initial=0.0)),
                n_flat=int(np.count_nonzero(flat[first:end])),
                n_dropped=end - first - len(source),
            )
        )
    return made


def _side(a: Complex, b: Complex) -> Floats:
    """Sign of the cross product a x b of whole numbers, exact where it matters.

    In doubles where it is far from 0; else in integers: then both are of one size, and 64 bits hold their
    product up to 3e9 units of the last place (300 m at 4 decimals).
    """
    left, right = a.real * b.imag, a.imag * b.real
    cross: Floats = left - right
    doubtful = np.abs(left - right) <= NEAR_ZERO * (np.abs(left) + np.abs(right))
    if doubtful.any():
        ax, ay, bx, by = (v[doubtful].astype(np.int64) for v in (a.real, a.imag, b.real, b.imag))
        cross[doubtful] = ax * by - ay * bx
    return np.asarray(np.sign(cross))


def _mismatch(chord: Complex, centre: Complex) -> Floats:
    """Difference of the two radii of an arc from 0 to `chord` about `centre`, without cancellation."""
    ends = chord - 2 * centre
    along = chord.real * ends.real + chord.imag * ends.imag
    result: Floats = np.abs(along) / np.maximum(np.abs(centre) + np.abs(chord - centre), 1.0)
    return result


def _centres(moves: Moves, rule: float) -> tuple[Complex, npt.NDArray[np.bool_]]:
    """Whole-numbered centre of each arc from its start, and whether it is legal as printed."""
    chord, b = moves.q1 - moves.q0, moves.b
    ideal = chord / 2 + 1j * chord * ((1 - b * b) / (4 * b))
    centre = np.rint(ideal.real) + 0.0 + 1j * (np.rint(ideal.imag) + 0.0)
    side = np.sign(b)

    wrong = np.flatnonzero(side * _side(chord, centre) < 0)
    if len(wrong):
        base = np.floor(ideal[wrong].real) + 1j * np.floor(ideal[wrong].imag)
        tried = base[:, None] + AROUND[None, :]
        chords = np.repeat(chord[wrong, None], len(AROUND), axis=1)
        fit = (side[wrong, None] * _side(chords, tried) >= 0) & (
            _mismatch(chords, tried) <= RULE_SHARE * rule
        )
        far = np.where(fit, np.abs(tried - ideal[wrong, None]), np.inf)
        centre[wrong] = tried[np.arange(len(wrong)), np.argmin(far, axis=1)]

    radii = np.minimum(np.abs(centre), np.abs(chord - centre))
    legal = (side * _side(chord, centre) >= 0) & (_mismatch(chord, centre) <= rule) & (radii >= 1)
    return centre, legal


def _centres_by_radius(moves: Moves) -> tuple[Complex, npt.NDArray[np.bool_]]:
    """Centre from the start of each arc as its rounded ends and whole-numbered radius put it, and if it can be."""
    chord, b = moves.q1 - moves.q0, moves.b
    length = np.abs(chord)
    radius = np.rint(np.abs(moves.p1 - moves.p0) * (1 + b * b) / (4 * np.abs(b)))
    radius = np.maximum(radius, np.ceil(length / 2))
    high = np.sqrt(np.maximum(radius**2 - (length / 2) ** 2, 0.0))
    centre = chord / 2 + 1j * np.sign(b) * chord / np.where(length > 0, length, 1.0) * high
    return centre, (length > 0) & (radius >= 1)


def strays(moves: Moves, centre: Complex, turn: npt.NDArray[np.int8]) -> Floats:
    """How far each move as printed, by any reading, may lie from the exact one: the check of what was rounded.

    Parameters
    ----------
    moves : Moves
        k moves.
    centre : (k,) complex
        As printed, from the move's printed start; of an arc only.
    turn : (k,) int
        0 where a line is printed.
    """
    # A line's D runs straight from one end's error to the other's; a flattened arc adds its rise.
    rise = np.abs(moves.b) * np.abs(moves.p1 - moves.p0) / 2
    off: Floats = np.maximum(np.abs(moves.p0 - moves.q0), np.abs(moves.p1 - moves.q1)) + rise
    arcs = np.flatnonzero(turn)
    if len(arcs):
        off[arcs] = _arc_bounds(moves.at(arcs), centre[arcs])
    return off


def _arc_bounds(moves: Moves, centre: Complex) -> Floats:
    """Bound of |D| over each arc and every reading of it (see the module)."""
    p0, p1, q0, q1, b = moves
    w, chord = p1 - p0, q1 - q0
    a0, a1 = -centre, chord - centre
    r0, r1 = np.abs(a0), np.abs(a1)
    sweep = 4 * np.arctan(b)
    cross = chord.imag * a0.real - chord.real * a0.imag
    dot = a0.real * a1.real + a0.imag * a1.imag
    printed = np.sign(b) * np.arctan2(np.abs(cross), dot)

    # Ends, read with either radius; then the quarters.
    gap = np.abs(r0 - r1)
    worst = np.maximum(np.abs(p0 - q0), np.abs(p1 - q1)) + gap
    half = np.sin(sweep / 2)
    for t in (0.25, 0.5, 0.75):
        true = p0 + w * (np.exp(0.5j * (t - 1) * sweep) * (np.sin(t * sweep / 2) / half))
        ahead = q0 + a0 * _turned(t * printed)
        back = q1 + a1 * _turned((t - 1) * printed)
        worst = np.maximum(worst, np.maximum(np.abs(true - ahead), np.abs(true - back)))

    true_centre = w / 2 + 1j * w * ((1 - b * b) / (4 * b))
    apart = np.abs((p0 - q0) + true_centre - centre)
    bend = sweep**2 * apart + np.abs(printed**2 - sweep**2) * np.maximum(r0, r1)
    result: Floats = (worst + bend / 128) / (1 - sweep**2 / 128)
    return result


def _turned(angle: Floats) -> Complex:
    """exp(i angle) - 1 without cancellation."""
    result: Complex = 2j * np.sin(angle / 2) * np.exp(0.5j * angle)
    return result
