"""The kernel's own plane section and volume: a referee for tests, and a counted way out for one face.

Its generic section is good to about 1e-3 only, so every point of a curved edge is moved onto surface
and plane by Newton's method before it is used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepAlgoAPI import BRepAlgoAPI_Section
from OCP.BRepGProp import BRepGProp
from OCP.Geom import Geom_Surface
from OCP.Geom2d import Geom2d_Curve
from OCP.GeomAbs import GeomAbs_CurveType
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.TColStd import TColStd_Array1OfReal
from OCP.TopoDS import TopoDS, TopoDS_Edge, TopoDS_Face, TopoDS_Iterator, TopoDS_Shape
from OCP.TopTools import TopTools_IndexedMapOfShape

from beadwright.brep import Model
from beadwright.errors import GeometryError
from beadwright.kernel._bytes import from_bytes
from beadwright.kernel._convert_curve import xyz
from beadwright.kernel._document import faces

Array = npt.NDArray[np.float64]
Faces = npt.NDArray[np.int32]

SPANS = 192
ROUNDS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reference:
    """A plane section as the kernel has it, corrected.

    Attributes
    ----------
    area : float
        Even-odd within each solid, summed over solids, mm2.
    length : float
        mm.
    chains : tuple of (k, 2) float
        Points of each chain; every second one is the middle of a quadratic piece.
    closed : bool
        Whether every chain of every solid closes.
    uncorrected : int
        Points that Newton's method could not move onto surface and plane.
    faces : tuple of (k,) int32
        Face id of each point of each chain; -1 where the kernel does not tell it.
    body : tuple of int
        Of each chain, the solid that it bounds, counted in the order of the file.
    """

    area: float
    length: float
    chains: tuple[Array, ...]
    closed: bool
    uncorrected: int
    faces: tuple[Faces, ...] = ()
    body: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Plane:
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


def _plane(matrix: npt.ArrayLike | None, z: float) -> _Plane:
    m = np.eye(3, 4) if matrix is None else np.asarray(matrix, dtype=float)
    scale = float(np.linalg.norm(m[2, :3]))
    return _Plane(matrix=m, normal=m[2, :3] / scale, offset=(z - float(m[2, 3])) / scale)


@lru_cache(maxsize=4)
def bodies_of(data: bytes) -> tuple[TopoDS_Shape, ...]:
    """The bodies in a model's own bytes, one by one."""
    if not data:
        raise GeometryError("the model carries no shape of the kernel's; read it with `read_step` again")
    found = []
    whole = from_bytes(data)  # the iterator does not keep it alive
    iterator = TopoDS_Iterator(whole)
    while iterator.More():
        found.append(iterator.Value())
        iterator.Next()
    return tuple(found)


def volume(model: Model, tolerance: float | None = None) -> float:
    """Volume of the unplaced model by the kernel, mm3.

    Parameters
    ----------
    model : Model
    tolerance : float, optional
        Relative, for its adaptive integration; without it the kernel takes fixed points, which is
        good to a percent or so on splines.

    Raises
    ------
    GeometryError
        The model carries no shape.
    """
    total = 0.0
    for body in bodies_of(model.kernel_bytes):
        properties = GProp_GProps()
        if tolerance is None:
            BRepGProp.VolumeProperties_s(body, properties)
        else:
            BRepGProp.VolumeProperties_s(body, properties, tolerance)
        total += properties.Mass()
    return total


def reference_section(model: Model, z: float, matrix: npt.ArrayLike | None = None) -> Reference:
    """The kernel's generic section of every solid at one height, corrected and measured.

    Parameters
    ----------
    model : Model
        As read; its `kernel_bytes` are what is cut.
    z : float
        Height in placed coordinates, mm; not that of a flat face.
    matrix : (3, 4) float, optional
        Placement, see `brep.placement`.

    Raises
    ------
    GeometryError
        The model carries no shape.
    """
    plane = _plane(matrix, z)
    reach = max(1e-5, 4.0 * model.gap) * float(np.linalg.norm(plane.matrix[2, :3]))
    area = length = 0.0
    all_chains: list[Array] = []
    owners: list[Faces] = []
    bodies: list[int] = []
    closed, lost, first = True, 0, 0
    for number, body in enumerate(bodies_of(model.kernel_bytes)):
        ids = TopTools_IndexedMapOfShape()
        for face in faces(body):
            ids.Add(face)
        pieces, missed = _pieces(body, plane, ids)
        flat = [(plane.flat(p), first + own if own >= 0 else -1) for p, own in pieces]
        chains, told, shut = _chain(flat, reach)
        area += _even_odd(chains)
        length += sum(float(np.sum(np.linalg.norm(np.diff(c, axis=0), axis=1))) for c in chains)
        all_chains += chains
        owners += told
        bodies += [number] * len(chains)
        closed, lost, first = closed and shut, lost + missed, first + ids.Extent()
    return Reference(
        area=area,
        length=length,
        chains=tuple(all_chains),
        closed=closed,
        uncorrected=lost,
        faces=tuple(owners),
        body=tuple(bodies),
    )


def face_section(
    model: Model, face_id: int, z: float, matrix: npt.ArrayLike | None = None
) -> tuple[Array, ...]:
    """The kernel's section of one face, corrected: the way out where ours fails, to be counted.

    Parameters
    ----------
    model : Model
    face_id : int
    z : float
        mm, placed.
    matrix : (3, 4) float, optional

    Returns
    -------
    tuple of (k, 2) float
        Points of each curve, mm, placed; neither ordered nor directed.

    Raises
    ------
    GeometryError
        No such face.
    """
    row = face_id
    for body in bodies_of(model.kernel_bytes):
        for face in faces(body):
            if row == 0:
                plane = _plane(matrix, z)
                return tuple(plane.flat(p) for p, _ in _pieces(face, plane)[0])
            row -= 1
    raise GeometryError(f"{model.file}: there is no face {face_id}")


def _pieces(
    shape: TopoDS_Shape, plane: _Plane, ids: TopTools_IndexedMapOfShape | None = None
) -> tuple[list[tuple[Array, int]], int]:
    """Each edge of the section as points in space, an odd number, and how many could not be corrected.

    With each goes the place of its face in a map of the shape's faces, from 0; -1 if that is not told.
    """
    section = BRepAlgoAPI_Section(shape, plane.kernel, False)
    section.ComputePCurveOn1(True)
    section.Approximation(False)
    section.Build()
    found: list[tuple[Array, int]] = []
    lost = 0
    for edge_shape in section.SectionEdges():
        edge = TopoDS.Edge(edge_shape)
        curve = BRepAdaptor_Curve(edge)
        t = _nodes(curve)
        points = np.array([xyz(curve.Value(v)) for v in t])
        face = TopoDS_Face()
        known = section.HasAncestorFaceOn1(edge, face)
        if len(t) > 3 and known:
            lost += _correct(points, t, edge, face, plane)
        found.append((points, ids.FindIndex(face) - 1 if known and ids is not None else -1))
    return found, lost


def _nodes(curve: BRepAdaptor_Curve) -> list[float]:
    """Ends and middles of pieces short enough for a parabola."""
    a, b = curve.FirstParameter(), curve.LastParameter()
    kind = curve.GetType()
    if kind == GeomAbs_CurveType.GeomAbs_Line:
        return [a, 0.5 * (a + b), b]
    cuts = np.array([a, b])
    if kind == GeomAbs_CurveType.GeomAbs_BSplineCurve:
        spline = curve.BSpline()
        knots = TColStd_Array1OfReal(1, spline.NbKnots())
        spline.Knots(knots)
        inner = np.array([knots.Value(i) for i in range(1, spline.NbKnots() + 1)])
        cuts = np.union1d(cuts, inner[(inner > a) & (inner < b)])
    each = max(1, -(-SPANS // (len(cuts) - 1)))
    share = np.arange(2 * each) / (2 * each)
    fine = cuts[:-1, None] + np.diff(cuts)[:, None] * share
    return [*fine.ravel().tolist(), b]


def _correct(points: Array, t: list[float], edge: TopoDS_Edge, face: TopoDS_Face, plane: _Plane) -> int:
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


def _newton(surface: Geom_Surface, seed: tuple[float, float], point: Array, plane: _Plane) -> Array | None:
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


def _chain(pieces: list[tuple[Array, int]], reach: float) -> tuple[list[Array], list[Faces], bool]:
    """Join pieces whose ends are nearest; the face of each point; and whether all chains close."""
    left = list(pieces)
    chains: list[Array] = []
    owners: list[Faces] = []
    closed = True
    while left:
        chain, face = left.pop(0)
        owner = np.full(len(chain), face, np.int32)
        while True:
            tail = chain[-1]
            if np.linalg.norm(tail - chain[0]) <= reach and len(chain) > 3:
                break
            gaps = [
                (float(np.linalg.norm(tail - end)), i, flip)
                for i, (other, _) in enumerate(left)
                for flip, end in ((False, other[0]), (True, other[-1]))
            ]
            best = min(gaps, default=(np.inf, -1, False))
            if best[0] > reach:
                closed = False
                break
            other, face = left.pop(best[1])
            other = other[::-1] if best[2] else other
            # A straight piece over the gap keeps the count odd.
            chain = np.concatenate((chain, [0.5 * (tail + other[0])], other))
            owner = np.concatenate((owner, np.full(1 + len(other), face, np.int32)))
        chains.append(chain)
        owners.append(owner)
    return chains, owners, closed


def _even_odd(chains: list[Array]) -> float:
    """Area of chains taken as closed, by depth of nesting."""
    return sum(
        abs(_area(c)) * (-1.0 if sum(_holds(o, c[0]) for j, o in enumerate(chains) if j != i) % 2 else 1.0)
        for i, c in enumerate(chains)
    )


def _area(chain: Array) -> float:
    """Area inside parabolas through three points each, closed by a straight line: exact for those."""
    x0, x1, x2 = chain[0:-2:2, 0], chain[1:-1:2, 0], chain[2::2, 0]
    y0, y1, y2 = chain[0:-2:2, 1], chain[1:-1:2, 1], chain[2::2, 1]
    total = np.sum(x0 * (4 * y1 - 3 * y0 - y2) + 4 * x1 * (y2 - y0) + x2 * (y0 - 4 * y1 + 3 * y2)) / 6.0
    a, b = chain[-1], chain[0]
    return float(total + 0.5 * (a[0] + b[0]) * (b[1] - a[1]))


def _holds(chain: Array, point: Array) -> bool:
    a, b = chain, np.roll(chain, -1, axis=0)
    spans = (a[:, 1] > point[1]) != (b[:, 1] > point[1])
    rise = np.where(spans, b[:, 1] - a[:, 1], 1.0)
    x = a[:, 0] + (point[1] - a[:, 1]) / rise * (b[:, 0] - a[:, 0])
    return bool(np.sum(spans & (point[0] < x)) % 2)
