"""Traverses between open beads made shorter: a run of beads is laid the other way round where that pays.

2-opt (G. A. Croes, A method for solving traveling-salesman problems, Operations Research 6 (1958) 791-812),
the best exchange at a time, with a fixed number of exchanges: the same input gives the same order on every
machine, however fast.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Exchanges at most, the best first: later ones gain little.
EXCHANGES = 40
# An exchange that gains less than this, mm, is none.
GAIN = 1e-6
# Orders of more beads than this are left as they are: the table of all pairs would grow too large.
MAX_BEADS = 600


def nearest_order(ends: Floats, place: Floats | None) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """Beads in the order in which the nearest end comes next.

    Parameters
    ----------
    ends : (n, 2, 2) float
        Both ends of each bead, mm.
    place : (2,) float or None
        Where the nozzle stands; None: the first bead's first end comes first.

    Returns
    -------
    order : (n,) int64
    turned : (n,) bool
        Whether each, in that order, is laid from its last end to its first.
    """
    count = len(ends)
    order, turned = np.zeros(count, np.int64), np.zeros(count, bool)
    left = np.ones(count, bool)
    at = ends[0, 0] if place is None else place
    for step in range(count):
        far = np.hypot(*(ends - at).transpose(2, 0, 1))
        far[~left] = np.inf
        row, end = np.unravel_index(int(np.argmin(far)), far.shape)
        order[step], turned[step], left[row] = row, end == 1, False
        at = ends[row, 1 - end]
    return order, turned


def shortened(
    ends: Floats, order: Ints, turned: npt.NDArray[np.bool_], place: Floats | None
) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """An order with shorter traverses: see `nearest_order` for its arguments and what it returns."""
    count = len(order)
    if count < 3 or count > MAX_BEADS:
        return order, turned
    order, turned = order.copy(), turned.copy()
    rows = np.arange(count)
    for _ in range(EXCHANGES):
        first = ends[order, turned.astype(np.int64)]
        last = ends[order, 1 - turned.astype(np.int64)]
        before = np.concatenate([first[:1] if place is None else place[None], last[:-1]])
        # Beads i to j the other way round: the traverse to i now goes to j's end, that after j leaves from i.
        to = np.hypot(*(before[:, None] - last[None]).transpose(2, 0, 1))
        after = np.zeros((count, count))
        after[:, :-1] = np.hypot(*(first[:, None] - first[None, 1:]).transpose(2, 0, 1))
        own = np.hypot(*(before - first).T)
        following = np.append(np.hypot(*(last[:-1] - first[1:]).T), 0.0)
        gain = own[:, None] + following[None, :] - to - after
        if place is None:
            gain[0] = -np.inf
        gain[rows[:, None] > rows[None, :]] = -np.inf
        i, j = np.unravel_index(int(np.argmax(gain)), gain.shape)
        if gain[i, j] <= GAIN:
            break
        order[i : j + 1] = order[i : j + 1][::-1]
        turned[i : j + 1] = ~turned[i : j + 1][::-1]
    return order, turned


def traverse_length(ends: Floats, order: Ints, turned: npt.NDArray[np.bool_], place: Floats | None) -> float:
    """Length of all traverses of an order, mm."""
    first, last = ends[order, turned.astype(np.int64)], ends[order, 1 - turned.astype(np.int64)]
    before = np.concatenate([first[:1] if place is None else place[None], last[:-1]])
    return float(np.hypot(*(first - before).T).sum())
