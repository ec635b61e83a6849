"""Polygons followed by lines and arcs within a tolerance, each with its proven distance.

For sections of meshes: their chords stand for curves that nobody has. An arc goes through two corners of the polygon
and as near as it can (least squares) by those between. Where the polygon runs one way as seen from the arc's centre,
the map along the rays is one to one, so the Fréchet distance of the two is at most the greatest difference of radii,
met at corners or at the centre's feet on the chords: closed forms. Where it runs back a little, the arc waits, and
what it waits for is added.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ArcRegion, CurveLoops
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
GREATEST_BULGE = 0.8
"""An arc of more than 155 degrees is laid as two."""
FLAT = 1e-3
"""An arc that rises by less than this share of the tolerance is a straight move."""
PREFERRED = 0.1
"""A straight move is taken where an arc would be better by less than this share of the tolerance."""
FULL = math.pi
"""Angles that differ by more are those of another way round, rad."""
EIGHTH = math.tan(math.pi / 8)
EPSILON = float(np.finfo(float).eps)


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
        path, own, off = fit_polygon(points, face, tolerance=tolerance, first_support=len(supports))
        paths.append(path)
        supports += own
        worst = max(worst, off)
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
    points: Floats, face: npt.NDArray[np.int32], *, tolerance: float, first_support: int = 0
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
        (x, y, r), bulge, off, begin = round_
        angle = begin + np.sign(bulge) * np.arange(4) * (np.pi / 2)
        corners = np.column_stack([x + r * np.cos(angle), y + r * np.sin(angle)])
        path = ArcPath(
            points=corners,
            bulge=np.full(4, bulge),
            face=face[(np.arange(4) * n) // 4],
            support=np.full(4, first_support, np.int32),
        )
        return path, [(1.0, x, y, r)], off
    rows, bulges, worst = [], [], 0.0
    breaks = _breaks(points, tolerance)
    start = int(breaks.argmax())
    order = np.append((start + np.arange(n)) % n, start)
    ring = points[order]
    stops = np.flatnonzero(breaks[order])
    stops = stops if len(stops) else np.array([0])
    for a, b in zip(stops, np.append(stops[1:], n), strict=True):
        at = int(a)
        while at < b:
            until, bulge, off = _longest(ring, at, int(b), tolerance)
            rows.append(at)
            bulges.append(bulge)
            worst = max(worst, off)
            at = until
    chosen = order[np.array(rows)]
    middle = order[(np.array(rows) + np.array([*rows[1:], n])) // 2 % n]
    path = ArcPath(
        points=points[chosen],
        bulge=np.array(bulges),
        face=face[middle],
        support=np.full(len(rows), -1, np.int32),
    )
    return path, [], worst


def _breaks(points: Floats, tolerance: float) -> npt.NDArray[np.bool_]:
    """Corners where a move must end: turns of the part, and the ends of its straight sides."""
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
    return np.asarray(corner | side | np.roll(side, 1))


def _turns(before: Floats, after: Floats) -> Floats:
    """Sizes of the angles between directions, rad."""
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.abs(np.arctan2(cross, (before * after).sum(axis=1))))


def _longest(points: Floats, at: int, end: int, tolerance: float) -> tuple[int, float, float]:
    """The farthest corner up to `end` that one move reaches, its bulge and its distance from the polygon."""
    good = (at + 1, 0.0, 0.0)
    step = 2
    bad = end + 1
    while at + step < bad:
        found = _move(points[at : at + step + 1], tolerance)
        if found is None:
            bad = at + step
            break
        good = (at + step, *found)
        if at + step == end:
            return good
        step = min(2 * step, end - at)
    while bad - good[0] > 1:
        middle = (bad + good[0]) // 2
        found = _move(points[at : middle + 1], tolerance)
        if found is None:
            bad = middle
        else:
            good = (middle, *found)
    return good


def _move(points: Floats, tolerance: float) -> tuple[float, float] | None:
    """Bulge of the line or arc from the first to the last of some corners, and its distance; None if too far."""
    way = points[-1] - points[0]
    size = math.hypot(*way)
    if size == 0.0:
        return None
    along = (points - points[0]) @ way / size
    aside = (points - points[0]) @ np.array([-way[1], way[0]]) / size
    straight = float(np.abs(aside).max()) + _back(along)
    rise = _rise(along[1:-1], aside[1:-1], size)
    bulge = -2 * rise / size
    bent = math.inf
    if FLAT * tolerance < abs(rise) and abs(bulge) <= GREATEST_BULGE:
        height = size * (1 - bulge * bulge) / (4 * bulge)
        centre = np.array([size / 2, height])
        radius = size * (1 + bulge * bulge) / (4 * abs(bulge))
        bent = _off(np.column_stack([along, aside]) - centre, radius, 4 * math.atan(bulge))
    if straight <= min(tolerance, bent + PREFERRED * tolerance):
        return 0.0, straight
    return (bulge, bent) if bent <= tolerance else None


def _back(along: Floats) -> float:
    """How far a way from its start to its end runs back, or beyond its end."""
    return float((np.maximum.accumulate(along) - along).max())


def _rise(along: Floats, aside: Floats, size: float) -> float:
    """Height of the arc over a chord that passes nearest to some points of its frame, least squares.

    Through the chord's ends and one point goes one circle; the rises of these are weighed by how much each point
    moves with the rise, which is that of a parabola.
    """
    weight = 4 * along * (size - along) / size**2
    weight = np.maximum(weight, 0.0) ** 2
    if not weight.sum() > 0:
        return 0.0
    inner = along * (size - along) - aside**2
    root = np.sqrt(inner**2 + (size * aside) ** 2)
    low = np.abs(aside) * size**2 / 2 / np.maximum(inner + root, 1e-300)
    high = (root - inner) / np.maximum(2 * np.abs(aside), 1e-300)
    own = np.where(inner > 0, low, high) * np.sign(aside)
    return float((weight * own).sum() / weight.sum())


def _off(rays: Floats, radius: float, sweep: float) -> float:
    """Fréchet distance at most of a chain and the arc about the origin between its ends, mm."""
    start, end = rays[:-1], rays[1:]
    cross = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
    angle = np.arctan2(cross, (start * end).sum(axis=1))
    if abs(angle.sum() - sweep) > FULL:
        return math.inf  # it goes round another time, or the other way
    way = end - start
    foot = np.clip(-(start * way).sum(axis=1) / (way * way).sum(axis=1), 0.0, 1.0)
    least = np.hypot(*(start + foot[:, None] * way).T)
    far = np.hypot(*rays.T)
    # what rounding may have hidden: some last places of the radius
    rounding = 8 * EPSILON * radius
    back = radius * _back(np.concatenate([[0.0], np.cumsum(angle * np.sign(sweep))]))
    return max(float((far - radius).max()), float((radius - least).max())) + back + rounding


def _circle(
    points: Floats, tolerance: float
) -> tuple[tuple[float, float, float], float, float, float] | None:
    """The circle of a closed polygon, the bulge of its quarters, its distance, its first angle; None if too far."""
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
    off = _off(rays, radius, sense * 2 * np.pi)
    if off > tolerance:
        return None
    begin = math.atan2(rays[0, 1], rays[0, 0])
    return (float(middle[0] + a), float(middle[1] + b), radius), sense * EIGHTH, off, begin
