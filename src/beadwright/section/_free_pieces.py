"""Parts of free-form level curves as Bezier pieces with a bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.errors import GeometryError
from beadwright.section._free import FreeFace
from beadwright.section._free_branches import FreeBranches

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

TOLERANCE = 2e-7
"""A piece farther than this from the curve is cut in two, mm."""
MOST_PIECES = 2**14
"""More quintics than this for each part of a curve on the average, and the surface is none to be cut."""
NEAR_TANGENT = 1e-4
"""Angle between surface and plane below which a part of a curve is flagged, rad."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FreePieces:
    """Bezier pieces of n parts of branches, in the form of `CurveLoops`.

    Attributes
    ----------
    first_piece : (n + 1,) int32
    degree : (p,) int32
    first_control : (p + 1,) int32
    control : (c, 3) float
        ``(w x, w y, w)``, w = 1, mm. Ends of neighbouring pieces are the same bits.
    bound : (n,) float
        Distance to the true level curve, mm, as Frechet distance.
    near_tangent : (n,) bool
        Whether surface and plane come nearer to each other than `NEAR_TANGENT`.
    unsure : (n,) float
        How far rounding may move the curve in the plane, mm.
    chords : (n, 3) float
        Greatest bound of a stretch carried as a chord across its cell, mm, 0 if there is none: because the cell
        could not be decided; because the surface's derivatives there are parallel or vanish, as at a pole;
        because the curve turns too sharply to be followed. Part of `bound`.
    """

    first_piece: npt.NDArray[np.int32]
    degree: npt.NDArray[np.int32]
    first_control: npt.NDArray[np.int32]
    control: Array
    bound: Array
    near_tangent: npt.NDArray[np.bool_]
    unsure: Array
    chords: Array


def free_pieces(
    free: FreeFace,
    branches: FreeBranches,
    rows: npt.ArrayLike,
    s0: npt.ArrayLike,
    s1: npt.ArrayLike,
    tolerance: float = TOLERANCE,
) -> FreePieces:
    """Parts of branches as quintics.

    Parameters
    ----------
    free : FreeFace
    branches : FreeBranches
        Of the same face.
    rows : (n,) int
        Branches.
    s0, s1 : (n,) float
        From where to where. On a closed branch s1 <= s0 runs past the start, s1 = s0 the whole turn.
    tolerance : float
        A quintic farther than this from the curve is cut in two, mm.

    Returns
    -------
    FreePieces

    Notes
    -----
    A quintic has the true point, tangent and curvature at both ends, by implicit differentiation. Beside (x, y) it
    carries (u, v) with the same derivatives; then S(u(t), v(t)) lies on the surface exactly, and what (x, y, h) is off
    from it vanishes like t^3 (1 - t)^3. The bound is *proven* for every place of a piece (`_kernels/free_proof.py`):

    1. What is off between three places where it is looked at is the interpolating polynomial's, bounded by those
       three values, and a rest, bounded by Cauchy's integral over a circle (P. Davis, Interpolation and
       Approximation, 1963, section 3.6). Condition: the weight has no zero on its disc, which its Taylor
       coefficients tell.
    2. From (u(t), v(t)) the direction w of the steepest slope in the middle of the piece leads to the level curve
       within the residual of the height over the least slope along w. Condition: that slope is positive all
       around the path, ten residuals beside it included; then the level curve there is a graph across w.
    3. (u, v) goes on across w all along: differences of the control points keep their sign. So the way from
       place to place is monotone, and the distance one of Fréchet.

    A piece that misses a condition is cut shorter; one too short to cut is a chord (``chords``), bounded by the
    greatest derivatives of its span. Rounding is not directed: half a unit of the last place of the greatest
    coordinate for each product summed up, and four times that, over the slope, is in the bound.
    """
    from beadwright.section._kernels.free_pieces import carry

    rows = np.atleast_1d(np.asarray(rows, dtype=np.int64))
    start = np.atleast_1d(np.asarray(s0, dtype=float))
    stop = np.atleast_1d(np.asarray(s1, dtype=float))
    jobs, fractions, first_job = _jobs(branches, rows, start, stop)
    room = 4 * len(jobs) + 16
    while True:
        control = np.empty((room, 6, 2))
        first = np.zeros(len(jobs) + 1, dtype=np.int64)
        bound, flat, unsure = np.empty(len(jobs)), np.empty(len(jobs)), np.empty(len(jobs))
        chords = np.empty((len(jobs), 3))
        count = carry(
            free.coef,
            free.metric,
            branches.heights,
            free.size,
            tolerance,
            free.steep,
            branches.piece_span,
            branches.piece_box,
            branches.piece_way,
            branches.piece_uv,
            branches.piece_xy,
            jobs,
            fractions,
            control,
            first,
            bound,
            flat,
            unsure,
            chords,
        )
        if count >= 0:
            break
        if room > MOST_PIECES * (len(jobs) + 1):
            raise GeometryError(
                f"a section curve of a free-form face needs more than {MOST_PIECES} pieces to be followed within"
                f" {tolerance:.3g} mm; the face is damaged or folded: check it in the CAD"
            )
        room *= 4
    control = control[:count]
    _weld(branches, jobs, fractions, first, control)
    turn = np.flatnonzero(branches.closed[rows] & (start == stop))
    control[first[first_job[turn + 1]] - 1, 5] = control[first[first_job[turn]], 0]
    flat_control = np.ones((6 * count, 3))
    flat_control[:, :2] = control.reshape(-1, 2)
    groups = first_job[:-1]
    return FreePieces(
        first_piece=first[first_job].astype(np.int32),
        degree=np.full(count, 5, dtype=np.int32),
        first_control=np.arange(0, 6 * count + 1, 6, dtype=np.int32),
        control=flat_control,
        bound=np.maximum.reduceat(bound, groups) + free.bound if len(groups) else bound,
        near_tangent=np.minimum.reduceat(flat, groups) < NEAR_TANGENT if len(groups) else flat < 0.0,
        unsure=np.maximum.reduceat(unsure, groups) if len(groups) else unsure,
        chords=np.maximum.reduceat(chords, groups) if len(groups) else chords,
    )


def _jobs(branches: FreeBranches, rows: Index, s0: Array, s1: Array) -> tuple[Index, Array, Index]:
    """One job a passed cell: (row, plane, piece), fractions, and the first job of each row."""
    jobs, fractions, first = [], [], [0]
    for row, branch in enumerate(rows):
        begin = int(branches.first_piece[branch])
        n = int(branches.first_piece[branch + 1]) - begin
        a, b = float(s0[row]), float(s1[row])
        if branches.closed[branch] and b <= a:
            b += n
        low = min(int(np.floor(a)), n - 1)
        k = np.arange(low, max(int(np.ceil(b)), low + 1))
        part = np.stack((np.maximum(a - k, 0.0), np.minimum(b - k, 1.0)), axis=1)
        keep = part[:, 1] > part[:, 0]
        if not keep.any():
            keep[0] = True
        k, part = k[keep], part[keep]
        jobs.append(
            np.stack((np.full(len(k), row), np.full(len(k), branches.plane[branch]), begin + k % n), axis=1)
        )
        fractions.append(part)
        first.append(first[-1] + len(k))
    if not jobs:
        return np.empty((0, 3), dtype=np.int64), np.empty((0, 2)), np.array(first, dtype=np.int64)
    return np.concatenate(jobs), np.concatenate(fractions), np.array(first, dtype=np.int64)


def _weld(branches: FreeBranches, jobs: Index, fractions: Array, first: Index, control: Array) -> None:
    """Give the ends at the border of a cell the one point that both cells share."""
    if len(control) == 0:
        return
    at_start = fractions[:, 0] == 0.0
    control[first[:-1][at_start], 0] = branches.piece_xy[jobs[at_start, 2], :2]
    at_end = fractions[:, 1] == 1.0
    control[first[1:][at_end] - 1, 5] = branches.piece_xy[jobs[at_end, 2], 2:]
