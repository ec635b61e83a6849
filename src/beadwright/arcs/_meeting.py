"""How far the union of solids may be off where their boundaries meet, each known within an error only.

A loop by itself is off by its own error. Where two solids cross at a shallow angle the corner between them
is not: it moves by the error over the sine of half the angle. Let all boundary within a ball about a place,
of whatever solid, run within an angle s < 90 degrees of one direction, material on the left. Then a step to the
right, at 90 degrees to it, leads from no exterior into a solid, nor does any step within 90 degrees - s of
that step. So a step of error / cos s leads from every place on the union of the known loops out of the true one,
and from every place on the true union out of the known one: neither is further from the other than that.
Between walls that face each other closer than their errors no such direction exists, and it is said so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.arcs._spans import Floats, Ints, spans_of
from beadwright.curves import ArcPath

# Errors that add up to less are settled by the union itself, which snaps nodes and fills hairs, mm.
SETTLED = 2e-6
# A place is judged with what lies this many errors about it at most.
FAR = 64.0
# Parts no longer than twice this are given up whole where their middle has no way out, mm.
BLIND = 0.5
# Directions that are tried for the step.
DIRECTIONS = 33
# Parts of the boundary that are judged, at most, before the rest is given up as undecided.
MAX_PARTS = 20_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Meeting:
    """Where boundaries of different solids come within their errors (m loops).

    Attributes
    ----------
    bound : float
        How far the union's boundary may be off at these places, mm; 0 without any.
    at : (float, float) or None
        Where that is.
    loop_bound : (m,) float
        The same at each loop, mm; infinite where ``undecided``.
    undecided : (u, 3) float
        Place, mm, and length, mm, of parts along which walls face each other closer than their errors.
    """

    bound: float
    at: tuple[float, float] | None
    loop_bound: Floats
    undecided: Floats


def meeting(loops: Sequence[ArcPath], solid: Ints, error: Sequence[Floats], *, target: float) -> Meeting:
    """Bound how far a union is off where the loops of different solids meet.

    Parameters
    ----------
    loops : sequence of ArcPath
        Closed, material on the left.
    solid : (m,) int
        Solid that each loop bounds.
    error : sequence of (moves,) float
        How far each move may be from the true boundary, mm, as Fréchet distance.
    target : float
        Bound at which nothing is gained by looking closer, mm.

    Examples
    --------
    Two squares, each within 0.01 mm, whose edges cross at 60 degrees: 0.01 / sin 30 degrees.

    >>> square = np.array([[0.0, 0], [100, 0], [100, 100], [0, 100]])
    >>> turn = np.array([[0.5, 0.75**0.5], [-(0.75**0.5), 0.5]])
    >>> none = np.full(4, -1, np.int32)
    >>> loops = [ArcPath(points=p, bulge=np.zeros(4), face=none, support=none)
    ...          for p in (square, (square - [50, 100]) @ turn + [50, 0])]
    >>> found = meeting(loops, np.array([0, 1]), [np.full(4, 0.01)] * 2, target=0.0)
    >>> round(found.bound, 4)
    0.02
    """
    near = _near(loops, solid, error)
    loop_bound = np.zeros(len(loops))
    undecided = [np.zeros((0, 3))]
    worst, at = 0.0, None
    n, judged = len(near.rows), 0
    part: Floats = np.column_stack([np.arange(n), np.zeros(n), np.ones(n)])
    reach = float(near.error.max(initial=0.0))
    while len(part):
        judged += len(part)
        x, half, heading = _middles(near, part)
        foot, distance = _feet(near.rows, x)
        own = part[:, 0].astype(int)
        both = near.error[own, None] + near.error
        facing = (near.solid[own, None] != near.solid) & (both > SETTLED)
        meets = np.asarray(facing & (distance <= half[:, None] + both)).any(axis=1)
        part, x, half, heading, own = part[meets], x[meets], half[meets], heading[meets], own[meets]
        foot, distance = foot[meets], distance[meets]
        value = _step(near, heading, foot, distance, half, reach)
        blind = np.isinf(_step(near, heading, foot, distance, 0.0 * half, reach))
        small = half <= reach / 4
        gone = (blind & (half <= max(BLIND, FAR / 2 * reach))) | (small & np.isinf(value))
        gone |= (judged > MAX_PARTS) & (value > target)
        done = ~gone & ((value <= target) | small)
        np.maximum.at(loop_bound, near.loop[own[done]], value[done])
        loop_bound[near.loop[own[gone]]] = np.inf
        undecided.append(np.column_stack([x + near.origin, 2 * half])[gone])
        if value[done].max(initial=0.0) > worst:
            most = np.flatnonzero(done)[np.argmax(value[done])]
            worst = float(value[most])
            at = float(x[most, 0] + near.origin[0]), float(x[most, 1] + near.origin[1])
        part = _halved(part[~done & ~gone])
    return Meeting(bound=worst, at=at, loop_bound=loop_bound, undecided=np.concatenate(undecided))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Near:
    """Spans that come near another solid's (n), with their loop, solid and error."""

    rows: Floats
    loop: Ints
    solid: Ints
    error: Floats
    origin: Floats


def _near(loops: Sequence[ArcPath], solid: Ints, error: Sequence[Floats]) -> _Near:
    source = spans_of(loops)
    loop = np.repeat(np.arange(len(loops)), np.diff(source.heads))
    own_error = np.concatenate([*error, np.zeros(0)])[source.move]
    kept = _close(source.rows, solid[loop], own_error)
    return _Near(
        rows=source.rows[kept],
        loop=loop[kept],
        solid=solid[loop[kept]],
        error=own_error[kept],
        origin=source.origin,
    )


def _close(rows: Floats, solid: Ints, error: Floats) -> npt.NDArray[np.bool_]:
    """Which spans lie in a box near the box of another solid's span."""
    rise = np.hypot(*(rows[:, 2:4] - rows[:, :2]).T) * np.abs(np.tan(rows[:, 7] / 4)) / 2
    room = (rise + 2 * FAR * error.max(initial=0.0))[:, None]
    low = np.minimum(rows[:, :2], rows[:, 2:4]) - room
    high = np.maximum(rows[:, :2], rows[:, 2:4]) + room
    kept = np.zeros(len(rows), bool)
    # Most pairs of loops are told apart by the boxes of the whole loops.
    names, which = np.unique(solid, return_inverse=True)
    lowest, highest = np.full((len(names), 2), np.inf), np.full((len(names), 2), -np.inf)
    np.minimum.at(lowest, which, low)
    np.maximum.at(highest, which, high)
    over = (lowest[:, None] <= highest).all(axis=2) & (highest[:, None] >= lowest).all(axis=2)
    for one, other in names[np.argwhere(np.triu(over, 1))].tolist():
        a, b = np.flatnonzero(solid == one), np.flatnonzero(solid == other)
        a = a[((low[a] <= high[b].max(axis=0)) & (high[a] >= low[b].min(axis=0))).all(axis=1)]
        if not len(a):
            continue
        b = b[((low[b] <= high[a].max(axis=0)) & (high[b] >= low[a].min(axis=0))).all(axis=1)]
        meet = ((low[a, None] <= high[b]) & (high[a, None] >= low[b])).all(axis=2)
        kept[a[meet.any(axis=1)]] = True
        kept[b[meet.any(axis=0)]] = True
    return kept


def _halved(part: Floats) -> Floats:
    """Both halves of each part (span, from, to)."""
    middle = (part[:, 1] + part[:, 2]) / 2
    both = np.repeat(part, 2, axis=0)
    both[0::2, 2] = middle
    both[1::2, 1] = middle
    return both


def _middles(near: _Near, part: Floats) -> tuple[Floats, Floats, Floats]:
    """Middle, half length and heading of parts of spans."""
    row = near.rows[part[:, 0].astype(int)]
    t = (part[:, 1] + part[:, 2]) / 2
    turn = t * row[:, 7] / 2
    bent = row[:, 6] != 0
    k = np.where(bent, row[:, 6], 1.0)
    length = np.where(bent, row[:, 7] / k, np.hypot(*(row[:, 2:4] - row[:, :2]).T))
    run = np.where(bent, 2 * np.sin(turn) / k, t * length)
    heading = np.arctan2(row[:, 5], row[:, 4]) + turn
    x = row[:, :2] + run[:, None] * np.column_stack([np.cos(heading), np.sin(heading)])
    return x, length * (part[:, 2] - part[:, 1]) / 2, heading + turn


def _feet(rows: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Parameter of the nearest place on every span, and how far it is, from k places: (k, n) each."""
    vx, vy = x[:, :1] - rows[:, 0], x[:, 1:] - rows[:, 1]
    a, b = vx * rows[:, 4] + vy * rows[:, 5], vy * rows[:, 4] - vx * rows[:, 5]
    k, sweep = rows[:, 6], rows[:, 7]
    bent = k != 0
    chord = np.hypot(*(rows[:, 2:4] - rows[:, :2]).T)
    t = np.where(bent, np.arctan2(k * a, 1 - k * b) / np.where(bent, sweep, 1.0), a / chord)
    f = b - k * (a * a + b * b) / 2
    q = 1 - 2 * k * f
    # Near the centre of an arc the first form cancels less, elsewhere the second.
    central = (1 - np.hypot(k * a, 1 - k * b)) / np.where(bent, k, 1.0)
    gap = np.where(q < 0.25, central, 2 * f / (1 + np.sqrt(np.maximum(q, 0.0))))
    start, end = np.hypot(vx, vy), np.hypot(x[:, :1] - rows[:, 2], x[:, 1:] - rows[:, 3])
    beside = (t >= 0) & (t <= 1)
    return np.where(beside, t, end < start), np.where(beside, np.abs(gap), np.minimum(start, end))


def _step(near: _Near, heading: Floats, foot: Floats, distance: Floats, half: Floats, reach: float) -> Floats:
    """Length of the step at each part that leads out of every solid, infinite where there is none."""
    k, sweep = near.rows[:, 6], near.rows[:, 7]
    turned = np.arctan2(near.rows[:, 5], near.rows[:, 4]) + sweep * foot - heading[:, None]
    turned -= 2 * np.pi * np.round(turned / (2 * np.pi))
    back, ahead = -sweep * foot, sweep * (1 - foot)
    value = np.full(len(heading), np.inf)
    for far in (1.5, 4.0, 16.0, FAR):
        room = half + (2 + far) * reach
        # Places of an arc within a ball lie within twice its radius of the nearest one.
        bend = 2 * np.arcsin(np.minimum(1.0, room[:, None] * np.abs(k)))
        low = turned + np.maximum(-bend, np.minimum(back, ahead))
        high = turned + np.minimum(bend, np.maximum(back, ahead))
        found = _least(near, distance <= room[:, None], low, high)
        value = np.where(np.isinf(value) & (found <= far * reach), found, value)
    return value


def _least(near: _Near, there: npt.NDArray[np.bool_], low: Floats, high: Floats) -> Floats:
    """Least over all directions of the greatest error / cos(angle between a wall and the direction)."""
    least, most = np.where(there, low, np.inf), np.where(there, high, -np.inf)
    from_, to = most.max(axis=1) - np.pi / 2, least.min(axis=1) + np.pi / 2
    share = (np.arange(DIRECTIONS) + 0.5) / DIRECTIONS
    value: Floats = np.zeros((len(low), DIRECTIONS))
    ahead: npt.NDArray[np.bool_] = np.asarray(from_ < to)
    direction = np.where(ahead, from_, 0.0)[:, None] + np.where(ahead, to - from_, 0.0)[:, None] * share
    for solid in np.unique(near.solid):
        mine = near.solid == solid
        some = np.asarray(there[:, mine].any(axis=1))
        error = np.where(there[:, mine], near.error[mine], 0.0).max(axis=1)
        over = np.where(some, most[:, mine].max(axis=1), -np.inf)[:, None] - direction
        under = direction - np.where(some, least[:, mine].min(axis=1), np.inf)[:, None]
        angle = np.where(some[:, None], np.maximum(over, under), 0.0)
        value = np.maximum(value, error[:, None] / np.cos(angle))
    return np.where(ahead, value.min(axis=1), np.inf)
