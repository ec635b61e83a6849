"""Bins of spans in the plane, and an order by bins: what makes every search linear."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.span import SWEEP, X0, X1, Y0, Y1, place
from beadwright.compiled import helper

# Columns of the description of a grid.
GX, GY, INVERSE, NX, NY = range(5)


@helper
def boxes(s: Any, margin: float) -> Any:
    """Box round each span: x least, y least, x greatest, y greatest."""
    box = np.empty((len(s), 4))
    for i in range(len(s)):
        wide, high = s[i, X1] - s[i, X0], s[i, Y1] - s[i, Y0]
        bulge = 0.14 * abs(s[i, SWEEP]) * np.sqrt(wide * wide + high * high) + margin
        box[i, 0], box[i, 1] = min(s[i, X0], s[i, X1]) - bulge, min(s[i, Y0], s[i, Y1]) - bulge
        box[i, 2], box[i, 3] = max(s[i, X0], s[i, X1]) + bulge, max(s[i, Y0], s[i, Y1]) + bulge
    return box


@helper
def pieces(box: Any, i: int, g: Any) -> int:
    """In how many pieces a long span is entered, so that a diagonal does not fill the grid."""
    return 1 + int(max(box[i, 2] - box[i, 0], box[i, 3] - box[i, 1]) * g[INVERSE] / 3.0)


@helper
def cells(s: Any, box: Any, i: int, piece: int, count: int, g: Any, margin: float, r: Any) -> None:
    """Range of cells (first and last column, first and last row) that a piece of a span may touch."""
    x0, y0, x1, y1 = box[i, 0], box[i, 1], box[i, 2], box[i, 3]
    if count > 1:
        ax, ay = place(s, i, piece / count)
        bx, by = place(s, i, (piece + 1) / count)
        out = 0.14 * abs(s[i, SWEEP]) * np.hypot(bx - ax, by - ay) + 1e-8 + 1e-15 * (abs(ax) + abs(ay))
        x0, y0, x1, y1 = min(ax, bx) - out, min(ay, by) - out, max(ax, bx) + out, max(ay, by) + out
    q = g[INVERSE]
    r[0] = max(0, int((x0 - margin - g[GX]) * q))
    r[1] = min(int(g[NX]) - 1, int((x1 + margin - g[GX]) * q))
    r[2] = max(0, int((y0 - margin - g[GY]) * q))
    r[3] = min(int(g[NY]) - 1, int((y1 + margin - g[GY]) * q))


@helper
def build(s: Any, box: Any, least: float) -> tuple[Any, Any, Any]:
    """Grid over all spans, cells not below a size: description, first item of each cell, items."""
    n = len(s)
    x0, y0, x1, y1, size = np.inf, np.inf, -np.inf, -np.inf, 0.0
    for i in range(n):
        x0, y0 = min(x0, box[i, 0]), min(y0, box[i, 1])
        x1, y1 = max(x1, box[i, 2]), max(y1, box[i, 3])
        size += box[i, 2] - box[i, 0] + box[i, 3] - box[i, 1]
    w, h = x1 - x0, y1 - y0
    cell = max(0.75 * size / n, least, np.sqrt(w * h / (4.0 * n + 64.0)), max(w, h) / (4.0 * n + 64.0))
    g = np.empty(5)
    g[GX], g[GY], g[INVERSE] = x0, y0, 1.0 / cell
    nx, ny = int(w / cell) + 1, int(h / cell) + 1
    g[NX], g[NY] = nx, ny
    head = np.zeros(nx * ny + 2, np.int64)
    r = np.empty(4, np.int64)
    items = np.empty(0, np.int64)
    # Most spans are one piece; its cells are found once.
    spread = np.empty((n, 4), np.int64)
    for turn in range(2):
        for i in range(n):
            count = pieces(box, i, g)
            for p in range(count):
                if turn == 0 or count > 1:
                    cells(s, box, i, p, count, g, 0.0, r)
                    spread[i, 0], spread[i, 1], spread[i, 2], spread[i, 3] = r[0], r[1], r[2], r[3]
                for row in range(spread[i, 2], spread[i, 3] + 1):
                    for c in range(row * nx + spread[i, 0], row * nx + spread[i, 1] + 1):
                        if turn == 0:
                            head[c + 2] += 1
                        else:
                            items[head[c + 1]] = i
                            head[c + 1] += 1
        if turn == 0:
            for c in range(1, len(head)):
                head[c] += head[c - 1]
            items = np.empty(head[len(head) - 1], np.int64)
    return g, head, items


@helper
def bins_per(n: float, lo: float, hi: float) -> float:
    """Bins by length where n of them reach from the least to the greatest value; 0 where these are one.

    They are one, too, where the quotient overflows: 0 times infinity would be a value in no bin.
    """
    scale = n / (hi - lo) if hi > lo else 0.0
    return scale if scale < np.inf else 0.0


@helper
def ordered(key: Any) -> Any:
    """Rows in ascending order of a key: bins, then a shell sort in each."""
    n = len(key)
    order = np.empty(n, np.int64)
    lo, hi = np.inf, -np.inf
    for i in range(n):
        lo, hi = min(lo, key[i]), max(hi, key[i])
    scale = bins_per(n - 1.0, lo, hi)
    head = np.zeros(n + 2, np.int64)
    for i in range(n):
        head[int((key[i] - lo) * scale) + 2] += 1
    for i in range(1, n + 2):
        head[i] += head[i - 1]
    for i in range(n):
        b = int((key[i] - lo) * scale) + 1
        order[head[b]] = i
        head[b] += 1
    for b in range(n):
        sort(order, key, head[b], head[b + 1])
    return order


@helper
def sort(order: Any, key: Any, first: int, last: int) -> None:
    """Sort ``order[first:last]`` by key, rows of equal key by row."""
    step = 1
    while step < (last - first) // 3:
        step = 3 * step + 1
    while step > 0:
        for i in range(first + step, last):
            row, j = order[i], i
            while j >= first + step:
                other = order[j - step]
                if key[other] < key[row] or (key[other] == key[row] and other < row):
                    break
                order[j] = other
                j -= step
            order[j] = row
        step //= 3
