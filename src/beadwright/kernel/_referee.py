"""The kernel's own plane section and volume: a referee for tests, and a counted way out for one face.

Its generic section is good to about 1e-3 only, so every point of a curved edge is moved onto surface
and plane by Newton's method before it is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from OCP.BRepAlgoAPI import BRepAlgoAPI_Section
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Iterator, TopoDS_Shape
from OCP.TopTools import TopTools_IndexedMapOfShape

from beadwright.brep import Model
from beadwright.errors import GeometryError
from beadwright.kernel._bytes import from_bytes
from beadwright.kernel._document import faces
from beadwright.kernel._referee_points import Plane, edge_points

Array = npt.NDArray[np.float64]
Faces = npt.NDArray[np.int32]


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


def _plane(matrix: npt.ArrayLike | None, z: float) -> Plane:
    m = np.eye(3, 4) if matrix is None else np.asarray(matrix, dtype=float)
    scale = float(np.linalg.norm(m[2, :3]))
    return Plane(matrix=m, normal=m[2, :3] / scale, offset=(z - float(m[2, 3])) / scale)


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


def reference_section(
    model: Model, z: float, matrix: npt.ArrayLike | None = None, *, miss: float | None = None
) -> Reference:
    """The kernel's generic section of every solid at one height, corrected and measured.

    Parameters
    ----------
    model : Model
        As read; its `kernel_bytes` are what is cut.
    z : float
        Height in placed coordinates, mm; not that of a flat face.
    matrix : (3, 4) float, optional
        Placement, see `brep.placement`.
    miss : float, optional
        Fewer points, where the parabolas through them miss the curve by no more, as measured at points between them,
        mm of the model.

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
        pieces, missed = _pieces(body, plane, ids, miss)
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
    shape: TopoDS_Shape,
    plane: Plane,
    ids: TopTools_IndexedMapOfShape | None = None,
    miss: float | None = None,
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
        face = TopoDS_Face()
        known = section.HasAncestorFaceOn1(edge, face)
        points, missed = edge_points(edge, face if known else None, plane, miss)
        lost += missed
        found.append((points, ids.FindIndex(face) - 1 if known and ids is not None else -1))
    return found, lost


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
