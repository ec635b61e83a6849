"""Where a closed bead may start, and the same path walked from there.

A path is cut at an interior point of a line or an arc exactly: both parts keep the line or circle that they
lie on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, chords, lengths, points_at

# Sites tried on one bead beside its own joints: enough to keep clear of other start points, and cheap.
MAX_SITES = 48
# An inside corner turns right by at least this (30 degrees), within a radius of at most this many offsets: an
# offset into the material rounds such a corner with a radius of one offset.
CORNER_TURN = np.pi / 6
CORNER_OFFSETS = 1.5
# A cut takes some eight roundings of the coordinates.
CUT_ROUNDING = 8 * 2.0**-53
# What the bulge of half a turn may lack of 1: roundings of a sum of sweeps, 7e-15 in hundreds of offset circles.
HALF_TURN = 2.0**-42


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sites:
    """Places where a closed path may start (k sites).

    Attributes
    ----------
    at : (k, 2) float
        Points on the path, mm.
    move : (k,) int
        Move that each lies on.
    share : (k,) float
        Share of the move's length before it; 0 is the move's own start.
    inside : (k,) bool
        Whether it stands at an inside corner.
    """

    at: npt.NDArray[np.float64]
    move: npt.NDArray[np.int64]
    share: npt.NDArray[np.float64]
    inside: npt.NDArray[np.bool_]


def sites(path: ArcPath, *, offset: float, spacing: float) -> Sites:
    """Joints, middles of inside corners, and points every `spacing` along the moves (or a 48th of the path).

    Parameters
    ----------
    path : ArcPath
        Closed.
    offset : float
        Distance from the boundary, mm: tells the rounding of an inside corner from other arcs.
    spacing : float
        Distance of sites along the path, mm.
    """
    run = lengths(path)
    turn = 4 * np.arctan(path.bulge)
    radius = run / np.maximum(np.abs(turn), 1e-300)
    corner = (turn <= -CORNER_TURN) & (radius <= CORNER_OFFSETS * abs(offset))

    step = max(spacing, float(run.sum()) / MAX_SITES)
    pieces = np.ceil(run / step).astype(np.int64)
    pieces = np.maximum(pieces, np.where(corner, 2, 1))
    move = np.repeat(np.arange(len(run)), pieces)
    first = np.cumsum(pieces) - pieces
    share = (np.arange(len(move)) - first[move]) / pieces[move]
    inside = corner[move] & (np.abs(share - 0.5) < 0.26)
    inside[first] |= _right_turn_at_joint(path, turn)
    return Sites(at=points_at(path, move, share), move=move, share=share, inside=inside)


def _right_turn_at_joint(path: ArcPath, turn: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    """Whether the path turns right by an inside corner's angle at the start of each move."""
    way = np.arctan2(*chords(path).T[::-1])
    arriving, leaving = np.roll(way + turn / 2, 1), way - turn / 2
    kink = np.remainder(leaving - arriving + np.pi, 2 * np.pi) - np.pi
    return np.asarray(kink <= -CORNER_TURN)


def started_at(path: ArcPath, move: int, share: float) -> ArcPath:
    """The same closed path, from a share of a move on.

    A new joint is made unless ``share`` is 0. It lies within `cut_bound` of the path, and each part of the
    cut move keeps its support. A circle of two half turns is two again, from there on.
    """
    if share == 0.0:
        if move == 0:
            return path
        return ArcPath(
            points=np.roll(path.points, -move, axis=0),
            bulge=np.roll(path.bulge, -move),
            face=np.roll(path.face, -move),
            support=np.roll(path.support, -move),
        )
    cut = points_at(path, np.array([move]), np.array([share]))
    if _is_circle(path):
        other = points_at(path, np.array([1 - move]), np.array([share]))
        return replace(path, points=np.concatenate([cut, other]), bulge=np.sign(path.bulge))
    quarter = np.arctan(path.bulge[move])
    rows = np.r_[move, np.arange(move + 1, len(path.bulge)), np.arange(move), move]
    bulge = path.bulge[rows]
    bulge[0], bulge[-1] = np.tan((1 - share) * quarter), np.tan(share * quarter)
    return ArcPath(
        points=np.concatenate([cut, path.points[rows[1:]]]),
        bulge=bulge,
        face=path.face[rows],
        support=path.support[rows],
    )


def _is_circle(path: ArcPath) -> bool:
    """Whether a closed path is two half turns, as nearly as rounding has them, of one face and support."""
    return (
        len(path.bulge) == 2
        and bool(path.bulge[0] * path.bulge[1] > 0)
        and bool(np.abs(path.bulge).min() >= 1 - HALF_TURN)
        and path.face[0] == path.face[1]
        and path.support[0] == path.support[1]
    )


def cut_between(path: ArcPath, start: tuple[int, float], end: tuple[int, float]) -> ArcPath:
    """The part of a closed path from one place to another, each a move and a share of its length.

    From a place to itself it is a path of no length.
    """
    (a, s), (b, t) = start, end
    count = len(path.bulge)
    ends = points_at(path, np.array([a, b]), np.array([s, t]))
    if a == b and t >= s:
        rows = np.array([a])
        shares = np.array([t - s])
        points = ends
    else:
        rows = np.arange(a, a + (b - a) % count + 1 + (count if a == b else 0)) % count
        shares = np.r_[1 - s, np.ones(len(rows) - 2), t]
        points = np.concatenate([ends[:1], path.points[rows[1:]], ends[1:]])
    return ArcPath(
        points=points,
        bulge=np.tan(shares * np.arctan(path.bulge[rows])),
        face=path.face[rows],
        support=path.support[rows],
        closed=False,
    )


def cut_bound(path: ArcPath) -> float:
    """How far `started_at` may move a path, by rounding alone, mm."""
    bound = CUT_ROUNDING * float(np.abs(path.points).max(initial=0.0))
    if not _is_circle(path):
        return bound
    # A half a little short of half a turn lies within (1 - bulge) / 2 of its chord of the circle about the chord; a
    # circle about two such places, within three times that.
    return bound + float(lengths(path).max() * (1 - np.abs(path.bulge).min()))
