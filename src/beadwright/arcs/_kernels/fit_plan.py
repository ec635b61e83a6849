"""How many arcs a section takes: arcs added where they are short, left out where there is room.

A plan that strays too far gets a knot in the worst arc of each run of arcs that stray alike, since a knot
elsewhere would not help them; one that is good enough loses a knot where the arcs around have most to spare.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.fit_layout import refine, relax, row_before, spread
from beadwright.arcs._kernels.fit_polish import straighten
from beadwright.arcs._kernels.fit_table import ARCS, BENT_RISE, BENT_THETA, LENGTH, RISE, THETA
from beadwright.compiled import helper

# How many numbers of arcs are tried.
TRIALS = 60
# Plans that need up to so many times as many arcs are polished.
NEARLY = 1.4
# Cube roots of how far arcs stray, over the worst: neighbours above this share are one run; and over the
# tolerance: where arcs would come to more than this without one of them, none is left out.
RUN, MERGED = 0.93, 1.0
# Arcs on either side that share the load of an arc that is left out.
AROUND = 3
# From how many other beginnings fewer arcs are tried where there are many.
AGAIN = 9
# The second of them begins with so many arcs fewer, which grow in number where they stray most.
FEWER = 2
# The share of an arc by which knots are then moved at most, and the golden ratio that scatters them evenly.
SCATTER, GOLDEN = 0.45, 0.6180339887498949


@helper
def _insert(n: int, knots: Any, parts: Any, more: int, limit: int) -> int:
    """Halve the worst arcs, one of each run of neighbours that stray about alike, at most ``more``; how many."""
    for _ in range(more):
        at = 0
        for i in range(n):
            if parts[i] > parts[at]:
                at = i
        if parts[at] <= 1.0 or n == limit:
            break
        # Its neighbours gain as well: they are not halved too.
        for way in (-1, 1):
            i = at + way
            while 0 <= i < n and parts[i] > RUN * parts[at]:
                parts[i] = 0.0
                i += way
        for j in range(n, at, -1):
            knots[j + 1], parts[j] = knots[j], parts[j - 1]
        knots[at + 1] = 0.5 * (knots[at] + knots[at + 2])
        parts[at] = parts[at + 1] = 0.0
        n += 1
    return n


@helper
def _remove(n: int, knots: Any, parts: Any, fixed: Any) -> float:
    """Take away the knot whose neighbourhood has most to spare; what its arcs then come to, in parts."""
    at = 0
    least = np.inf
    for j in range(1, n):
        if fixed[j]:
            continue
        first, last = max(j - AROUND, 0), min(j + AROUND, n)
        total = 0.0
        for i in range(first, last):
            total += parts[i]
        total = max(total / (last - first - 1.0), 0.5 * (parts[j - 1] + parts[j]))
        if total < least:
            least, at = total, j
    if at > 0:
        for j in range(at, n):
            knots[j] = knots[j + 1]
    return least


@helper
def _begin(table: Any, i0: int, i1: int, n: int, knots: Any, turn: int) -> None:
    """Knots at equal counts of arcs; with ``turn`` 1, 2 the outer arcs are halves, beyond it all are scattered anew.

    An end in the middle of an arc is a knot less where the chain could go on: by symmetry, or round a closed curve.
    """
    arcs = table[i1, ARCS] - table[i0, ARCS]
    knots[0], knots[n] = table[i0, LENGTH], table[i1, LENGTH]
    for j in range(1, n):
        shift = 0.0
        if 0 < turn <= 2 and n > 1:
            shift = (j - 0.5) * n / (n - 1.0) - j
        elif turn > 2:
            shift = j * GOLDEN * turn + 0.37 * turn
            shift = SCATTER * (2.0 * (shift - np.floor(shift)) - 1.0)
        goal = table[i0, ARCS] + arcs * (j + shift) / n
        p = row_before(table, i0, i1, ARCS, goal)
        step = table[p + 1, ARCS] - table[p, ARCS]
        share = (goal - table[p, ARCS]) / step if step > 0.0 else 0.5
        if arcs <= 0.0:
            knots[j] = knots[0] + (knots[n] - knots[0]) * (j + shift) / n
        else:
            knots[j] = table[p, LENGTH] + min(max(share, 0.0), 1.0) * (
                table[p + 1, LENGTH] - table[p, LENGTH]
            )


@helper
def _keep(
    table: Any, i0: int, i1: int, n: int, knots: Any, c: Any, best: Any, best_c: Any, bent: Any
) -> None:
    """Note a plan that is good enough, with what its own offset added to the table."""
    for j in range(n + 1):
        best[j] = knots[j]
    for j in range(n + 2):
        best_c[j] = c[j]
    for p in range(i1 - i0 + 1):
        bent[p, 0], bent[p, 1] = table[i0 + p, BENT_THETA], table[i0 + p, BENT_RISE]


@helper
def plan(
    table: Any,
    i0: int,
    i1: int,
    tilts: Any,
    free: Any,
    tolerance: float,
    least: int,
    few: int,
    n: int,
    best: Any,
) -> tuple[int, Any, Any]:
    """Number of arcs, at least ``least``, their knots (lengths) and spline coefficients for one section.

    More than ``few`` are tried to be made fewer from other beginnings. ``n`` arcs with the knots ``best`` are
    where it begins, unless n is 0. The number is 0 if no number of arcs that the table can tell apart
    keeps the tolerance.
    """
    rows = i1 - i0
    arcs = table[i1, ARCS] - table[i0, ARCS]
    held = 2 - int(free[0]) - int(free[1])
    least = max(least, held, 1)
    limit = max(2 * rows + 4, least + 2)
    # One array and its rows: each one made takes its time to compile.
    room = np.empty((15, max(limit, rows) + 3))
    knots, fresh, c, errors, parts, trial, best_c = (
        room[0], room[1], room[2], room[3], room[4], room[5], room[6],
    )  # fmt: skip
    spare = room[7:14]
    fixed = np.empty(limit + 2, dtype=np.bool_)
    band, bent = np.empty((2 * limit + 7, 6)), np.zeros((rows + 1, 2))
    rough = n == 0
    evened, turn = 0, 0
    if n > 0:
        for j in range(n + 1):
            knots[j] = best[j]
    else:
        best = room[14]
        n = min(max(least, int(np.ceil(arcs + 0.3 * held - 0.2))), limit)
        _begin(table, i0, i1, n, knots, 0)
    found = 0
    for _ in range(TRIALS):
        if rough:
            worst, needed = relax(
                table, i0, i1, n, knots, c, band, errors, parts, fresh, trial, fixed, tilts, free, tolerance
            )
            m = int(needed)
            if worst > tolerance and needed > NEARLY * n + 1.0:
                # Far off: as many arcs as these errors ask for.
                if m > limit:
                    break
                spread(n, knots, parts, m, fresh)
                for j in range(m + 1):
                    knots[j] = fresh[j]
                n = m
                continue
            rough = False
        worst, turns = refine(table, i0, i1, n, knots, c, band, errors, fixed, tilts, free, tolerance, spare)
        good = worst <= tolerance
        if good:
            found = n
            _keep(table, i0, i1, n, knots, c, best, best_c, bent)
        if turn > 0:
            if good:
                break
            if turn == 2 and n < few:
                m = _insert(n, knots, errors, 1, few)
                if m > n:
                    n = m
                    continue
            if turn == AGAIN:
                break
            turn += 1
            n = max(few - FEWER, least) if turn == 2 else few
            _begin(table, i0, i1, n, knots, turn)
            continue
        if turns and evened != n:
            # Arcs that stray little and turn too much: even again.
            _begin(table, i0, i1, n, knots, 0)
            evened = n
            continue
        if found == 0:
            more = max(int(n * ((min(worst / tolerance, 27.0)) ** (1.0 / 3.0) - 1.0)), 1)
            m = _insert(n, knots, errors, more, limit)
            if m == n:
                break
            n = m
            continue
        if good and n > least and _remove(n, knots, errors, fixed) <= MERGED:
            n -= 1
            continue
        # Where that is more than the best arc spline of a steady curve takes, from other places.
        n = few = max(few, least)
        if found <= n:
            break
        turn = 1
        _begin(table, i0, i1, n, knots, turn)
    straighten(table, i0, i1)
    for p in range(rows + 1):
        table[i0 + p, BENT_THETA], table[i0 + p, BENT_RISE] = bent[p, 0], bent[p, 1]
        table[i0 + p, THETA] += bent[p, 0]
        table[i0 + p, RISE] += bent[p, 1]
    return found, best, best_c
