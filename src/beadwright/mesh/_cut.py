"""Plane cuts of a mesh, as polygons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.mesh._mesh import TriangleMesh

# mm: ends of segments of neighbouring triangles are the same two vertices' interpolation, up to rounding.
GRID = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeshSection:
    """A mesh cut at one height.

    Attributes
    ----------
    z : float
        mm.
    polygon : shapely.MultiPolygon
        Interior by the even-odd rule.
    open_length : float
        Length of chains that did not close and were left out, mm.
    """

    z: float
    polygon: Any
    open_length: float


def cut(mesh: TriangleMesh, heights: Sequence[float]) -> tuple[MeshSection, ...]:
    """Cut a mesh by horizontal planes.

    Parameters
    ----------
    mesh : TriangleMesh
    heights : sequence of float
        mm. At a vertex or a flat triangle the plane counts as just above it.

    Returns
    -------
    tuple of MeshSection
        One a height.
    """
    import shapely
    import trimesh

    whole = trimesh.Trimesh(vertices=mesh.vertices, faces=mesh.triangles, process=False)
    lines, _, _ = trimesh.intersections.mesh_multiplane(  # type: ignore[no-untyped-call]
        whole, plane_origin=np.zeros(3), plane_normal=np.array([0.0, 0.0, 1.0]), heights=np.asarray(heights)
    )
    found = []
    for z, segments in zip(heights, lines, strict=True):
        ends = np.round(np.asarray(segments, dtype=float).reshape(-1, 2, 2) / GRID) * GRID
        ends = ends[(ends[:, 0] != ends[:, 1]).any(axis=1)]
        merged = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(ends)))
        rings, open_length = _rings([np.asarray(line.coords) for line in shapely.get_parts(merged)])
        polygon = shapely.MultiPolygon()
        for ring in sorted((shapely.Polygon(ring) for ring in rings), key=lambda r: -r.area):
            polygon = polygon.symmetric_difference(shapely.make_valid(ring))
        found.append(MeshSection(z=float(z), polygon=polygon, open_length=open_length))
    return tuple(found)


def _rings(chains: Sequence[npt.NDArray[np.float64]]) -> tuple[list[npt.NDArray[np.float64]], float]:
    """Closed walks through chains that may meet at shared ends, and the length of what closes nowhere.

    Where loops touch, an end has four chains or more; any way through gives the same even-odd interior.
    """
    at: dict[tuple[float, ...], list[int]] = {}
    for each, chain in enumerate(chains):
        for end in (chain[0], chain[-1]):
            at.setdefault(tuple(end.tolist()), []).append(each)
    used = [False] * len(chains)
    rings, open_length = [], 0.0
    for first in range(len(chains)):
        walk: list[npt.NDArray[np.float64]] = []
        row: int | None = first
        while row is not None and not used[row]:
            used[row] = True
            chain = chains[row]
            walk.append(chain if not walk or (walk[-1][-1] == chain[0]).all() else chain[::-1])
            if (walk[0][0] == walk[-1][-1]).all():
                break
            row = next((each for each in at[tuple(walk[-1][-1].tolist())] if not used[each]), None)
        if not walk:
            continue
        points = np.concatenate(walk)
        if (points[0] == points[-1]).all():
            ring = _bent(points[:-1])
            if len(ring) > 2:
                rings.append(ring)
        else:
            steps = np.diff(points, axis=0)
            open_length += float(np.hypot(steps[:, 0], steps[:, 1]).sum())
    return rings, open_length


def _bent(ring: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """A ring without the points on straight lines that neighbouring triangles of one plane give.

    No fair way would print them.
    """
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    across = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
    return np.asarray(ring[across > 2 * GRID * np.hypot(*(before + after).T)])
