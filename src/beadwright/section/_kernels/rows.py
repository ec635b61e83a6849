"""Branches as rows of the tables that `branches.fill` returns."""

from __future__ import annotations

from math import hypot
from typing import Any

from beadwright.compiled import helper
from beadwright.section._kernels.codes import B_LEVEL, B_LINE, C_CIRCLE, C_LEVEL, C_LINE


@helper
def add(rows: Any, count: Any, kind: int, closed: int, label: int) -> Any:
    """Append a branch; past the capacity only count."""
    n = count[0]
    count[0] = n + 1
    table = rows[0]
    if n < len(table):
        table[n, 0], table[n, 1], table[n, 2] = kind, closed, label
        return n
    return len(table) - 1


@helper
def line_row(
    ox: float,
    oy: float,
    f: Any,
    rho: float,
    x: float,
    y: float,
    lx: float,
    ly: float,
    ends: float,
    stray: float,
    off: float,
    sine: float,
    radius: float,
    rows: Any,
    count: Any,
) -> None:
    """A straight branch through (x, y) along (lx, ly) in the frame (e, Z x e) about (ox, oy)."""
    ex, ey = f[3] / rho, f[4] / rho
    size = hypot(lx, ly)
    n = add(rows, count, B_LINE, 0, C_LINE)
    par = rows[1]
    par[n, 0] = ox + x * ex - y * ey
    par[n, 1] = oy + x * ey + y * ex
    par[n, 2] = (lx * ex - ly * ey) / size
    par[n, 3] = (lx * ey + ly * ex) / size
    par[n, 12], par[n, 13], par[n, 14], par[n, 15], par[n, 16] = stray, ends, sine, radius, off


@helper
def level_row(
    f: Any, height: float, rho: float, form: float, va: float, vb: float, side: float, rows: Any, count: Any
) -> None:
    """One branch of a surface of revolution about an inclined axis."""
    closed = 1 if form == 0.0 or form >= 4.0 else 0
    n = add(rows, count, B_LEVEL, closed, C_CIRCLE if form == 5.0 else C_LEVEL)
    par = rows[1]
    par[n, 0], par[n, 1], par[n, 2], par[n, 3] = form, va, vb, side
    par[n, 4], par[n, 5], par[n, 6] = height, rho, f[5]
    par[n, 7], par[n, 8] = f[0], f[1]
    par[n, 9], par[n, 10], par[n, 11] = f[3] / rho, f[4] / rho, f[6]
