"""Branches of the level curves of a free-form face, all planes together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.errors import GeometryError
from beadwright.section._free import FreeFace

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

NOISE = 64 * 2.0**-53
"""Rounding of a Bernstein coefficient of Z - hW, relative to the greatest coordinate."""
TABLE = 1 << 13
MOST_CELLS = 1 << 14
"""Cells of one plane beyond which the face is given up (a table of this size is a sign of damage)."""


class FreeFaceError(GeometryError):
    """A plane needs more cells than any sound face has."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FreeBranches:
    """Branches at k heights: b branches of together m pieces, one a passage of a cell.

    A branch runs with z > h on its left in (u, v), which puts material on its left in the plane, seen
    from above, where dS/du x dS/dv points out of the solid; where it does not, read it backwards.
    The parameter s of a branch with n pieces runs from 0 to n; piece i of it covers [i, i + 1].

    Attributes
    ----------
    heights : (k,) float
    plane : (b,) int64
        Row of the height, never falling.
    closed : (b,) bool
    first_piece : (b + 1,) int64
    sample : (b, 2) float
        Parameters (u, v) of a point on each branch, in the middle of its middle piece.
    start, end : (b, 2) float
        x, y of the ends, mm; the same for a closed one.
    cells, conflicts : (k,) int64
        Cells used for each plane; crossings that did not alternate.
    hidden : (k,) float
        Greatest size of a cell that could not be decided, mm; 0 if there is none.
    piece_span : (m, 2) int64
        Span of each piece, and 1 if its cell is simple.
    piece_box, piece_uv, piece_xy : (m, 4) float
        Cell inside the span (u0, v0, u1, v1); entry and exit (u, v, u, v) inside the span and (x, y, x, y).
    piece_way : (m, 2) float
        Direction of rising z in (u, v) scaled to space, in which each line meets the curve once.
    """

    heights: Array
    plane: Index
    closed: npt.NDArray[np.bool_]
    first_piece: Index
    sample: Array
    start: Array
    end: Array
    cells: Index
    hidden: Array
    conflicts: Index
    piece_span: Index
    piece_box: Array
    piece_uv: Array
    piece_xy: Array
    piece_way: Array


def free_branches(free: FreeFace, heights: npt.ArrayLike) -> FreeBranches:
    """Level curves z = h of a packed face.

    Parameters
    ----------
    free : FreeFace
    heights : (k,) float
        mm.

    Returns
    -------
    FreeBranches
        In the order of the heights given.

    Raises
    ------
    FreeFaceError
        A plane needs more than `MOST_CELLS` cells.

    Notes
    -----
    A span that the plane meets is halved until the gradients of its hull, measured in space, lie in a
    cone; then no closed loop hides in it (T. Sederberg, R. Meyers, Loop detection in surface patch
    intersections, CAGD 5 (1988) 161-171) and its border crossings, sorted across the cone's axis, pair
    up. Signs of corners and crossings of sides are decided once for both cells beside them.
    """
    from beadwright.section._kernels.free_chain import chain_planes
    from beadwright.section._kernels.free_trace import samples

    heights = np.ascontiguousarray(np.atleast_1d(np.asarray(heights, dtype=float)))
    k = len(heights)
    p1, q1 = free.coef.shape[1:3]
    weight = float(free.coef[..., 3].max())
    noises = NOISE * weight * (free.size + np.abs(heights))
    table = TABLE
    room = 64 + 8 * k * int(free.shape[0] + free.shape[1])
    cells = max(256, min(4096, 2 * len(free.coef)))
    while True:
        keys = np.zeros((table, 2), dtype=np.int64)
        state = np.zeros((table, 6), dtype=np.int64)
        pieces = (
            np.empty((room, 2), dtype=np.int64),
            np.empty((room, 4)),
            np.empty((room, 2)),
            np.empty((room, 4)),
            np.empty((room, 4)),
        )
        branch = np.empty((room, 4), dtype=np.int64)
        report, hidden = np.zeros((k, 3), dtype=np.int64), np.zeros(k)
        leaf = np.empty((cells, p1, q1)), np.empty((cells, 6), dtype=np.int64), np.empty((cells, 2))
        count, used = chain_planes(
            free.coef,
            free.z_range,
            free.metric,
            free.shape,
            heights,
            noises,
            keys,
            state,
            *leaf,
            *pieces,
            branch,
            report,
            free.steep,
            hidden,
        )
        if count >= 0:
            break
        if cells >= MOST_CELLS:
            raise FreeFaceError(f"a plane meets more than {MOST_CELLS} cells of one face")
        table, room, cells = 4 * table, 4 * room, 4 * cells
    branch = branch[:count]
    span = pieces[0][:used].copy()
    box, way, uv, xy = (a[:used].copy() for a in pieces[1:])
    middle = (branch[:, 1] + branch[:, 2]) // 2
    inside = samples(free.coef, free.metric, heights[branch[:, 0]], span, box, way, uv, middle)
    place = np.stack((span[middle, 0] // free.shape[1], span[middle, 0] % free.shape[1]), axis=1)
    sample = np.empty((count, 2))
    for axis, (breaks, powers) in enumerate(((free.breaks_u, free.power_u), (free.breaks_v, free.power_v))):
        low, high = breaks[place[:, axis]], breaks[place[:, axis] + 1]
        power, t = powers[place[:, axis]], inside[:, axis]
        from_end = power < 0
        t = np.where(from_end, 1.0 - t, t) ** (1.0 / np.abs(power))
        sample[:, axis] = low + (high - low) * np.where(from_end, 1.0 - t, t)
    return FreeBranches(
        heights=heights,
        plane=branch[:, 0].copy(),
        closed=branch[:, 3] == 1,
        first_piece=np.append(branch[:, 1], used),
        sample=sample,
        start=xy[branch[:, 1], :2],
        end=xy[branch[:, 2] - 1, 2:],
        cells=report[:, 0].copy(),
        hidden=hidden,
        conflicts=report[:, 2].copy(),
        piece_span=span,
        piece_box=box,
        piece_uv=uv,
        piece_xy=xy,
        piece_way=way,
    )
