"""What a mesh is, and how one comes in."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from beadwright.errors import InputError

ENDINGS = (".stl", ".obj", ".ply", ".3mf")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TriangleMesh:
    """Triangles in space.

    Attributes
    ----------
    name : str
        For people: the file, or how it was made.
    vertices : (n, 3) float
        mm.
    triangles : (m, 3) int
        Rows of `vertices`, counter-clockwise seen from outside.
    """

    name: str
    vertices: npt.NDArray[np.float64]
    triangles: npt.NDArray[np.int64]

    @property
    def closed(self) -> bool:
        """Whether every edge is walked exactly once each way."""
        a = self.triangles[:, [0, 1, 2]].ravel()
        b = self.triangles[:, [1, 2, 0]].ravel()
        ends = np.sort(np.stack([a, b], axis=1), axis=1)
        sign = np.where(a < b, 1, -1)
        _, edge = np.unique(ends, axis=0, return_inverse=True)
        count = np.bincount(edge.reshape(-1))
        balance = np.bincount(edge.reshape(-1), sign)
        return bool((count == 2).all() and (balance == 0).all())

    @property
    def box(self) -> npt.NDArray[np.float64]:
        """Least and greatest x, y, z: (2, 3), mm."""
        used = self.vertices[np.unique(self.triangles)]
        return np.array([used.min(axis=0), used.max(axis=0)])

    @property
    def volume(self) -> float:
        """Enclosed volume by the divergence theorem, mm3; of an open mesh it depends on the origin."""
        a, b, c = (self.vertices[self.triangles[:, k]] for k in range(3))
        return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)

    def moved(self, matrix: npt.NDArray[np.float64]) -> TriangleMesh:
        """Under a (3, 4) placement that does not mirror."""
        return TriangleMesh(
            name=self.name,
            vertices=self.vertices @ matrix[:, :3].T + matrix[:, 3],
            triangles=self.triangles,
        )


def load(path: str | Path, *, unit: float = 1.0) -> TriangleMesh:
    """Read a mesh: STL, OBJ, PLY or 3MF.

    Parameters
    ----------
    path : str or Path
    unit : float
        Length of the file's unit, mm; such files carry none (3MF does, and is taken as mm here).

    Returns
    -------
    TriangleMesh
        Points that coincide are one.

    Raises
    ------
    InputError
        It cannot be read, or holds no triangle.
    """
    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise InputError(f"{path}: a mesh is one of {', '.join(ENDINGS)}, told by the file's ending")
    if not path.is_file():
        raise InputError(f"{path}: there is no such file")
    import trimesh

    try:
        whole = trimesh.load(path, force="mesh")
    except Exception as error:
        raise InputError(
            f"{path}: cannot be read as {path.suffix[1:].upper()}: {error}; export it anew from where it was made"
        ) from error
    assert isinstance(whole, trimesh.Trimesh)
    vertices, triangles = np.asarray(whole.vertices, dtype=float), np.asarray(whole.faces, dtype=np.int64)
    if not len(triangles):
        raise InputError(f"{path}: holds no triangle")
    if not np.isfinite(vertices).all():
        raise InputError(f"{path}: holds points that are no numbers")
    vertices, row = np.unique(vertices * unit, axis=0, return_inverse=True)
    triangles = row.reshape(-1)[triangles]
    proper = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    return TriangleMesh(name=path.name, vertices=vertices, triangles=triangles[proper])
