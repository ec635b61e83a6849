"""Wall beads: one for each curve of an open surface, on it or half a width beside it."""

from __future__ import annotations

from collections.abc import Sequence

from beadwright.beads._bead import Bead, Side
from beadwright.beads._contour import LayerBeads, check_sizes
from beadwright.curves import ArcPath, signed_area

SIGN = {"centre": 0, "left": 1, "right": -1}


def wall_beads(chains: Sequence[ArcPath], *, side: Side, width: float, height: float) -> LayerBeads:
    """Lay one bead along every chain of a surface's section.

    Parameters
    ----------
    chains : sequence of ArcPath
        Fitted section curves, open or closed, in their own direction (the surface's outward normal on the
        right).
    side : {"centre", "left", "right"}
        The bead's centreline is the curve itself, or lies half a width to its left or right.
    width, height : float
        Of the bead, mm, above 0.

    Returns
    -------
    LayerBeads
        An open bead keeps both ends: those of the curve, moved across by half a width on either side.

    Raises
    ------
    SettingsError
        If a measure is not above 0.
    """
    from beadwright.arcs import offset_path

    check_sizes(width=width, height=height)
    distance = SIGN[side] * width / 2
    beads: list[Bead] = []
    bound = 0.0
    for loop, chain in enumerate(chains):
        paths: Sequence[ArcPath] = (chain,)
        if distance:
            beside = offset_path(chain, distance)
            paths, bound = beside.paths, max(bound, beside.bound.mm)
        beads += [
            Bead(
                path=path,
                role="wall",
                rank=1,
                loop=loop,
                hole=path.closed and signed_area(path) < 0,
                offset=distance,
                width=width,
                height=height,
            )
            for path in paths
        ]
    return LayerBeads(beads=tuple(beads), bound=bound, findings=())
