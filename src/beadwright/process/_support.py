"""How much of a bead lies on the one below where a wall leans."""

from __future__ import annotations

from typing import Literal


def carried_share(width: float, height: float, step: float, section: Literal["flat", "round"]) -> float:
    """Share of a bead's underside that lies on the bead below it, which it stands out from by a step; 0 to 1.

    A flat bead touches by all its width, a round one by the flat between its sides, which are half circles.

    Examples
    --------
    At 45 degrees the step is the height: 8.4 x 4 keeps half of a flat bead, 9 % of a round one:

    >>> round(carried_share(8.4, 4.0, 4.0, "flat"), 3), round(carried_share(8.4, 4.0, 4.0, "round"), 3)
    (0.524, 0.091)
    """
    touching = width if section == "flat" else width - height
    return max(0.0, 1.0 - step / touching) if touching > 0 else 0.0
