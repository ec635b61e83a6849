"""Polygons followed by lines and arcs within a tolerance, each with its proven distance.

For sections of meshes: their chords stand for curves that nobody has. An arc goes through two corners of the polygon
and as near as it can (least squares) by those between. Where the polygon runs one way as seen from the arc's centre,
the map along the rays is one to one, so the Fréchet distance of the two is at most the greatest difference of radii,
met at corners or at the centre's feet on the chords: closed forms. Where it runs back a little, the arc waits, and
what it waits for is added.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.arcs._polygon_chain import Chain, Moves, follow
from beadwright.arcs._polygon_moves import longest, off
from beadwright.curves import ArcPath, ArcRegion, CurveLoops, chord_runs
from beadwright.errors import GeometryError
from beadwright.numeric import Bound

Floats = npt.NDArray[np.float64]

CORNER = math.radians(35.0)
"""A turn by more is a corner of the part and stays one: common practice of chords is under 30 degrees each."""
REACH = 4.0
"""How far to both sides a turn is felt for, in tolerances: beyond the noise of a scan that fits into one."""
LEAST_SIDE = 20.0
"""And a side is at least so many tolerances long."""
BENT = 0.5
"""An edge at whose ends the polygon turns by this share of what those about it would have it turn is a chord."""
LONG = 6.0
"""An edge so many times longer than those about it is a side of the part and stays straight."""
ABOUT = 5
"""How many edges to each side are about one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PolygonFit:
    """Polygons as lines and arcs.

    Attributes
    ----------
    region : ArcRegion
        One closed loop for each polygon, in their order.
    bound : Bound
        Greatest proven distance (Fréchet) of a polygon to its moves, mm.
    edges, lines, arcs : int
        Of all polygons; straight moves; arcs.
    """

    region: ArcRegion
    bound: Bound
    edges: int
    lines: int
    arcs: int


def fit_polygons(loops: CurveLoops, *, tolerance: float) -> PolygonFit:
    """Follow closed chains of straight curves by lines and arcs within a tolerance.

    Parameters
    ----------
    loops : CurveLoops
        Straight curves only; open chains are left out.
    tolerance : float
        Greatest distance allowed, mm.

    Returns
    -------
    PolygonFit

    Raises
    ------
    GeometryError
        The tolerance is not above 0.
    """
    if not (math.isfinite(tolerance) and tolerance > 0):
        raise GeometryError(f"the tolerance of arcs along polygons must be above 0 mm, not {tolerance}")
    paths: list[ArcPath] = []
    supports: list[tuple[float, float, float, float]] = []
    worst, edges = 0.0, 0
    for chain in np.flatnonzero(loops.closed).tolist():
        rows = slice(int(loops.first_curve[chain]), int(loops.first_curve[chain + 1]))
        points, face = _polygon(loops.ends[rows, :2], loops.face[rows])
        edges += len(points)
        path, own, far = fit_polygon(
            points, face, tolerance=tolerance, tangent=True, first_support=len(supports)
        )
        paths.append(path)
        supports += own
        worst = max(worst, far)
    arcs = sum(int(np.count_nonzero(path.bulge)) for path in paths)
    return PolygonFit(
        region=ArcRegion(loops=tuple(paths), supports=np.array(supports, dtype=float).reshape(-1, 4)),
        bound=Bound(worst, "fit", "differences of radii of polygons and the arcs beside them"),
        edges=edges,
        lines=sum(len(path.bulge) for path in paths) - arcs,
        arcs=arcs,
    )


def _polygon(points: Floats, face: npt.NDArray[np.int32]) -> tuple[Floats, npt.NDArray[np.int32]]:
    """Corners of a polygon, without edges of no length."""
    keep = np.hypot(*(np.roll(points, -1, axis=0) - points).T) > 0
    return points[keep], face[keep]


def fit_polygon(
    points: Floats,
    face: npt.NDArray[np.int32],
    *,
    tolerance: float,
    tangent: bool = False,
    first_support: int = 0,
) -> tuple[ArcPath, list[tuple[float, float, float, float]], float]:
    """One closed polygon as lines and arcs.

    Parameters
    ----------
    points : (n, 2) float
        Its corners, no two neighbours equal, mm.
    face : (n,) int32
        Of the edge from each corner to the next.
    tolerance : float
        mm.
    tangent : bool
        Whether moves join without a kink where the polygon has no corner; some more of them then.
    first_support : int
        Row that the first support found will have.

    Returns
    -------
    path : ArcPath
    supports : list of (4,) float
        Circles that go all round.
    bound : float
        mm.
    """
    n = len(points)
    round_ = _circle(points, tolerance) if n >= 6 else None
    if round_ is not None:
        (x, y, r), sense, far, begin = round_
        angle = np.array([begin, begin + np.pi])
        path = ArcPath(
            points=np.column_stack([x + r * np.cos(angle), y + r * np.sin(angle)]),
            # two half turns
            bulge=np.full(2, sense),
            face=face[[0, n // 2]],
            support=np.full(2, first_support, np.int32),
        )
        return path, [(1.0, x, y, r)], far
    corner, side = _breaks(points, tolerance)
    breaks = corner | side | np.roll(side, 1)
    order = (int(breaks.argmax()) + np.arange(n + 1)) % n
    ring, corner, side = points[order], corner[order], side[order]
    stops = np.flatnonzero(breaks[order[:n]])
    stops = stops if len(stops) else np.array([0])
    moves: Moves = []
    middle: list[int] = []
    worst = 0.0
    for a, b in itertools.pairwise([*stops.tolist(), n]):
        kinked = _kinked(ring[a : b + 1], tolerance, alike=not tangent)
        found = kinked
        if tangent and not side[a]:
            before, after = ring[a] - ring[a - 1 if a else n - 1], ring[b + 1 if b < n else 1] - ring[b]
            chain = Chain(
                points=ring[a : b + 1],
                closed=not breaks.any(),
                start=before if side[a - 1 if a else n - 1] and not corner[a] else None,
                end=after if side[b] and not corner[b] else None,
                reach=_reach(ring[a : b + 1], [until for until, *_ in kinked]),
                tolerance=tolerance,
            )
            found = follow(chain)
        at = a
        for until, own, far in found:
            moves += own
            middle += [(at + a + until) // 2] * len(own)
            worst = max(worst, far)
            at = a + until
    path = ArcPath(
        points=np.array([point for point, _ in moves]),
        bulge=np.array([bulge for _, bulge in moves]),
        face=face[order[np.array(middle)]],
        support=np.full(len(moves), -1, np.int32),
    )
    return path, [], worst


def _kinked(points: Floats, tolerance: float, *, alike: bool) -> list[tuple[int, Moves, float]]:
    """The fewest moves found along a stretch, each from corner to corner: rows as `follow` gives them.

    Moves that are mostly `alike` are found in half the time by a search that begins where the one before ended.
    """
    rows: list[tuple[int, Moves, float]] = []
    at, end, step = 0, len(points) - 1, 2
    while at < end:
        until, bulge, far = longest(points, at, end, tolerance, step=step)
        step = max(2, until - at) if alike else 2
        rows.append((until, [(points[at], bulge)], far))
        at = until
    return rows


def _reach(points: Floats, ends: Sequence[int]) -> Floats:
    """At each corner of a stretch half the length of the move that it lies under, mm."""
    along = chord_runs(points)
    starts = np.array([0, *ends[:-1]])
    half = (along[list(ends)] - along[starts]) / 2
    move = np.minimum(np.searchsorted(ends, np.arange(len(points))), len(half) - 1)
    return np.asarray(half[move])


def _breaks(points: Floats, tolerance: float) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Corners of the part, and edges that are its straight sides: where a move must end."""
    n = len(points)
    size = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    around = [k for k in range(-ABOUT, ABOUT + 1) if k]
    near = np.stack([np.roll(size, k) for k in around])
    raw = _turns(points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points)
    ends = raw + np.roll(raw, -1)
    bend = np.stack([np.roll(ends, k) for k in around]).sum(axis=0) / 2 / near.sum(axis=0)
    side = (size > LONG * np.median(near, axis=0)) & (size > LEAST_SIDE * tolerance)
    side &= ends < BENT * bend * size
    along = np.concatenate([[0.0], np.cumsum(size)])
    whole, reach = float(along[-1]), min(REACH * tolerance, float(along[-1]) / 8)
    ring = np.concatenate([points, points[:1]])

    def at(s: Floats) -> Floats:
        return np.column_stack([np.interp(s, along, ring[:, k], period=whole) for k in (0, 1)])

    before, after = points - at(along[:n] - reach), at(along[:n] + reach) - points
    turn = _turns(before, after)
    corner = turn > CORNER
    for k in np.flatnonzero(corner):
        # of a bend that is spread over some corners, the sharpest
        away = np.abs(np.mod(along[:n] - along[k] + whole / 2, whole) - whole / 2)
        corner[k] = turn[k] >= turn[away < reach].max()
    return np.asarray(corner), np.asarray(side)


def _turns(before: Floats, after: Floats) -> Floats:
    """Sizes of the angles between directions, rad."""
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.abs(np.arctan2(cross, (before * after).sum(axis=1))))


def _circle(
    points: Floats, tolerance: float
) -> tuple[tuple[float, float, float], float, float, float] | None:
    """The circle of a closed polygon, the sense of its turn, its distance, its first angle; None if too far."""
    middle = points.mean(axis=0)
    local = points - middle
    # least squares of x^2 + y^2 = 2 a x + 2 b y + c, as Kasa has it
    table = np.column_stack([2 * local, np.ones(len(local))])
    (a, b, c), *_ = np.linalg.lstsq(table, (local**2).sum(axis=1), rcond=None)
    square = float(c + a * a + b * b)
    if not square > 0:
        return None
    radius = math.sqrt(square)
    rays = np.concatenate([local, local[:1]]) - (a, b)
    doubled = float((rays[:-1, 0] * rays[1:, 1] - rays[:-1, 1] * rays[1:, 0]).sum())
    sense = 1.0 if doubled > 0 else -1.0
    far = off(rays, radius, sense * 2 * np.pi)
    if far > tolerance:
        return None
    begin = math.atan2(rays[0, 1], rays[0, 0])
    return (float(middle[0] + a), float(middle[1] + b), radius), sense, far, begin
