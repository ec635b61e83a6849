"""Sections cut as closely as they will be fitted."""

from __future__ import annotations

from collections.abc import Sequence

from beadwright.pipeline._kernel_fallback import KernelFallback
from beadwright.section import Cutter, Section, TakenPlane, cut

# How far level curves may be traced off, in fit tolerances: small beside what the fit itself may use up, and yet as
# much as leaves few pieces to be proven and followed.
TRACED = 0.005


def cut_for_fit(
    cutter: Cutter, planes: Sequence[TakenPlane], fallback: KernelFallback, tolerance: float
) -> list[Section]:
    """Sections at planes, their level curves traced within a share of the fit's tolerance, mm."""
    return cut(
        cutter,
        [plane.taken for plane in planes],
        asked=[plane.asked for plane in planes],
        fallback=fallback,
        traced=TRACED * tolerance,
    )
