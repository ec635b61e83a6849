"""Places along a path that was taken out, as the plan lists them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, lengths, points_at

# Places listed as lost stand for this length of a contour bead that was taken out, mm.
LISTED = 3.9


def spaced(path: ArcPath, spacing: float) -> npt.NDArray[np.float64]:
    """Points along a path, at most `spacing` apart, the middles of pieces."""
    pieces = np.maximum(np.ceil(lengths(path) / spacing), 1).astype(np.int64)
    move = np.repeat(np.arange(len(pieces)), pieces)
    share = (np.arange(len(move)) - (np.cumsum(pieces) - pieces)[move] + 0.5) / pieces[move]
    return points_at(path, move, share)


def listed(path: ArcPath) -> tuple[tuple[float, float], ...]:
    """Places along a path that was taken out."""
    return tuple((float(x), float(y)) for x, y in spaced(path, LISTED))
