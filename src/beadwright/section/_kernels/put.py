"""Parts of branches as Bézier pieces."""

from __future__ import annotations

from math import acos, ceil, cos, cosh, hypot, pi, sin, sinh
from typing import Any

import numpy as np

from beadwright.compiled import helper
from beadwright.section._kernels.codes import (
    C_CIRCLE,
)
from beadwright.section._kernels.level import level_point, span_at

LEVEL_TARGET = 1e-7  # deviation between interpolation points that ends the halving, mm
LEVEL_HALVINGS = 14
HAZE = 8.0 * 2.0**-53
"""Rounding of r^2 - q^2 as a part of r^2."""
SQUARE_ROOT = 2.0**-26
"""A side distance Y below this part of r is rounding alone."""
STRETCH = 3.0
"""Parameter of a hyperbola over one piece: beyond it the middle weight would dwarf those of the ends."""


@helper
def grown_pieces(table: Any, rows: int) -> Any:
    """The table itself, or a copy with room for twice the rows."""
    n = table.shape[0]
    if rows <= n:
        return table
    out = np.empty((max(rows, 2 * n), 2), np.int64)
    for i in range(n):
        out[i, 0], out[i, 1] = table[i, 0], table[i, 1]
    return out


@helper
def grown_control(table: Any, rows: int) -> Any:
    """Likewise for control points."""
    n = table.shape[0]
    if rows <= n:
        return table
    out = np.empty((max(rows, 2 * n), 3))
    for i in range(n):
        out[i, 0], out[i, 1], out[i, 2] = table[i, 0], table[i, 1], table[i, 2]
    return out


@helper
def put_angle(par: Any, s0: float, s1: float, pieces: Any, control: Any, count: Any) -> Any:
    """Conic arc as rational quadratic pieces of at most a quarter turn, weights positive."""
    is_hyperbolic = par[13] == 1.0
    parts = max(1, ceil((s1 - s0) / (0.5 * pi) - 1e-9))
    if is_hyperbolic:
        parts = max(1, ceil((s1 - s0) / STRETCH))
        d = (s1 - s0) / parts
    while not is_hyperbolic:
        d = (s1 - s0) / parts
        fine = True
        for i in range(parts):
            m = s0 + (i + 0.5) * d
            w = par[6] * cos(0.5 * d) + par[7] * cos(m) + par[8] * par[9] * sin(m)
            fine = fine and w > 0.0
        if fine or parts > 4096:
            break
        parts *= 2
    pieces = grown_pieces(pieces, count[0] + parts)
    control = grown_control(control, count[1] + 3 * parts)
    half = cosh(0.5 * d) if is_hyperbolic else cos(0.5 * d)
    for i in range(parts):
        pieces[count[0], 0], pieces[count[0], 1] = 2, count[1]
        count[0] += 1
        for j in range(3):
            a = s0 + (i + 0.5 * j) * d
            one = half if j == 1 else 1.0
            c, e = cos(a), par[9] * sin(a)
            if is_hyperbolic:
                one, c, e = cosh(a), one, par[9] * sinh(a)
            row = count[1]
            for x in range(3):
                control[row, x] = par[3 * x] * one + par[3 * x + 1] * c + par[3 * x + 2] * e
            count[1] += 1
    return pieces, control


@helper
def put_pushed(
    par: Any,
    f: Any,
    first: int,
    last: int,
    spans: Any,
    s0: float,
    s1: float,
    pieces: Any,
    control: Any,
    count: Any,
    work: Any,
) -> Any:
    """An exact part of an extrusion's section: blossoms of the directrix, then the affine map."""
    ends, degree, base, source = spans
    sense, h = par[1], par[0]
    low, high = ends[first, 0], ends[last - 1, 1]
    turn = high - low
    here = s0
    while s1 - here > 1e-13 * turn:
        u = sense * here
        lap = np.floor((u - low) / turn)
        if sense < 0.0 and u - lap * turn <= low + 1e-13 * turn:
            lap -= 1.0
        local = u - lap * turn
        i = span_at(first, last, ends, local)
        if sense > 0.0 and local >= ends[i, 1] - 1e-13 * turn and i + 1 < last:
            i += 1
        if sense < 0.0 and local <= ends[i, 0] + 1e-13 * turn and i > first:
            i -= 1
        if sense > 0.0:
            stop = min(s1, ends[i, 1] + lap * turn)
        else:
            stop = min(s1, -(ends[i, 0] + lap * turn))
        if stop <= here:
            break
        width = ends[i, 1] - ends[i, 0]
        ta = (local - ends[i, 0]) / width
        tb = (sense * stop - lap * turn - ends[i, 0]) / width
        n = degree[i]
        pieces = grown_pieces(pieces, count[0] + 1)
        control = grown_control(control, count[1] + n + 1)
        pieces[count[0], 0], pieces[count[0], 1] = n, count[1]
        count[0] += 1
        for k in range(n + 1):
            for j in range(n + 1):
                for c in range(4):
                    work[j, c] = source[base[i] + j, c]
            for r in range(n):
                t = tb if r < k else ta
                for j in range(n - r):
                    for c in range(4):
                        work[j, c] = (1.0 - t) * work[j, c] + t * work[j + 1, c]
            v = (h * work[0, 3] - work[0, 2]) / f[2]
            control[count[1], 0] = work[0, 0] + v * f[0]
            control[count[1], 1] = work[0, 1] + v * f[1]
            control[count[1], 2] = work[0, 3]
            count[1] += 1
        here = stop
    return pieces, control


@helper
def put_level(
    par: Any,
    kind: int,
    f: Any,
    first: int,
    last: int,
    spans: Any,
    s0: float,
    s1: float,
    lobatto: Any,
    to_bezier: Any,
    to_checks: Any,
    checks: Any,
    pieces: Any,
    control: Any,
    count: Any,
    work: Any,
    out: Any,
) -> Any:
    """A level curve as polynomial pieces through Lobatto points, halved until the points between agree."""
    n = len(lobatto)
    values = np.empty((n, 2))
    worst = 0.0
    parts = max(1, ceil((s1 - s0) / (0.25 * pi)))
    width = (s1 - s0) / parts
    here, level = s0, 0
    while here < s1:
        b = min(s1, here + width)
        if s1 - b < 1e-9 * (s1 - s0):
            b = s1
        miss, wide, side = 0.0, 0.0, 1e300
        for i in range(n + len(checks)):
            place = lobatto[i] if i < n else checks[i - n]
            level_point(par, kind, f, first, last, spans, here + place * (b - here), work, out)
            if i < n:
                values[i, 0], values[i, 1] = out[2], out[3]
                continue
            wide = max(wide, abs(out[0]))
            side = min(side, abs((out[3] - par[8]) * par[9] - (out[2] - par[7]) * par[10]))
            ex, ey = -out[2], -out[3]
            for j in range(n):
                ex += to_checks[i - n, j] * values[j, 0]
                ey += to_checks[i - n, j] * values[j, 1]
            miss = max(miss, hypot(ex, ey))
        # Y = sqrt(r^2 - q^2) is not known better than rounding of r^2 over Y: no halving mends that
        hazy = HAZE * wide * wide / max(side, SQUARE_ROOT * wide)
        if miss > max(LEVEL_TARGET, hazy) and level < LEVEL_HALVINGS:
            width *= 0.5
            level += 1
            continue
        worst = max(worst, miss)
        pieces = grown_pieces(pieces, count[0] + 1)
        control = grown_control(control, count[1] + n)
        pieces[count[0], 0], pieces[count[0], 1] = n - 1, count[1]
        count[0] += 1
        for i in range(n):
            x, y = 0.0, 0.0
            for j in range(n):
                x += to_bezier[i, j] * values[j, 0]
                y += to_bezier[i, j] * values[j, 1]
            control[count[1], 0], control[count[1], 1], control[count[1], 2] = x, y, 1.0
            count[1] += 1
        here = b
        if miss < max(0.02 * LEVEL_TARGET, 0.5 * hazy) and level > 0:
            width *= 2.0
            level -= 1
    return pieces, control, 1.5 * worst


@helper
def put_bitangent(
    par: Any,
    f: Any,
    face: int,
    s0: float,
    s1: float,
    x0: float,
    y0: float,
    curves: Any,
    shape: Any,
    first_piece: Any,
    c: int,
    piece: int,
) -> int:
    """Circle arcs of a bitangent torus section between its corners; the last is left to the caller.

    Its start, circle and sweep are in row ``c`` when this returns.
    """
    major, rho, side = f[9], par[5], par[3]
    ex, ey = par[9], par[10]
    up = side * par[11] < 0.0  # v grows
    corner = acos(-rho)
    here = s0
    while True:
        # the next corner: v = +-corner, whole turns apart
        stop = s1
        last = True
        for k in range(-1, 3):
            for turn in range(2):
                at = 2.0 * pi * k + (corner if turn == 0 else -corner)
                if here + 1e-9 < at < stop - 1e-9:
                    stop, last = at, False
        middle = 0.5 * (here + stop)
        v = middle if up else -middle
        flip = side if cos(v) + rho > 0.0 else -side
        offset = flip * major * rho
        shape[c, 0], shape[c, 1] = x0, y0
        shape[c, 4], shape[c, 5], shape[c, 6] = par[7] - offset * ey, par[8] + offset * ex, major
        # (sin v, flip cos v) turns clockwise with v for flip = 1
        shape[c, 7] = -(flip if up else -flip) * (stop - here)
        if last:
            return c
        vs = stop if up else -stop
        x, y = major * sin(vs), 0.0
        x0, y0 = par[7] + x * ex - y * ey, par[8] + x * ey + y * ex
        shape[c, 2], shape[c, 3] = x0, y0
        shape[c, 8] = 16.0 * 2.3e-16 * (abs(x0) + abs(y0) + major)
        curves[c, 0], curves[c, 1] = C_CIRCLE, face
        c += 1
        first_piece[c] = piece
        here = stop
