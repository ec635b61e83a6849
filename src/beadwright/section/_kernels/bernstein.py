"""Bernstein polynomials: basis, rational surface points, halving, roots with forced end signs."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel

STOP = 2.0**-44
"""A piece of a side shorter than this part of it is not halved further: two roots inside are none."""


@helper
def basis(n: Any, t: Any, row: Any, out: Any) -> Any:
    """Bernstein basis of degree n at t and its first two derivatives into three rows of out."""
    s = 1.0 - t
    for i in range(n + 1):
        out[row, i] = 0.0
        out[row + 1, i] = 0.0
        out[row + 2, i] = 0.0
    out[row, 0] = 1.0
    for r in range(n + 1):
        if r >= n - 2:
            for i in range(n + 1):
                b0 = out[row, i]
                b1 = out[row, i - 1] if i >= 1 else 0.0
                if r == n - 2:
                    b2 = out[row, i - 2] if i >= 2 else 0.0
                    out[row + 2, i] = n * (n - 1) * (b0 - 2.0 * b1 + b2)
                elif r == n - 1:
                    out[row + 1, i] = n * (b1 - b0)
        if r < n:
            for i in range(r + 1, 0, -1):
                out[row, i] = s * out[row, i] + t * out[row, i - 1]
            out[row, 0] *= s


@helper
def evaluate(coef: Any, u: Any, v: Any, order: Any, work: Any, out: Any) -> Any:
    """Point and derivatives of a rational Bezier patch.

    coef (p + 1, q + 1, 4) is (w x, w y, w z, w); work (6, max(p, q) + 1); out (6, 4) gets S, Su, Sv and
    for order 2 Suu, Suv, Svv in its first three columns.
    """
    p = coef.shape[0] - 1
    q = coef.shape[1] - 1
    basis(p, u, 0, work)
    basis(q, v, 3, work)
    for r in range(6):
        for c in range(4):
            out[r, c] = 0.0
    for i in range(p + 1):
        for c in range(4):
            a0 = 0.0
            a1 = 0.0
            a2 = 0.0
            for j in range(q + 1):
                x = coef[i, j, c]
                a0 += work[3, j] * x
                a1 += work[4, j] * x
                if order > 1:
                    a2 += work[5, j] * x
            out[0, c] += work[0, i] * a0
            out[1, c] += work[1, i] * a0
            out[2, c] += work[0, i] * a1
            if order > 1:
                out[3, c] += work[2, i] * a0
                out[4, c] += work[1, i] * a1
                out[5, c] += work[0, i] * a2
    w = out[0, 3]
    for c in range(3):
        s = out[0, c] / w
        su = (out[1, c] - out[1, 3] * s) / w
        sv = (out[2, c] - out[2, 3] * s) / w
        if order > 1:
            out[3, c] = (out[3, c] - 2.0 * out[1, 3] * su - out[3, 3] * s) / w
            out[4, c] = (out[4, c] - out[1, 3] * sv - out[2, 3] * su - out[4, 3] * s) / w
            out[5, c] = (out[5, c] - 2.0 * out[2, 3] * sv - out[5, 3] * s) / w
        out[0, c] = s
        out[1, c] = su
        out[2, c] = sv


@helper
def copy_row(row: Any, n: Any, to: Any) -> Any:
    """Copy n numbers: compiles in a fraction of the time of a slice assignment."""
    for i in range(n):
        to[i] = row[i]


@helper
def copy_net(net: Any, to: Any) -> Any:
    """Copy a table."""
    for i in range(net.shape[0]):
        copy_row(net[i], net.shape[1], to[i])


@helper
def halve(row: Any, n: Any, left: Any, right: Any) -> Any:
    """Halve a Bernstein polynomial of degree n (de Casteljau)."""
    for i in range(n + 1):
        right[i] = row[i]
    # After step k the entries 0 .. n - k of `right` hold the k-th column of the scheme.
    for k in range(n + 1):
        left[k] = right[0]
        for i in range(n - k):
            right[i] = 0.5 * (right[i] + right[i + 1])
    # What is left in `right` are the last entries of the columns: the right half.


@helper
def value(row: Any, n: Any, t: Any, scratch: Any) -> Any:
    """Value of a Bernstein polynomial of degree n at t."""
    for i in range(n + 1):
        scratch[i] = row[i]
    s = 1.0 - t
    for k in range(n):
        for i in range(n - k):
            scratch[i] = s * scratch[i] + t * scratch[i + 1]
    return scratch[0]


@helper
def one_root(row: Any, n: Any, t0: Any, t1: Any, low_is_above: Any, scratch: Any) -> Any:
    """Root of a polynomial between t0 and t1, whose signs there are known to differ.

    Regula falsi (Illinois) with bisection when it is slow.
    """
    f0 = value(row, n, t0, scratch)
    f1 = value(row, n, t1, scratch)
    if low_is_above:
        f0 = max(f0, 0.0)
        f1 = min(f1, -0.0)
    else:
        f0 = min(f0, -0.0)
        f1 = max(f1, 0.0)
    t = 0.5 * (t0 + t1)
    side = 0
    for k in range(100):
        if t1 - t0 <= 4e-16 * (1.0 + t1):
            break
        span = f1 - f0
        t = t0 - f0 * (t1 - t0) / span if span != 0.0 and k % 4 != 3 else 0.5 * (t0 + t1)
        if t <= t0 or t >= t1:
            t = 0.5 * (t0 + t1)
        f = value(row, n, t, scratch)
        if f == 0.0:
            break
        if (f > 0.0) == low_is_above:
            t0 = t
            f0 = f
            if side == 1:
                f1 *= 0.5
            side = 1
        else:
            t1 = t
            f1 = f
            if side == 2:
                f0 *= 0.5
            side = 2
    return t


@kernel
def roots(row: Any, n: Any, above0: Any, above1: Any, stack: Any, found: Any) -> Any:
    """All roots of a Bernstein polynomial on [0, 1], by variation-diminishing halving.

    The signs at the ends are forced to be those given, so the number of roots found has their parity.

    Parameters
    ----------
    row : (>= n + 1,) float
    n : int
        Degree.
    above0, above1 : bool
        Whether the ends count as >= 0.
    stack : (64, >= n + 1) float
        Work space; rows 62 and 63 are scratch.
    found : (m,) float
        Roots, rising.

    Returns
    -------
    int
        Number of roots; greater than ``len(found)`` if they did not fit.
    """
    count = 0
    changes = 0
    previous = above0
    for i in range(1, n + 1):
        current = row[i] >= 0.0 if i < n else above1
        if current != previous:
            changes += 1
            previous = current
    if changes == 0:
        return 0
    if changes == 1:
        found[0] = one_root(row, n, 0.0, 1.0, above0, stack[63])
        return 1
    starts = np.empty(62)
    widths = np.empty(62)
    lows = np.empty(62, np.bool_)
    highs = np.empty(62, np.bool_)
    copy_row(row, n + 1, stack[0])
    starts[0] = 0.0
    widths[0] = 1.0
    lows[0] = above0
    highs[0] = above1
    top = 1
    while top > 0:
        top -= 1
        low = lows[top]
        high = highs[top]
        changes = 0
        previous = low
        for i in range(1, n + 1):
            current = stack[top, i] >= 0.0 if i < n else high
            if current != previous:
                changes += 1
                previous = current
        if changes == 0:
            continue
        if changes == 1 or widths[top] < STOP or top > 58:
            if low != high:
                if count < len(found):
                    if changes == 1:
                        found[count] = one_root(
                            row, n, starts[top], starts[top] + widths[top], low, stack[63]
                        )
                    else:
                        found[count] = starts[top] + 0.5 * widths[top]
                count += 1
            continue
        halve(stack[top], n, stack[62], stack[63])
        middle = stack[63, 0] >= 0.0
        half = 0.5 * widths[top]
        copy_row(stack[62], n + 1, stack[top + 1])
        copy_row(stack[63], n + 1, stack[top])
        starts[top + 1] = starts[top]
        starts[top] += half
        widths[top] = half
        widths[top + 1] = half
        lows[top + 1] = low
        highs[top + 1] = middle
        lows[top] = middle
        highs[top] = high
        top += 2
    return count
