"""Wall beads: along the section curves of open surfaces, on them or half a width beside them."""

from __future__ import annotations

from collections.abc import Sequence

from beadwright.arcs import offset_path
from beadwright.beads._bead import Bead, Side
from beadwright.beads._contour import LayerBeads, check_sizes
from beadwright.beads._trails import branches, joined
from beadwright.curves import ArcPath, length
from beadwright.errors import SettingsError
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding

SIGN = {"centre": 0, "left": 1, "right": -1}


def wall_beads(
    layer: LayerRegion, chains: Sequence[ArcPath], *, side: Side, width: float, height: float
) -> LayerBeads:
    """Lay beads along the curves in which surfaces taken as walls meet the layer's plane.

    Parameters
    ----------
    layer : LayerRegion
        For its place in the build.
    chains : sequence of ArcPath
        Fitted section curves, open or closed, in their own direction: the side of a solid that the surface
        would bound lies on the left.
    side : {"centre", "left", "right"}
        The bead's centreline is the curve itself, or lies half a width to its left or right.
    width, height : float
        Of the bead, mm, above 0.

    Returns
    -------
    LayerBeads
        An open bead keeps both ends: those of the curve, moved across by half a width where it lies beside
        it. On the curve itself, curves that meet are joined into the fewest beads. A point where more than
        two curves meet is a finding ``branch``, a curve beside which no bead fits a finding ``thin``.

    Raises
    ------
    SettingsError
        If a measure is not above 0, or the side is unknown.
    """
    check_sizes(width=width, height=height)
    if side not in SIGN:
        msg = f"a wall lies 'centre', 'left' or 'right', not {side!r}"
        raise SettingsError(msg)
    distance = SIGN[side] * width / 2
    bound = 0.0
    findings = list(_branch_findings(layer, chains))
    paths: list[tuple[int, ArcPath]] = []
    if distance:
        for loop, chain in enumerate(chains):
            beside = offset_path(chain, distance=distance)
            bound = max(bound, beside.bound.mm)
            paths += [(loop, path) for path in beside.paths]
            if not beside.paths:
                findings.append(_gone(layer, chain, side, width))
    else:
        paths = list(enumerate(joined(chains)))
    beads = tuple(
        Bead(
            path=path,
            role="wall",
            rank=1,
            loop=loop,
            hole=False,
            offset=distance,
            width=width,
            height=height,
        )
        for loop, path in paths
    )
    return LayerBeads(beads=beads, bound=bound, findings=tuple(findings))


def _gone(layer: LayerRegion, chain: ArcPath, side: Side, width: float) -> Finding:
    """The finding for a curve that bends so tightly that nothing lies half a width beside it."""
    x, y = chain.points[0]
    return Finding(
        code="thin",
        level="warning",
        layer=layer.plan.index,
        at_mm=(float(x), float(y), layer.plan.z),
        measured=length(chain),
        allowed=width,
        unit="mm",
        text=f"no bead fits to the {side} of this curve of the surface, whose length is told",
    )


def _branch_findings(layer: LayerRegion, chains: Sequence[ArcPath]) -> tuple[Finding, ...]:
    """One finding for each point where more than two curves meet."""
    return tuple(
        Finding(
            code="branch",
            level="warning",
            layer=layer.plan.index,
            at_mm=(*node, layer.plan.z),
            measured=many,
            allowed=2,
            text=f"{many} curves of the surface meet here: beads cross or stop at this point",
        )
        for node, many in branches(chains)
    )
