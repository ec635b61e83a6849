"""The printed body as triangles: every layer a closed prism of its region."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ArcRegion, chords, signed_area

Floats = npt.NDArray[np.float64]


def body_stl(
    slabs: Sequence[tuple[float, float, ArcRegion]], /, *, chord: float, name: str
) -> tuple[bytes, int]:
    """Layers as binary STL, outward normals.

    Each layer is a closed surface of its own, its arcs replaced by chords that lie within `chord` of them;
    neighbouring layers touch in their common level. A program that wants one surface must unite them.

    Parameters
    ----------
    slabs : sequence of (float, float, ArcRegion)
        z0 and z, mm, and the region between them.
    chord : float
        Greatest distance of a chord from its arc, mm, above 0.
    name : str
        For the file's head: plain ASCII, 60 letters of it.

    Returns
    -------
    bytes
    int
        Number of triangles.
    """
    parts = [_prism(z0, z, region, chord) for z0, z, region in slabs if region.loops]
    triangles = np.concatenate([np.zeros((0, 3, 3)), *parts])
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    rows = np.zeros(len(triangles), dtype=[("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
    rows["n"] = normal / np.where(size > 0, size, 1.0)
    rows["p"] = triangles
    head = f"beadwright printed body, mm, chord {chord:g}: {name.encode('ascii', 'replace').decode()[:60]}"
    count = np.array([len(rows)], "<u4").tobytes()
    return head[:80].encode().ljust(80) + count + rows.tobytes(), len(rows)


def polyline(path: ArcPath, chord: float) -> Floats:
    """Points of a closed path, arcs by chords within `chord` of them; ends of moves are kept as they are."""
    across, points = chords(path), [np.zeros((0, 2))]
    for start, way, bulge in zip(path.points, across, path.bulge, strict=True):
        points.append(start[None])
        if bulge == 0:
            continue
        sweep = 4 * np.arctan(bulge)
        radius = float(np.hypot(*way)) * (1 + bulge * bulge) / (4 * abs(bulge))
        # the rise of a chord over an angle s is r (1 - cos(s / 2))
        widest = 2 * np.arccos(max(1 - chord / radius, 0.0))
        count = int(np.ceil(abs(sweep) / max(widest, 1e-9)))
        if count < 2:
            continue
        centre = start + way / 2 + (1 - bulge) * (1 + bulge) / (4 * bulge) * np.array([-way[1], way[0]])
        angle = np.arange(1, count) * sweep / count
        first = start - centre
        c, s = np.cos(angle), np.sin(angle)
        points.append(centre + np.column_stack([c * first[0] - s * first[1], s * first[0] + c * first[1]]))
    return np.concatenate(points)


def _prism(z0: float, z: float, region: ArcRegion, chord: float) -> Floats:
    parts = [np.zeros((0, 3, 3))]
    for rings, flat in _polygons(region, chord):
        for ring in rings:
            after = np.roll(ring, -1, axis=0)
            a, b, c, d = _at(ring, z0), _at(after, z0), _at(after, z), _at(ring, z)
            parts += [np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]
        parts.append(np.concatenate([flat, np.full((*flat.shape[:2], 1), z)], axis=2))
        parts.append(np.concatenate([flat[:, ::-1], np.full((*flat.shape[:2], 1), z0)], axis=2))
    return np.concatenate(parts)


def _polygons(region: ArcRegion, chord: float) -> Iterator[tuple[list[Floats], Floats]]:
    """Rings of each polygon of a region, holes clockwise, and its counter-clockwise triangles, (n, 3, 2).

    Where chords of neighbouring arcs cross (gaps narrower than `chord`), they are united or taken away as polygons;
    walls and covers both come from the outcome, so that the surface stays closed.
    """
    import shapely

    outer: list[Any] = []
    holes: list[Any] = []
    for loop in region.loops:
        ring = polyline(loop, chord)
        (outer if signed_area(loop) > 0 else holes).append(shapely.make_valid(shapely.Polygon(ring)))
    shape = shapely.difference(shapely.union_all(outer), shapely.union_all(holes))
    for polygon in shapely.get_parts(shape):
        if polygon.geom_type != "Polygon" or polygon.is_empty:
            continue
        turned = shapely.orient_polygons(polygon)
        rings = [np.asarray(ring.coords)[:-1] for ring in (turned.exterior, *turned.interiors)]
        corners = shapely.get_coordinates(shapely.constrained_delaunay_triangles(turned))
        flat = np.asarray(corners, dtype=float).reshape(-1, 4, 2)[:, :3]
        first, second = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
        clockwise = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0] < 0
        flat[clockwise] = flat[clockwise][:, ::-1]
        yield rings, flat


def _at(points: Floats, z: float) -> Floats:
    return np.column_stack([points, np.full(len(points), z)])
