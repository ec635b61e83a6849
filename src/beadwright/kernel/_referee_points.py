"""Points of the kernel's section edges, moved onto surface and plane."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.Geom import Geom_Surface
from OCP.Geom2d import Geom2d_Curve
from OCP.GeomAbs import GeomAbs_CurveType
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt, gp_Vec
from OCP.TColStd import TColStd_Array1OfReal
from OCP.TopoDS import TopoDS_Edge, TopoDS_Face

from beadwright.kernel._convert_curve import xyz

Array = npt.NDArray[np.float64]

SPANS = 192
ROUNDS = 12
FEW = 12
"""Groups of five points that a thinned edge begins with."""
HALVINGS = 10
"""And how often a group is divided at most: an edge that asks for more takes the kernel's own points."""
PARABOLAS = 0.7
"""Share of what may be missed that parabolas may miss; the rest is for points between others, by their quartic."""
HALVES = np.array([0.5, 1.5, 2.5, 3.5])
FOLDED = 2.0
"""Between its points a thinned edge passes the kernel's own within so many of the greatest correction of any."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """A horizontal plane of the placed model, in the model's own coordinates."""

    matrix: Array
    normal: Array
    offset: float

    @property
    def kernel(self) -> gp_Pln:
        return gp_Pln(gp_Pnt(*(self.offset * self.normal)), gp_Dir(*self.normal))

    def flat(self, points: Array) -> Array:
        """Placed x, y of points."""
        return np.asarray(points @ self.matrix[:2, :3].T + self.matrix[:2, 3])


def edge_points(
    shape: TopoDS_Edge, face: TopoDS_Face | None, plane: Plane, miss: float | None
) -> tuple[Array, int]:
    """An edge of a section as points in space, an odd number, and how many could not be corrected.

    Parameters
    ----------
    shape : TopoDS_Edge
    face : TopoDS_Face or None
        Which it lies on; None where the kernel does not tell: then its points stay as they are.
    plane : Plane
    miss : float or None
        What the parabolas through the points may miss, mm; None: as many points as the kernel's curve has pieces.
    """
    curve = BRepAdaptor_Curve(shape)
    cuts = _cuts(curve)
    if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
        return _values(curve, [cuts[0], 0.5 * (cuts[0] + cuts[-1]), cuts[-1]]), 0
    t = _nodes(cuts)
    if face is None:
        return _values(curve, t), 0
    if miss is not None:
        few = _thinned(curve, cuts, shape, face, plane, miss)
        if few is not None:
            return few, 0
    points = _values(curve, t)
    return points, _correct(points, t, shape, face, plane)


def _values(curve: BRepAdaptor_Curve, t: list[float]) -> Array:
    return np.array([xyz(curve.Value(v)) for v in t])


def _thinned(
    curve: BRepAdaptor_Curve,
    cuts: Array,
    edge: TopoDS_Edge,
    face: TopoDS_Face,
    plane: Plane,
    miss: float,
) -> Array | None:
    """Points whose parabolas miss the edge by no more than asked; None where the kernel's own are needed.

    A parabola through every second of five points is held against the two between: those through three neighbours
    miss an eighth. Where that is too much, five points become nine, and the quartic through the five is held against
    the four new ones: where it passes them, quartics through the nine give what parabolas need between them. The
    kernel's own points are held against what is found, too, as well as they are known, lest a bump hide.
    """
    own = _values(curve, cuts.tolist())
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(own, axis=0), axis=1))])
    if len(cuts) == 2 or not along[-1] > 0:
        along = cuts - cuts[0]  # no knots: the parameter of a conic runs evenly enough
    moved = 0.0

    def points_at(s: Array) -> Array | None:
        nonlocal moved
        t = np.interp(s.ravel(), along, cuts).tolist()
        asked = _values(curve, t)
        points = asked.copy()
        if _correct(points, t, edge, face, plane):
            return None
        moved = max(moved, float(np.linalg.norm(points - asked, axis=1).max()))
        return points.reshape(*s.shape, 3)

    evenly = np.linspace(0.0, along[-1], 4 * FEW + 1)
    fives = np.arange(5) + 4 * np.arange(FEW)[:, None]
    first = points_at(evenly)
    if first is None:
        return None
    s, p = evenly[fives], first[fives]
    groups: list[tuple[Array, Array]] = []
    for _ in range(HALVINGS):
        bad = _missed(p) > PARABOLAS * miss
        groups += zip(s[~bad], p[~bad], strict=True)
        if not bad.any():
            break
        s, p = s[bad], p[bad]
        between = (s[:, :-1] + s[:, 1:]) / 2
        new = points_at(between)
        if new is None:
            return None
        finer, closer = np.zeros((len(s), 9)), np.zeros((len(s), 9, 3))
        finer[:, ::2], finer[:, 1::2], closer[:, ::2], closer[:, 1::2] = s, between, p, new
        smooth = np.tile(_quartics_miss(p, new) / 8 <= (1 - PARABOLAS) * miss, 2)
        s = np.concatenate([finer[:, :5], finer[:, 4:]])
        p = np.concatenate([closer[:, :5], closer[:, 4:]])
        groups += _filled(s[smooth], p[smooth], PARABOLAS * miss)
        if smooth.all():
            break
        s, p = s[~smooth], p[~smooth]
    else:
        return None
    groups.sort(key=lambda group: float(group[0][0]))
    nodes = np.concatenate([*(own[:-1] for own, _ in groups), groups[-1][0][-1:]])
    points = np.concatenate([*(own[:-1] for _, own in groups), groups[-1][1][-1:]])
    return points if len(cuts) == 2 or _far(own, along, points, nodes) <= FOLDED * moved + miss else None


def _quartics_miss(p: Array, between: Array) -> Array:
    """How far quartics through five points pass from the four between, across: (n, 5, 3), (n, 4, 3) to (n,).

    Of five of all nine points, half as far apart, they miss a 29th: the error goes with the fifth power.
    """
    at = _quartics(p, HALVES)
    off = [_aside(at[:, k], between[:, k], p[:, k + 1] - p[:, k]) for k in range(4)]
    return np.asarray(np.max(off, axis=0))


def _quartics(p: Array, t: Array) -> Array:
    """Quartics through five points at 0, 1, 2, 3, 4, at some parameters: (..., 5, 3), (k,) to (..., k, 3)."""
    nodes = np.arange(5.0)
    basis = [
        np.prod([(t - other) / (node - other) for other in nodes if other != node], axis=0) for node in nodes
    ]
    return np.asarray(np.array(basis).T @ p)


def _filled(s: Array, p: Array, miss: float) -> list[tuple[Array, Array]]:
    """Groups of five points and, where parabolas need more, those of their quartics between, with their places."""
    # Halving what lies between two points divides by eight what parabolas miss.
    times = np.ceil(np.log2(np.maximum(_missed(p) / miss, 1.0)) / 3).astype(np.int64)
    found: list[tuple[Array, Array]] = []
    for k in np.unique(times):
        own = times == k
        t = np.linspace(0.0, 4.0, 4 * 2 ** int(k) + 1)
        points = _quartics(p[own], t)
        points[:, :: 2 ** int(k)] = p[own]
        found += zip(s[own, :1] + (s[own, 4:] - s[own, :1]) * t / 4, points, strict=True)
    return found


def _missed(p: Array) -> Array:
    """What parabolas through neighbours of five points miss, by those through every second: (n, 5, 3) to (n,)."""
    quarters = (3 * p[:, 0] + 6 * p[:, 2] - p[:, 4]) / 8, (6 * p[:, 2] + 3 * p[:, 4] - p[:, 0]) / 8
    off = [_aside(q, p[:, k], p[:, k + 1] - p[:, k - 1]) for q, k in zip(quarters, (1, 3), strict=True)]
    return np.asarray(np.maximum(*off) / 8)


def _aside(one: Array, other: Array, way: Array) -> Array:
    """Distances of points from others, across a way at each."""
    apart = one - other
    unit = way / np.maximum(np.linalg.norm(way, axis=1), 1e-300)[:, None]
    return np.asarray(np.linalg.norm(apart - (apart * unit).sum(axis=1)[:, None] * unit, axis=1))


def _far(own: Array, along: Array, points: Array, s: Array) -> float:
    """Greatest distance of the kernel's points from parabolas through others, across them."""
    row = np.minimum(np.searchsorted(s[2::2], along), len(s) // 2 - 1)
    t = ((along - s[2 * row]) / (s[2 * row + 2] - s[2 * row]))[:, None]
    a, b, c = points[2 * row], points[2 * row + 1], points[2 * row + 2]
    at = a * (1 - t) * (1 - 2 * t) + 4 * b * t * (1 - t) + c * t * (2 * t - 1)
    return float(_aside(own, at, c - a).max())


def _cuts(curve: BRepAdaptor_Curve) -> Array:
    """Parameters of a curve's ends, and of the knots between them."""
    cuts = np.array([curve.FirstParameter(), curve.LastParameter()])
    if curve.GetType() == GeomAbs_CurveType.GeomAbs_BSplineCurve:
        spline = curve.BSpline()
        knots = TColStd_Array1OfReal(1, spline.NbKnots())
        spline.Knots(knots)
        inner = np.array([knots.Value(i) for i in range(1, spline.NbKnots() + 1)])
        cuts = np.union1d(cuts, inner[(inner > cuts[0]) & (inner < cuts[-1])])
    return cuts


def _nodes(cuts: Array) -> list[float]:
    """Ends and middles of pieces short enough for a parabola."""
    each = max(1, -(-SPANS // (len(cuts) - 1)))
    share = np.arange(2 * each) / (2 * each)
    fine = cuts[:-1, None] + np.diff(cuts)[:, None] * share
    return [*fine.ravel().tolist(), float(cuts[-1])]


def _correct(points: Array, t: list[float], edge: TopoDS_Edge, face: TopoDS_Face, plane: Plane) -> int:
    """Move points, in place, onto surface and plane; how many would not go."""
    surface: Geom_Surface = BRep_Tool.Surface_s(face)
    pcurve: Geom2d_Curve = BRep_Tool.CurveOnSurface_s(edge, face, 0.0, 1.0)
    lost = 0
    for k, parameter in enumerate(t):
        seed = pcurve.Value(parameter)
        moved = _newton(surface, (seed.X(), seed.Y()), points[k], plane)
        if moved is None:
            lost += 1
        else:
            points[k] = moved
    return lost


def _newton(surface: Geom_Surface, seed: tuple[float, float], point: Array, plane: Plane) -> Array | None:
    """The point of surface and plane beside ``point``, in the plane across the section there."""
    u, v = seed
    p, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    # Plain numbers: for vectors of three numpy takes ten times as long.
    nx, ny, nz = plane.normal.tolist()
    x0, y0, z0 = point.tolist()
    for _ in range(ROUNDS):
        surface.D1(u, v, p, du, dv)
        sx, sy, sz = p.X(), p.Y(), p.Z()
        ux, uy, uz = du.X(), du.Y(), du.Z()
        vx, vy, vz = dv.X(), dv.Y(), dv.Z()
        a, b = nx * ux + ny * uy + nz * uz, nx * vx + ny * vy + nz * vz
        # normal x (su x sv)
        ax, ay, az = b * ux - a * vx, b * uy - a * vy, b * uz - a * vz
        size = math.sqrt(ax * ax + ay * ay + az * az)
        if size == 0.0:
            return None
        ax, ay, az = ax / size, ay / size, az / size
        height = nx * sx + ny * sy + nz * sz - plane.offset
        drift = ax * (sx - x0) + ay * (sy - y0) + az * (sz - z0)
        c, d = ax * ux + ay * uy + az * uz, ax * vx + ay * vy + az * vz
        det = a * d - b * c
        if abs(det) < 1e-300:
            return None
        u -= (d * height - b * drift) / det
        v -= (a * drift - c * height) / det
        if abs(height) < 1e-11 and abs(drift) < 1e-9:
            return np.array([sx, sy, sz])
    return None
