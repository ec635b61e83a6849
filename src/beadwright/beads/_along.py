"""Lines and arcs along a curve through points of it, each sharing its tangent with the next.

`through` lays moves whose joints are points of the curve; the moves meet there at up to some hundredths of a radian.
Here joints are moved aside and arcs bent until no two moves meet at an angle, by as little as possible: the greatest
distance of the points from the moves is made small by Gauss-Newton steps, the equality of tangents a linear constraint
of each, the weights of far points raised (C. L. Lawson, "Contributions to the theory of linear least maximum
approximation", thesis, University of California 1961). On a curve of slowly changing curvature that costs few moves:
the error of an arc between two points of the curve and that of one of a smooth chain are the same cubic. Where the
curve bends sharply within a short way, as beside a blunt corner of the wall, a joint gives way to a short arc.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.beads._curve import STRAIGHT, joints_of, through
from beadwright.curves import ArcPath, chord_runs, lengths

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Entries = tuple[tuple[Ints, Ints, Floats], ...]
"""Rows, columns and values of a matrix."""

# Most chains tried until a smooth one keeps the tolerance, and the least change of the share of it that each joint has.
TRIES, LESS = 10, 0.95
# A joint with a greater turn than this, rad, gives way to a short arc before others do.
TURN = 1e-5
# Length on both sides of a joint that the short arc takes where there is room, mm: some ms of feed.
EASE = 0.25
# Steps: the weights follow the distances in all but the last ones, in which the turns vanish.
STEPS, LAST = 9, 4
# Arcs that rise by less than this above their chords become lines, mm, for a program's words may not tell them apart.
LEVEL = 2e-4
# Points nearer to each other than this say no more than one of them, mm: halving towards a change of what a disc
# touches leaves crowds, whose places may lie apart by less than the joining of middles moves their ends.
CROWD = 1e-2
# Moves of a chain beyond which its equations are solved as the band they are: below, the whole matrix is faster.
LONG = 120
# Turns between moves that count as none, rad.
SMOOTH = 1e-10
# Weight that the nearest points keep beside the farthest one's; damping of the steps as a share of the normal
# equations' size, so that a joint that no point asks about stays.
FLOOR, DAMPING = 0.02, 1e-12
# Bulge below which an arc is measured as a line: its centre's place would be lost to rounding.
FLAT = 1e-9


def along(points: Floats, corner: Flags, *, closed: bool, tolerance: float) -> tuple[ArcPath, Floats]:
    """The path of few lines and arcs along a curve, without an angle between moves but at its corners.

    Where no smooth chain of some more moves keeps the tolerance, it is that of `through`.

    Parameters
    ----------
    points : (n, 2) float
        At least two, mm; of a closed curve the last is the first.
    corner : (n,) bool
        Whether the curve itself has a corner there. A closed curve that has one begins in one.
    closed : bool
    tolerance : float
        Greatest distance of the points from the path, mm.

    Returns
    -------
    path : ArcPath
        It starts in the first point and, open, ends in the last; a smooth closed one starts beside the first.
    at : (n,) float
        Where on it each point lies: length from its start, mm.
    """
    cuts = [0, *(np.flatnonzero(corner[1:-1]) + 1).tolist(), len(points) - 1]
    round_ = closed and len(cuts) == 2 and not corner[0]
    rows: list[Ints] = []
    joints: list[Floats] = []
    bulges: list[Floats] = []
    for first, last in itertools.pairwise(cuts):
        own = first + _apart(points[first : last + 1])
        row, at, bulge = _smooth(points[own], round_, tolerance)
        rows.append(own[row[:-1]])
        joints.append(at[:-1])
        bulges.append(bulge)
    bulge = np.concatenate(bulges)
    path = ArcPath(
        points=np.concatenate(joints if closed else [*joints, points[-1:]]),
        bulge=bulge,
        face=np.full(len(bulge), -1, np.int32),
        support=np.full(len(bulge), -1, np.int32),
        closed=closed,
    )
    chord = chord_runs(points)
    row = np.append(np.concatenate(rows), len(points) - 1)
    return path, np.interp(chord, chord[row], np.concatenate([[0.0], np.cumsum(lengths(path))]))


def _apart(points: Floats) -> Ints:
    """Rows of points without crowds: the ends, and what lies apart from these and each other."""
    kept = [0]
    for row in range(1, len(points) - 1):
        if min(np.hypot(*(points[row] - points[[kept[-1], -1]]).T)) > CROWD:
            kept.append(row)
    return np.array([*kept, len(points) - 1])


def _smooth(points: Floats, closed: bool, tolerance: float) -> tuple[Ints, Floats, Floats]:
    """Rows of joints, the joints, and the bulges between them, of a curve without corners."""
    rows, bulge = first = _through(points, closed, tolerance)
    share, eased = 1.0, False
    for _ in range(TRIES):
        found = _relaxed(points, rows, bulge, closed)
        miss = np.full(len(points), np.inf) if found is None else np.abs(found[2])
        if found is not None and miss.max() <= tolerance:
            level = _rises(found[0], found[1]) < LEVEL
            if (level & (found[1] != 0)).any():
                lines = _relaxed(points, rows, np.where(level, 0.0, found[1]), closed)
                found = lines if lines is not None and np.abs(lines[2]).max() <= tolerance else found
            return rows, found[0], found[1]
        before = len(rows)
        if not eased:
            # The distance grows with the third power of the moves' lengths, as that with which joints are chosen.
            share *= LESS * max(0.5, min(1.0, tolerance / float(miss.max())))
            finer = _through(points, closed, share * tolerance)
            eased = len(finer[0]) == before
            rows, bulge = (rows, bulge) if eased else finer
        if eased:
            rows, bulge = _eased(points, rows, bulge, miss > tolerance)
        if len(rows) == before:
            break
    rows, bulge = first
    return rows, points[rows], bulge


def _rises(joints: Floats, bulge: Floats) -> Floats:
    """How far moves rise above their chords, mm."""
    return np.asarray(np.hypot(*np.diff(joints, axis=0).T) * np.abs(bulge) / 2)


def _through(points: Floats, closed: bool, tolerance: float) -> tuple[Ints, Floats]:
    """Rows of the joints of `through`, and its bulges."""
    path = through(points, closed=closed, tolerance=tolerance)
    return joints_of(path, points), path.bulge


def _turns(chord: Floats, half: Floats) -> Floats:
    """Turn at the start of each move from the one before, the last one's for the first, rad."""
    heading = np.arctan2(chord[:, 1], chord[:, 0])
    turn = heading - half - np.roll(heading + half, 1)
    return np.asarray((turn + np.pi) % (2 * np.pi) - np.pi)


def _eased(points: Floats, rows: Ints, bulge: Floats, bad: Flags) -> tuple[Ints, Floats]:
    """Two joints in place of each one beside points that are missed, where there is room."""
    half = 2 * np.arctan(bulge)
    turn = _turns(np.diff(points[rows], axis=0), half)
    run = chord_runs(points)
    step = np.diff(rows)
    room = np.zeros(len(rows), bool)
    room[1:-1] = (step[1:] > 1) & (step[:-1] > 1)
    # Those that turn before those that do not, then the nearest.
    first = np.where(np.abs(np.append(turn, 0.0)) > TURN, 0.0, run[-1])
    chosen = np.zeros(len(rows), bool)
    for part in np.split(np.arange(len(bad)), np.flatnonzero(np.diff(bad)) + 1):
        if bad[part[0]] and room.any():
            asked = np.where(room, first + np.abs(run[rows] - run[part].mean()), np.inf)
            chosen[int(np.argmin(asked))] = True
            room &= ~chosen
    low = np.maximum(np.searchsorted(run, run[rows] - EASE, side="right") - 1, np.append(0, rows[:-1] + 1))
    high = np.minimum(np.searchsorted(run, run[rows] + EASE), np.append(rows[1:] - 1, rows[-1]))
    kept: list[int] = []
    for row in range(len(rows)):
        both = [low[row], high[row]] if chosen[row] else [rows[row]]
        kept += [int(at) for at in both if not kept or at > kept[-1]]
    new = np.array(kept)
    # Each turns as much as what it stands for.
    inner, passed = rows[1:-1], np.concatenate([[0.0], np.cumsum(turn[1:])])
    own = np.diff(np.interp(run[new], run[rows], np.concatenate([[0.0], np.cumsum(2 * half)])))
    own += passed[np.searchsorted(inner, new[1:])] - passed[np.searchsorted(inner, new[:-1], side="right")]
    return new, np.tan(own / 4)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Chain:
    """Joints with the ways they may be moved aside, moves' points, and which unknown is a joint's shift."""

    base: Floats  # (m + 1, 2), the last of a closed chain the first
    aside: Floats  # (m + 1, 2) unit
    at: Floats  # (n, 2)
    move: Ints  # (n,)
    column: Ints  # (m + 1,) -1 of a joint that stays
    joint: Ints  # at whose start moves may turn
    straight: Ints  # moves that are lines


def _chain(points: Floats, rows: Ints, bulge: Floats, closed: bool) -> _Chain:
    count = len(bulge)
    base = points[rows]
    chord = np.diff(base, axis=0)
    way = chord / np.hypot(*chord.T)[:, None]
    both = np.concatenate([way[:1], way[1:] + way[:-1], way[-1:]])
    if closed:
        both[[0, -1]] = way[0] + way[-1]
    both = both / np.hypot(*both.T)[:, None]
    at = points[: len(points) - closed]
    joint = np.arange(0 if closed else 1, count)
    column = np.full(count + 1, -1)
    column[joint] = np.arange(len(joint))
    column[-1] = 0 if closed else -1
    return _Chain(
        base=base,
        aside=np.stack([-both[:, 1], both[:, 0]], axis=1),
        at=at,
        move=np.clip(np.searchsorted(rows, np.arange(len(at)), side="right") - 1, 0, count - 1),
        column=column,
        joint=joint,
        straight=np.flatnonzero(bulge == 0),
    )


def _relaxed(points: Floats, rows: Ints, bulge: Floats, closed: bool) -> tuple[Floats, Floats, Floats] | None:
    """Joints and bulges of a smooth chain near another, and how points miss it, mm; None if none was found."""
    if len(bulge) == 1:
        return None if closed else (points[rows], bulge, np.zeros(len(points)))
    chain = _chain(points, rows, bulge, closed)
    shift, half = np.zeros(len(rows)), 2 * np.arctan(bulge)
    weight = np.ones(len(chain.at))
    for step in range(STEPS):
        place = chain.base + shift[:, None] * chain.aside
        chord = np.diff(place, axis=0)
        miss, share = _missed(chain.at, chain.move, place, chord, half)
        turn = _turns(chord, half)[chain.joint]
        if step >= STEPS - LAST and np.abs(turn).max() < SMOOTH:
            bulge = np.tan(half / 2)
            bulge[_rises(place, bulge) < STRAIGHT] = 0.0
            return place, bulge, np.append(miss, miss[:1]) if closed else miss
        if step < STEPS - LAST:
            weight = (weight + (np.abs(miss) / max(np.abs(miss).max(), STRAIGHT)) ** 3 + FLOOR) / 2
        try:
            aside, bend = _solved(chain, chord, half, miss, share, turn, weight)
        except np.linalg.LinAlgError:
            break
        shift, half = shift + aside, half + bend
        half[chain.straight] = 0.0
        if not np.abs(half).max() < np.pi / 2:
            break
    return None


def _solved(
    chain: _Chain, chord: Floats, half: Floats, miss: Floats, share: Floats, turn: Floats, weight: Floats
) -> tuple[Floats, Floats]:
    """The step of shifts and half turns that misses the points by least and leaves no turn, to first order."""
    size = np.hypot(*chord.T)
    left = np.stack([-chord[:, 1], chord[:, 0]], axis=1) / size[:, None]
    moved, count, move = len(chain.joint), len(half), chain.move
    every, lines = np.arange(len(miss)), chain.straight
    distances = (
        (every, chain.column[move], -(1 - share) * (chain.aside[move] * left[move]).sum(axis=1)),
        (every, chain.column[move + 1], -share * (chain.aside[move + 1] * left[move]).sum(axis=1)),
        (every, moved + move, size[move] * share * (1 - share) / np.cos(half[move] / 2) ** 2),
    )
    start, end = (chain.aside[:-1] * left).sum(axis=1) / size, (chain.aside[1:] * left).sum(axis=1) / size
    row, own, before = np.arange(moved), chain.joint, (chain.joint - 1) % count
    held = (
        (row, chain.column[own], -start[own] - end[before]),
        (row, chain.column[own + 1], end[own]),
        (row, chain.column[before], start[before]),
        (row, moved + own, -np.ones(moved)),
        (row, moved + before, -np.ones(moved)),
        (moved + np.arange(len(lines)), moved + lines, np.ones(len(lines))),
    )
    solve = _by_band if count > LONG else _at_once
    x = solve(distances, held, moved + count, miss, weight, np.concatenate([turn, half[lines]]))
    return np.where(chain.column >= 0, x[chain.column], 0.0), x[moved : moved + count]


def _at_once(
    distances: Entries, held: Entries, unknowns: int, miss: Floats, weight: Floats, ask: Floats
) -> Floats:
    """Least weighted squares of distances under constraints that hold: Lagrange's equations, as they stand."""
    j, g = (_filled(entries, (len(of), unknowns)) for entries, of in ((distances, miss), (held, ask)))
    heavy = j * weight[:, None]
    normal = j.T @ heavy
    normal[np.diag_indices(unknowns)] += DAMPING * (1 + np.trace(normal))
    whole = np.block([[normal, g.T], [g, np.zeros((len(g), len(g)))]])
    return np.asarray(np.linalg.solve(whole, -np.concatenate([heavy.T @ miss, ask]))[:unknowns])


def _by_band(
    distances: Entries, held: Entries, unknowns: int, miss: Floats, weight: Floats, ask: Floats
) -> Floats:
    """The same of a long chain: a move knows its neighbours only, so time grows with the moves, not with their cube."""
    from scipy.sparse import block_array, coo_array, diags_array
    from scipy.sparse.linalg import splu

    def filled(entries: Entries, rows: int) -> Any:
        row, column, value = (np.concatenate(part) for part in zip(*entries, strict=True))
        kept = column >= 0
        return coo_array((value[kept], (row[kept], column[kept])), shape=(rows, unknowns)).tocsr()

    j, g = filled(distances, len(miss)), filled(held, len(ask))
    heavy = diags_array(weight) @ j
    normal = j.T @ heavy
    damping = DAMPING * (1 + normal.trace())
    whole = block_array([[normal + diags_array(np.full(unknowns, damping)), g.T], [g, None]], format="csc")
    try:
        factors = splu(whole)
    except RuntimeError as singular:  # what the library calls a matrix without an inverse
        raise np.linalg.LinAlgError(str(singular)) from singular
    return np.asarray(factors.solve(-np.concatenate([heavy.T @ miss, ask]))[:unknowns])


def _filled(entries: Entries, shape: tuple[int, int]) -> Floats:
    """A matrix of entries, those of one place added; column -1 is left out."""
    matrix = np.zeros((shape[0], shape[1] + 1))
    for row, column, value in entries:
        np.add.at(matrix, (row, column), value)
    return matrix[:, :-1]


def _missed(at: Floats, move: Ints, place: Floats, chord: Floats, half: Floats) -> tuple[Floats, Floats]:
    """How far points lie left of their moves, mm, and their shares of the chords."""
    c, s, b = chord[move], np.hypot(*chord.T)[move], np.tan(half[move] / 2)
    way = at - place[move]
    ahead = (way * c).sum(axis=1) / s
    off = (c[:, 0] * way[:, 1] - c[:, 1] * way[:, 0]) / s
    flat = np.abs(b) < FLAT
    safe = np.where(flat, 1.0, b)
    rise = s * (1 - safe * safe) / (4 * safe)
    radius = s * (1 + safe * safe) / (4 * np.abs(safe))
    arc = np.sign(safe) * (radius - np.hypot(ahead - s / 2, off - rise))
    return np.where(flat, off, arc), np.clip(ahead / s, 0.0, 1.0)
