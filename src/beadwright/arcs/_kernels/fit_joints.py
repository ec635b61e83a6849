"""Where free-form curves of a chain join smoothly: the tangent held there, chosen anew where it costs an arc.

Each side of a joint takes its fewest arcs for tangents in some range, in which its own end lies when it is free. So
between the free ends of both sides lies the tangent that serves both, if there is one, and bisection finds it: away
from the side that has its fewest, towards the one that has not. Only runs of curves that take more arcs than few are
looked at.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.fit_certify import MOVE_COLUMNS
from beadwright.arcs._kernels.fit_section import fit_section
from beadwright.arcs._kernels.fit_table import TX, TY, best_arcs, few_of, turn_between
from beadwright.compiled import helper

# Marks of a curve: 0 nothing, 1 moves as they are, 2 a spline; its rows in the table, its corners in `breaks`;
# whether the chain's tangents at its ends are held; its moves.
WHAT, ROW, ROWS, BREAK, BREAKS, HELD, COUNT, MARKS = 0, 1, 2, 3, 4, 5, 7, 8
# Its tangents: its own at start and end, those that the chain has there, the tilts that knots there take.
LAID, TILT, TANGENTS = 4, 8, 10
# How often the range between the free ends is halved.
HALVINGS = 5


@helper
def _put(moves: Any, at: int, old: int, first: int, new: int, n: int) -> int:
    """The ``new`` moves from ``first`` on in place of the ``old`` ones from ``at`` on; where ``n`` moves to."""
    more = new - old
    for step in range(n - at - old):
        # From the end backwards where rows move on.
        i = n - 1 - step if more > 0 else at + old + step
        for k in range(MOVE_COLUMNS):
            moves[i + more, k] = moves[i, k]
    for i in range(new):
        for k in range(MOVE_COLUMNS):
            moves[at + i, k] = moves[first + i, k]
    return n + more


@helper
def _mend(
    table: Any, marks: Any, tangents: Any, lo: int, a: int, b: int, tolerance: float,
    degree: Any, first_control: Any, control: Any, choose: Any, work: Any, stack: Any, depth: Any,
    moves: Any, base: int, n: int,
) -> int:  # fmt: skip
    """Choose the tangent between the curves ``a`` and ``b`` anew if that saves an arc; the next free row.

    The chain's curves begin at ``lo``, its moves at ``base``.
    """
    start, end, turn = np.empty(2), np.empty(2), np.empty(2)
    # Moves tried of each side, and the fewest: what would help, then those with a free end there.
    free, tried = np.zeros(2, dtype=np.int64), np.zeros(2, dtype=np.int64)
    fewest = np.zeros(2, dtype=np.int64)
    for side in range(2):
        c = a if side == 0 else b
        best = best_arcs(table, marks[c, ROW], marks[c, ROWS] - 1, tolerance)
        fewest[side] = max(int(np.ceil(best)), marks[c, COUNT] - 1)
    joint = table[marks[b, ROW]]
    tx, ty = joint[TX], joint[TY]
    share, low, high = 0.5, 0.0, 1.0
    for attempt in range(1 + HALVINGS):
        if attempt > 0:
            tilt = turn[0] + share * (turn[1] - turn[0])
            tx = joint[TX] * np.cos(tilt) - joint[TY] * np.sin(tilt)
            ty = joint[TX] * np.sin(tilt) + joint[TY] * np.cos(tilt)
        first = n
        sound = True
        for side in range(2):
            c = a if side == 0 else b
            for k in range(2):
                start[k], end[k] = tangents[c, LAID + k], tangents[c, LAID + 2 + k]
                free[k] = marks[c, HELD + k] == 0
            held = end if side == 0 else start
            held[0], held[1] = tx, ty
            free[1 - side] = attempt == 0
            m, reached = fit_section(
                table, marks[c, ROW], marks[c, ROWS] - 1, start, end, free, tolerance, False, fewest[side], c,
                degree, first_control, control, choose, work, stack, depth, moves, first,
            )  # fmt: skip
            sound = sound and reached <= tolerance
            if not sound:
                break
            tried[side] = m - first
            first = m
            if attempt == 0:
                fewest[side] = tried[side]
                turn[side] = turn_between(joint[TX], joint[TY], held[0], held[1])
        now = marks[a, COUNT] + marks[b, COUNT]
        if not sound or fewest[0] + fewest[1] >= now:
            break
        if attempt == 0:
            continue
        if tried[0] + tried[1] < now:
            # First the side that gets fewer, so that nothing reaches into what is still to be put.
            one = 0 if tried[0] < marks[a, COUNT] else 1
            beyond = n
            for step in range(2):
                side = (one + step) % 2
                c = a if side == 0 else b
                at = base
                for i in range(lo, c):
                    at += marks[i, COUNT]
                first = beyond + (tried[0] if side == 1 else 0)
                n = _put(moves, at, marks[c, COUNT], first, tried[side], n)
                marks[c, COUNT] = tried[side]
            tangents[a, LAID + 2], tangents[a, LAID + 3] = tx, ty
            tangents[b, LAID], tangents[b, LAID + 1] = tx, ty
        left, right = tried[0] > fewest[0], tried[1] > fewest[1]
        if left == right:
            break
        if left:
            high = share
        else:
            low = share
        share = 0.5 * (low + high)
    return n


@helper
def mend_joints(
    table: Any, marks: Any, tangents: Any, lo: int, hi: int, is_closed: bool, tolerance: float,
    degree: Any, first_control: Any, control: Any, choose: Any, work: Any, stack: Any, depth: Any,
    moves: Any, base: int, n: int,
) -> int:  # fmt: skip
    """Fewer moves of a chain that has runs of more than few over its joints, if there are; the next free row.

    A run is of free-form curves without corners.
    """
    before, after = np.empty(hi - lo, dtype=np.int64), np.empty(hi - lo, dtype=np.int64)
    for i in range(hi - lo):
        before[i] = after[i] = -1
    previous, joints, others = -1, 0, 0
    for step in range(2 * (hi - lo) if is_closed else hi - lo):
        c = lo + step % (hi - lo)
        if marks[c, WHAT] == 0:
            continue
        if (
            previous >= 0 and previous != c and before[c - lo] < 0
            and marks[c, WHAT] == 2 and marks[c, BREAK] == marks[c, BREAKS]
            and marks[previous, WHAT] == 2 and marks[previous, BREAK] == marks[previous, BREAKS]
            and marks[c, HELD] == 1 and marks[previous, HELD + 1] == 1
        ):  # fmt: skip
            before[c - lo], after[previous - lo] = previous, c
            joints += 1
        previous = c
        others += step < hi - lo
    for begin in range(lo, hi):
        # A run from its first curve on; one that closes has none, and begins anywhere.
        if after[begin - lo] < 0 or (before[begin - lo] >= 0 and joints < others):
            continue
        total, count = 0.0, 0
        c = begin
        while c >= 0:
            total += best_arcs(table, marks[c, ROW], marks[c, ROWS] - 1, tolerance)
            count += marks[c, COUNT]
            c = after[c - lo] if after[c - lo] != begin else -1
        few = few_of(total)
        c = begin
        while count > few and after[c - lo] >= 0:
            m = _mend(
                table, marks, tangents, lo, c, after[c - lo], tolerance,
                degree, first_control, control, choose, work, stack, depth, moves, base, n,
            )  # fmt: skip
            count, n = count - (n - m), m
            c = after[c - lo]
            if c == begin:
                break
        if joints == others:
            break
    return n
