"""A model: vertices, edges, faces, shells and solids, as read, in mm, before any placement."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from beadwright.brep._curves import Curve3
from beadwright.brep._surfaces import Surface
from beadwright.numeric import Finding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edge:
    """A piece of a curve between two vertices.

    Attributes
    ----------
    curve : Curve3 or None
        None for a degenerate edge (a pole or an apex), which has one vertex and no length.
    start, end : float
        Parameters, start < end. The curve's points there may miss the vertices by the file's gap.
    vertices : (int, int)
        Rows of `Model.vertices` at start and end.
    """

    curve: Curve3 | None
    start: float
    end: float
    vertices: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coedge:
    """The use of an edge by a face.

    Attributes
    ----------
    edge : int
        Row of `Model.edges`.
    forward : bool
        Whether the edge is walked from start to end when the face lies on the left, seen from
        outside the solid (against the outward normal).
    uv : (k, 2) float
        The edge in the surface's own parameters (as `Surface` is defined here), in the direction of
        the walk: a polyline that only *locates*; the 3-D curve is the truth. u may run beyond the
        period where the face does.
    """

    edge: int
    forward: bool
    uv: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face:
    """A trimmed surface.

    Attributes
    ----------
    id : int
        Stable: the row in `Model.faces`, in the order of the file.
    surface : Surface
    outward : bool
        Whether dS/du x dS/dv points out of the solid.
    wires : tuple of tuple of Coedge
        Closed in order, degenerate edges included. Empty: the whole closed surface (a full sphere or
        torus) or its natural bounds.
    uv_box : (2, 2) float
        Least and greatest u, v of the face.
    name, colour : str
        As the file says, "" if it does not; a colour as ``#rrggbb``.
    kind : str
        What the file calls it: plane, cylinder, cone, sphere, torus, spline, revolution, extrusion, offset.
    area, centroid, radius : float, (3,) float, float
        Signature: with `kind` it finds the face again in a revision; mm2, mm, mm (0 if it has none).
    like : int
        Of a copy, the face of the first copy that this one repeats (a row of the same model); else -1.
    """

    id: int
    surface: Surface
    outward: bool
    wires: tuple[tuple[Coedge, ...], ...]
    uv_box: npt.NDArray[np.float64]
    kind: str
    name: str = ""
    colour: str = ""
    area: float = 0.0
    centroid: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros(3))
    radius: float = 0.0
    like: int = -1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shell:
    """Faces that hang together.

    Attributes
    ----------
    faces : tuple of int
        Rows of `Model.faces`.
    closed : bool
        Whether every edge is used twice, once each way.
    solid : int
        Row of `Model.solids`, -1 for a loose surface.
    """

    faces: tuple[int, ...]
    closed: bool
    solid: int = -1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solid:
    """One solid of the file: name, colour, volume (mm3) and shells (rows of `Model.shells`)."""

    name: str
    colour: str
    volume: float
    shells: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """All that is needed of a STEP file to cut it, as plain data.

    Attributes
    ----------
    file, sha256, unit, schema : str
        Name without its folder; of the file as given; the file's own length unit; its schema.
    vertices : (n, 3) float
        Points of the topological vertices, mm.
    edges, faces, shells, solids : tuples
        Tables that refer to each other by row. The same geometric edge between two faces is one row.
        Every placed copy of a body in an assembly has rows of its own.
    box : (2, 3) float
        Least and greatest x, y, z, mm: true extent, not that of control points.
    area, volume : float
        Of all printable solids, mm2, mm3 (as the CAD kernel measures them; 1e-3 grade on splines).
    gap : float
        Greatest distance of an edge's curve from its vertices and its faces, measured, mm.
    healing : tuple of str
        What the reader mended, a sentence each.
    findings : tuple of Finding
        What the health check found; places in the model's own coordinates.
    kernel_bytes : bytes
        The shapes as the kernel writes them, before any placement, so that a worker can ask it.
    """

    file: str
    sha256: str
    unit: str
    schema: str
    vertices: npt.NDArray[np.float64]
    edges: tuple[Edge, ...]
    faces: tuple[Face, ...]
    shells: tuple[Shell, ...]
    solids: tuple[Solid, ...]
    box: npt.NDArray[np.float64]
    area: float
    volume: float
    gap: float
    healing: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    kernel_bytes: bytes = b""
