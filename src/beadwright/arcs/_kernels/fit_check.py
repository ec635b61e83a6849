"""How far given moves stray from the curves that they claim to follow."""

from __future__ import annotations

from typing import Any

from beadwright.arcs._kernels.fit_certify import M_BOUND, arc_bound
from beadwright.compiled import kernel


@kernel
def check_moves(
    degree: Any, first_control: Any, control: Any, moves: Any, choose: Any, stack: Any, depth: Any
) -> None:
    """Fill in the bound of each move."""
    for n in range(len(moves)):
        moves[n, M_BOUND] = arc_bound(degree, first_control, control, moves[n], 0.0, choose, stack, depth)
