"""Separate pieces of a region."""

from __future__ import annotations

import numpy as np

from beadwright.curves._arc_measure import depths, winding
from beadwright.curves._path import ArcPath, ArcRegion
from beadwright.errors import GeometryError


def pieces_of(region: ArcRegion) -> list[list[ArcPath]]:
    """Separate pieces of a region: of each its outer loop, then its holes.

    Raises
    ------
    GeometryError
        A hole lies in no outer loop, or in several.
    """
    depth = depths(region)
    outer = [k for k in range(len(region.loops)) if depth[k] % 2 == 0]
    pieces = {k: [region.loops[k]] for k in outer}
    for k, loop in enumerate(region.loops):
        if depth[k] % 2 == 0:
            continue
        place = loop.points[:1]
        around = [
            j
            for j in outer
            if depth[j] == depth[k] - 1 and bool(np.all(winding(region.loops[j], place) != 0))
        ]
        if len(around) != 1:
            raise GeometryError(
                f"a hole near {place[0, 0]:.3f}, {place[0, 1]:.3f} mm lies in {len(around)} outer loops"
            )
        pieces[around[0]].append(loop)
    return list(pieces.values())
