"""A closed mesh as a solid of plane faces, so that all that is made for solids serves scans too.

Triangles of one plane that hang together become one face. Nothing about it is nearer to the design than the
triangles are: whoever takes it must say so.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.brep import Coedge, Edge, Face, Frame, Line3, Model, PlaneSurface, Shell, Solid, Triangles
from beadwright.errors import StepError
from beadwright.mesh._mesh import TriangleMesh
from beadwright.numeric import Finding

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MAX_TRIANGLES = 300_000
"""Beyond this a solid of plane faces takes gigabytes; a scan must be thinned out first."""
LEVEL = 1e-9
"""Triangles whose normals differ by no more, as vectors, and that share an edge lie in one plane."""


def as_model(mesh: TriangleMesh, *, sha256: str) -> Model:
    """A mesh as a solid of plane faces: the first of `as_model_with_picture`."""
    return as_model_with_picture(mesh, sha256=sha256)[0]


def as_model_with_picture(mesh: TriangleMesh, *, sha256: str) -> tuple[Model, Triangles]:
    """A mesh as a solid of plane faces, and its own triangles, each with the face that it lies in.

    Parameters
    ----------
    mesh : TriangleMesh
        Closed: every edge is walked once each way.
    sha256 : str
        Of its file.

    Returns
    -------
    model : Model
        With the finding `from-mesh`. It carries no shape of the CAD kernel's.
    triangles : Triangles
        For pictures; those without area are left out.

    Raises
    ------
    StepError
        The mesh is open, turned inside out, without volume, or too large.
    """
    if len(mesh.triangles) > MAX_TRIANGLES:
        raise StepError(
            f"{mesh.name}: {len(mesh.triangles)} triangles are more than {MAX_TRIANGLES}; thin the mesh out first"
        )
    if not mesh.closed:
        raise StepError(
            f"{mesh.name}: the mesh is open or torn, so it has no inside; close its holes in the program that made it"
        )
    if not mesh.volume > 0:
        raise StepError(
            f"{mesh.name}: the mesh holds no volume or is turned inside out; turn its triangles round"
        )
    corner = mesh.vertices[mesh.triangles]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    doubled = np.linalg.norm(cross, axis=1)
    normals = cross / np.maximum(doubled, 1e-300)[:, None]
    half = _HalfEdges(mesh.triangles)
    patch = half.patches(normals, doubled > 0)
    edges = tuple(_edge(mesh.vertices, low, high) for low, high in half.ends.tolist())
    faces: list[Face] = []
    order = np.argsort(patch, kind="stable")
    starts = np.concatenate([[0], np.flatnonzero(np.diff(patch[order])) + 1, [len(order)]])
    owner = np.full(len(mesh.triangles), -1, np.int32)
    for first, last in pairwise(starts.tolist()):
        rows = order[first:last]
        weight = doubled[rows]
        if not weight.sum() > 0:
            continue  # triangles without area have no boundary of their own
        normal = normals[rows[int(weight.argmax())]]
        owner[rows] = len(faces)
        centre = (corner[rows].mean(axis=1) * weight[:, None]).sum(axis=0) / weight.sum()
        faces.append(
            _face(
                len(faces), mesh.vertices, half.boundary(rows, patch), normal, centre, float(weight.sum()) / 2
            )
        )
    told = (
        f"the part is a mesh of {len(mesh.triangles)} triangles: every bound is to the triangles, not to what was"
        " designed or scanned"
    )
    shown = (owner >= 0) & (doubled > 0)
    picture = Triangles(
        points=mesh.vertices,
        corners=mesh.triangles[shown].astype(np.int32),
        face=owner[shown],
        chord=0.0,
    )
    model = Model(
        file=mesh.name,
        sha256=sha256,
        unit="mm",
        schema="mesh",
        vertices=mesh.vertices,
        edges=edges,
        faces=tuple(faces),
        shells=(Shell(faces=tuple(range(len(faces))), closed=True, solid=0),),
        solids=(Solid(name="", colour="", volume=mesh.volume, shells=(0,)),),
        box=mesh.box,
        area=float(doubled.sum()) / 2,
        volume=mesh.volume,
        gap=0.0,
        findings=(Finding(code="from-mesh", level="warning", text=told),),
    )
    return model, picture


class _HalfEdges:
    """The walks along edges: half edge 3 t + k of triangle t runs from its corner k to the next."""

    def __init__(self, triangles: Ints) -> None:
        self.start = triangles.ravel()
        self.end = np.roll(triangles, -1, axis=1).ravel()
        low, high = np.minimum(self.start, self.end), np.maximum(self.start, self.end)
        self.ends, self.edge = np.unique(np.stack([low, high], axis=1), axis=0, return_inverse=True)
        self.edge = self.edge.reshape(-1)
        # Each edge has two half edges: sorted by edge they stand side by side.
        pairs = np.argsort(self.edge, kind="stable").reshape(-1, 2)
        self.twin = np.zeros(len(self.start), np.int64)
        self.twin[pairs[:, 0]], self.twin[pairs[:, 1]] = pairs[:, 1], pairs[:, 0]

    def patches(self, normals: Floats, real: npt.NDArray[np.bool_]) -> Ints:
        """Which triangles lie in one plane and hang together: the number of each one's patch.

        A triangle without area joins any neighbour.
        """
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import connected_components

        one = np.arange(len(self.start)) // 3
        other = self.twin // 3
        level = np.abs(normals[one] - normals[other]).max(axis=1) <= LEVEL
        joined = level & real[one] & real[other]
        bare = np.flatnonzero(~real)
        beside = np.stack([bare, self.twin[3 * bare] // 3]) if len(bare) else np.zeros((2, 0), np.int64)
        rows = np.concatenate([one[joined], beside[0]])
        columns = np.concatenate([other[joined], beside[1]])
        count = len(normals)
        graph = coo_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(count, count))
        return np.asarray(connected_components(graph, directed=False)[1], np.int64)

    def boundary(self, rows: Ints, patch: Ints) -> list[list[tuple[int, int, int]]]:
        """Closed walks round a patch: rows (edge, from, to)."""
        own = (3 * rows[:, None] + np.arange(3)).ravel()
        outer = own[patch[self.twin[own] // 3] != patch[rows[0]]]
        leaving: dict[int, list[int]] = {}
        for each in outer.tolist():
            leaving.setdefault(int(self.start[each]), []).append(each)
        walks = []
        for each in outer.tolist():
            walk: list[tuple[int, int, int]] = []
            at = int(self.start[each])
            # Where a patch touches itself in a point, any way on closes a walk.
            while leaving.get(at):
                step = leaving[at].pop()
                walk.append((int(self.edge[step]), at, int(self.end[step])))
                at = int(self.end[step])
            if walk:
                walks.append(walk)
        return walks


def _edge(vertices: Floats, low: int, high: int) -> Edge:
    way = vertices[high] - vertices[low]
    size = float(np.linalg.norm(way))
    line = Line3(origin=vertices[low], direction=way / size)
    return Edge(curve=line, start=0.0, end=size, vertices=(low, high))


def _face(
    row: int,
    vertices: Floats,
    walks: Sequence[Sequence[tuple[int, int, int]]],
    normal: Floats,
    centre: Floats,
    area: float,
) -> Face:
    """A plane face round a patch, its normal outwards."""
    x = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    x /= np.linalg.norm(x)
    frame = Frame(origin=centre, axes=np.array([x, np.cross(normal, x), normal]))
    wires, every = [], []
    for walk in walks:
        uses = []
        for edge, start, end in walk:
            uv = (vertices[[start, end]] - centre) @ frame.axes[:2].T
            every.append(uv)
            uses.append(Coedge(edge=edge, forward=start < end, uv=uv))
        wires.append(tuple(uses))
    flat = np.concatenate(every)
    return Face(
        id=row,
        surface=PlaneSurface(frame=frame),
        outward=True,
        wires=tuple(wires),
        uv_box=np.array([flat.min(axis=0), flat.max(axis=0)]),
        kind="plane",
        area=area,
        centroid=centre,
    )
