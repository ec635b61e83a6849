"""Faces that are machined into the joint between two contour beads, or leave too little behind it.

Joints lie at whole multiples of the beads' spacing from the printed face; a cut that ends within a millimetre of
one opens it, and a surface that must hold a vacuum wants a whole bead behind it (both common practice).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from beadwright.numeric import Finding
from beadwright.pipeline._layer_work import LayerWork
from beadwright.settings import PlanSettings

# A finished surface keeps this far from a joint, mm: common practice.
CLEAR = 1.0


def joint_findings(
    works: Sequence[LayerWork], amounts: Mapping[int, float], settings: PlanSettings, spacing: float
) -> tuple[Finding, ...]:
    """One finding ``wall-joint`` or ``backing`` for each amount of stock along which contour beads run.

    Parameters
    ----------
    works : sequence of LayerWork
    amounts : mapping of int to float
        Stock of each face that has any, mm.
    settings : PlanSettings
    spacing : float
        Of the beads, mm.
    """
    if not amounts:
        return ()
    followed = {face for work in works for face in work.face_lengths()}
    faces: dict[float, int] = {}
    for face in sorted(followed & set(amounts)):
        faces.setdefault(amounts[face], face)
    found = []
    for amount, face in faces.items():
        rank = min(max(1, round(amount / spacing)), settings.contours)
        apart = abs(amount - rank * spacing)
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
        behind = settings.contours * spacing - amount
        if settings.fill.kind in {"none", "ribs"} and behind < settings.width:
            found.append(
                Finding(
                    code="backing",
                    level="warning",
                    face=face,
                    measured=behind,
                    allowed=settings.width,
                    unit="mm",
                    text=f"a cut of {amount:g} mm leaves {max(behind, 0.0):.2f} mm of bead, less than a whole one:"
                    " lay more contour beads, or fill behind them",
                )
            )
    return tuple(found)
