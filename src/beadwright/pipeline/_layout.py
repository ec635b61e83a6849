"""Where copies stand: rows on a rectangle, past what is in the way. Boxes in the plane, nothing else."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Sums of some metres are doubles good to 1e-12; a box on the limit is inside.
ON_LIMIT = 1e-6
# So many places are tried for a block that cannot stand where it is asked to; behind hundreds of copies rows will do.
MAX_PLACES = 10_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What boxes may stand on.

    Attributes
    ----------
    low, high : (2,) float
        The rectangle, mm.
    blocked : (k, 2, 2) float
        Rectangles in which nothing may stand, lowest and highest corner.
    """

    low: Floats
    high: Floats
    blocked: Floats

    def takes(self, boxes: Floats) -> bool:
        """Whether boxes (k, 2, 2) stand inside, and in nothing that is blocked."""
        inside = (boxes[:, 0] >= self.low - ON_LIMIT).all() and (boxes[:, 1] <= self.high + ON_LIMIT).all()
        return bool(inside) and not any(meets(box, self.blocked).any() for box in boxes)


def meets(box: Floats, others: Floats) -> npt.NDArray[np.bool_]:
    """Which of some boxes (k, 2, n) share more than a border with a box (2, n)."""
    return np.asarray(((others[:, 0] < box[1] - ON_LIMIT) & (others[:, 1] > box[0] + ON_LIMIT)).all(axis=1))


def in_rows(
    sizes: Sequence[tuple[float, float]], *, gap: float, middle: tuple[float, float], ground: Ground
) -> tuple[tuple[float, float], ...] | int:
    """Middles of boxes set in rows, in the order given.

    The most square block of rows is taken whose middle is as asked, if one stands free there; else the most square
    one that stands free anywhere, as near to that as it can; else rows from the lowest corner on, past what is blocked.

    Parameters
    ----------
    sizes : sequence of (float, float)
        Along X and Y, mm.
    gap : float
        Least distance between them, mm.
    middle : (float, float)
    ground : Ground

    Returns
    -------
    tuple of (float, float), or int
        The index of the first box for which there is no room.
    """
    if not sizes:
        return ()
    blocks = [_block(sizes, gap, columns) for columns in range(1, len(sizes) + 1)]
    blocks.sort(key=lambda c: max(_extent(c, sizes)))
    for corners in blocks:
        low = np.array(corners) + np.array(middle) - np.array(_extent(corners, sizes)) / 2
        boxes = np.stack([low, low + np.array(sizes)], axis=1)
        if ground.takes(boxes):
            return _middles(low, sizes)
    for corners in blocks:
        shift = _nearest(np.array(_extent(corners, sizes)), np.array(middle), ground)
        if shift is not None:
            return _middles(np.array(corners) + shift, sizes)
    return _past(sizes, gap, ground)


def _nearest(size: Floats, middle: Floats, ground: Ground) -> Floats | None:
    """Lowest corner of a box with its middle as near as can be to the one asked for, beside what is in its way.

    None where it has no room, or none among the nearest places.
    """
    wanted = middle - size / 2
    x, y = (
        np.unique(
            np.concatenate(
                [
                    [wanted[k], ground.low[k], ground.high[k] - size[k]],
                    ground.blocked[:, 0, k] - size[k],
                    ground.blocked[:, 1, k],
                ]
            )
        )
        for k in (0, 1)
    )
    places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    # Ties by place, so that the choice hangs on nothing else.
    order = np.lexsort((places[:, 1], places[:, 0], np.round(np.hypot(*(places - wanted).T), 6)))
    for place in places[order[:MAX_PLACES]]:
        if ground.takes(np.array([[place, place + size]])):
            return np.asarray(place)
    return None


def _middles(low: Floats, sizes: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in low + np.array(sizes) / 2)


def _block(sizes: Sequence[tuple[float, float]], gap: float, columns: int) -> list[tuple[float, float]]:
    """Lowest corners of rows with so many boxes each."""
    corners, y = [], 0.0
    for first in range(0, len(sizes), columns):
        row, x = sizes[first : first + columns], 0.0
        for width, _ in row:
            corners.append((x, y))
            x += width + gap
        y += max(depth for _, depth in row) + gap
    return corners


def _extent(
    corners: Sequence[tuple[float, float]], sizes: Sequence[tuple[float, float]]
) -> tuple[float, float]:
    return (
        max(x + w for (x, _), (w, _) in zip(corners, sizes, strict=True)),
        max(y + d for (_, y), (_, d) in zip(corners, sizes, strict=True)),
    )


def _past(
    sizes: Sequence[tuple[float, float]], gap: float, ground: Ground
) -> tuple[tuple[float, float], ...] | int:
    """Rows from the lowest corner on, each box behind whatever blocks it."""
    low: list[tuple[float, float]] = []
    x, y = map(float, ground.low)
    depth = 0.0
    for index, (width, own) in enumerate(sizes):
        while True:
            box = np.array([[x, y], [x + width, y + own]])
            if box[1, 1] > ground.high[1] + ON_LIMIT:
                return index
            if box[1, 0] > ground.high[0] + ON_LIMIT:
                # nothing stands in this row: go on behind what blocks it
                step = depth + gap if depth else _next_free(y, ground) - y
                if not math.isfinite(step) or float(ground.low[0]) + width > ground.high[0] + ON_LIMIT:
                    return index
                x, y, depth = float(ground.low[0]), y + step, 0.0
                continue
            blocking = ground.blocked[meets(box, ground.blocked)]
            if not len(blocking):
                break
            x = float(blocking[:, 1, 0].max()) + gap
        low.append((x, y))
        x, depth = x + width + gap, max(depth, own)
    return _middles(np.array(low), sizes)


def _next_free(y: float, ground: Ground) -> float:
    """The lowest border above a height at which something that blocks ends."""
    ends = ground.blocked[:, 1, 1]
    return float(ends[ends > y + ON_LIMIT].min(initial=math.inf))
