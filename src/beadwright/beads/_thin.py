"""Places of a layer's region that no contour bead reaches: thinner than one bead, or sharp tips.

A part of the region belongs to a place where its boundary is farther than about one bead width from every
centreline of the outermost beads; along a straight edge it is half a width, at a right-angled corner 0.71.
The boundary is looked at in samples half a width apart, so what is shorter than that along the boundary may
go unseen; the width told is that of the narrowest inscribed disc met at a sample.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.beads._bead import Bead
from beadwright.curves import ArcPath, ArcRegion, chords, lengths, points_at
from beadwright.numeric import Finding

Points = npt.NDArray[np.float64]

# Bead widths from a centreline beyond which boundary is unreached: above 1, that of a 60 degree corner.
REACH = 1.05
# Samples a bead width, on the boundary and on the centrelines: a point one width from a centreline is then
# measured at most sqrt(1 + 1/16) = 1.031 widths from it.
SAMPLES = 2
# Samples nearer to each other than this many bead widths belong to one place.
TOGETHER = 2.0
# Cosine between a wall's normal and the way to what counts as its other side: 30 degrees.
OPPOSITE = 0.866


def thin_places(
    region: ArcRegion, outermost: Sequence[Bead], *, width: float, layer: int, z: float
) -> tuple[Finding, ...]:
    """One finding ``thin`` for each place that the outermost contour beads leave out.

    Parameters
    ----------
    region : ArcRegion
        Of the layer.
    outermost : sequence of Bead
        Its beads of rank 1; none if the whole region is too thin.
    width : float
        Of the bead, mm.
    layer, z : int, float
        Index and height (mm) of the layer, for the findings.

    Returns
    -------
    tuple of Finding
        ``measured`` is the least width met there, ``allowed`` the bead's width, mm.
    """
    if not region.loops:
        return ()
    along = [_sampled(loop, width / SAMPLES) for loop in region.loops]
    points = np.concatenate([points_at(p, *own) for p, own in zip(region.loops, along, strict=True)])
    missed = _unreached(points, outermost, width)
    if not missed.any():
        return ()
    normals = np.concatenate([_normals(p, *own) for p, own in zip(region.loops, along, strict=True)])
    step = np.concatenate(
        [np.full(len(a), lengths(p).sum() / len(a)) for (a, _), p in zip(along, region.loops, strict=True)]
    )
    findings: list[Finding] = []
    for rows in _places(points, np.flatnonzero(missed), TOGETHER * width):
        wide = [_disc(points, normals, int(row)) for row in rows]
        narrow = int(np.argmin(wide))
        x, y = points[rows[narrow]]
        findings.append(
            Finding(
                code="thin",
                level="warning",
                layer=layer,
                at_mm=(float(x), float(y), z),
                measured=min(wide[narrow], width),
                allowed=width,
                unit="mm",
                text=f"no contour bead reaches {float(step[rows].sum()):.1f} mm of the boundary: thinner than"
                " one bead; use a narrower bead or thicken the part there",
            )
        )
    return tuple(findings)


def _sampled(path: ArcPath, spacing: float) -> tuple[npt.NDArray[np.int64], Points]:
    """Moves and shares of the middles of pieces at most `spacing` long of a closed path."""
    run = lengths(path)
    pieces = np.maximum(np.ceil(run / spacing), 1).astype(np.int64)
    move = np.repeat(np.arange(len(run)), pieces)
    return move, (np.arange(len(move)) - (np.cumsum(pieces) - pieces)[move] + 0.5) / pieces[move]


def _normals(path: ArcPath, move: npt.NDArray[np.int64], share: Points) -> Points:
    """Unit normals to the left of a path at shares of its moves."""
    way = np.arctan2(*chords(path)[move].T[::-1]) + (2 * share - 1) * 2 * np.arctan(path.bulge[move])
    return np.stack([-np.sin(way), np.cos(way)], axis=1)


def _unreached(points: Points, beads: Sequence[Bead], width: float) -> npt.NDArray[np.bool_]:
    """Whether each point is farther than `REACH` from the nearest centreline, by samples."""
    from beadwright.beads._kernels import unreached  # numba: late

    every = [np.zeros((0, 2))]
    every += [points_at(bead.path, *_sampled(bead.path, width / SAMPLES)) for bead in beads]
    return np.asarray(unreached(points, np.concatenate(every), REACH * width))


def _places(points: Points, rows: npt.NDArray[np.int64], reach: float) -> list[npt.NDArray[np.int64]]:
    """Rows gathered into places: two belong together if a chain of steps below `reach` joins them."""
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if not len(rows):
        return []
    near = cKDTree(points[rows]).sparse_distance_matrix(cKDTree(points[rows]), reach)
    count, label = connected_components(near, directed=False)
    return [rows[label == i] for i in range(count)]


def _disc(points: Points, normals: Points, row: int) -> float:
    """Diameter of the greatest disc that touches a sample and holds none of the other side, mm."""
    apart = points - points[row]
    ahead = apart @ normals[row]
    squared = (apart**2).sum(axis=1)
    # The other side of a wall lies ahead; a disc in a corner touches a side beside it.
    across = ahead > OPPOSITE * np.sqrt(squared)
    return float((squared[across] / ahead[across]).min(initial=np.inf))
