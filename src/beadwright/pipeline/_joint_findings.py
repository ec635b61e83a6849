"""Faces that are machined into the joint between two contour beads, or leave too little behind it.

Joints lie where the bands of the beads' spacings meet; a cut that ends within a millimetre of
one opens it, and a surface that must hold a vacuum wants a whole bead behind it (both common practice).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from beadwright.numeric import Finding
from beadwright.pipeline._layer_beads import ranks_of
from beadwright.pipeline._layer_work import LayerWork
from beadwright.settings import PlanSettings

# A finished surface keeps this far from a joint, mm: common practice.
CLEAR = 1.0


def joint_findings(
    works: Sequence[LayerWork], amounts: Mapping[int, float], settings: PlanSettings
) -> tuple[Finding, ...]:
    """One finding ``wall-joint`` or ``backing`` for each amount of stock along which contour beads run.

    Parameters
    ----------
    works : sequence of LayerWork
    amounts : mapping of int to float
        Stock of each face that has any, mm.
    settings : PlanSettings
    """
    if not amounts:
        return ()
    followed = {face for work in works for face in work.face_lengths()}
    faces: dict[float, int] = {}
    for face in sorted(followed & set(amounts)):
        faces.setdefault(amounts[face], face)
    ranks = ranks_of(settings)
    joints = [ranks.inside(rank + 1) for rank in range(1, settings.contours + 1)]
    whole = ranks.width_of(settings.contours)
    found = []
    for amount, face in faces.items():
        rank = min(range(1, settings.contours + 1), key=lambda rank: abs(amount - joints[rank - 1]))
        apart = abs(amount - joints[rank - 1])
        if amount > 0 and apart < CLEAR:
            found.append(
                Finding(
                    code="wall-joint",
                    level="warning",
                    face=face,
                    measured=apart,
                    allowed=CLEAR,
                    unit="mm",
                    text=f"a cut of {amount:g} mm ends {apart:.2f} mm from joint {rank} between contour beads, which"
                    " it may open: take less stock, or more",
                )
            )
        behind = joints[-1] - amount
        if settings.fill.kind in {"none", "ribs"} and behind < whole:
            found.append(
                Finding(
                    code="backing",
                    level="warning",
                    face=face,
                    measured=behind,
                    allowed=whole,
                    unit="mm",
                    text=f"a cut of {amount:g} mm leaves {max(behind, 0.0):.2f} mm of bead, less than a whole one:"
                    " lay more contour beads, or fill behind them",
                )
            )
    return tuple(found)
