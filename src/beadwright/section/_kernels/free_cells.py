"""Cells of a free-form face that a plane passes through, and the table of their corners."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper
from beadwright.section._kernels.bernstein import copy_net, copy_row, halve

BITS = 28
"""A knot span is this many halvings wide in the integers that name corners."""
CONE = 0.2
"""Least cosine between the gradients of a simple cell and its direction."""
SMALLEST = 1e-6
"""A cell smaller than this in space is not split further, mm."""


@helper
def corner(keys: Any, state: Any, u: Any, v: Any, above: Any, stamp: Any) -> Any:
    """Slot of a corner in the hash table; with above >= 0 it is entered if it is new.

    keys (m, 2) int64; state (m, 6) int64: stamp, above, first root and number of roots along u, the
    same along v. Returns -1 if it is absent (above < 0) or the table is full.
    """
    mask = len(keys) - 1
    slot = (u * 0x1E3779B97F4A7C15) ^ (v * 0x3F58476D1CE4E5B9)
    slot = (slot ^ (slot >> 29)) * 0x14D049BB133111EB
    slot = (slot ^ (slot >> 32)) & mask
    for _ in range(len(keys)):
        if state[slot, 0] != stamp:
            if above < 0:
                return -1
            keys[slot, 0] = u
            keys[slot, 1] = v
            state[slot, 0] = stamp
            state[slot, 1] = above
            state[slot, 3] = -1
            state[slot, 5] = -1
            return slot
        if keys[slot, 0] == u and keys[slot, 1] == v:
            return slot
        slot = (slot + 1) & mask
    return -1


@helper
def judge(f: Any, metric_u: Any, metric_v: Any, noise: Any, way: Any) -> Any:
    """What to do with a cell: 0 drop it, 1 keep it as simple, 2 split u, 3 split v, 4 all is rounding.

    f holds the Bernstein coefficients of Z - hW, metric_u and metric_v the cell's size in space. The
    gradients of the hull, in space, must lie in a cone about their mean, which goes to way (2,).
    Splitting goes where the gradient changes most.
    """
    p = f.shape[0] - 1
    q = f.shape[1] - 1
    low = np.inf
    high = -np.inf
    for i in range(p + 1):
        for j in range(q + 1):
            low = min(low, f[i, j])
            high = max(high, f[i, j])
    if low > noise or high < -noise:
        return 0
    if low >= -noise and high <= noise:
        return 4
    a = 0.0
    b = 0.0
    for i in range(p + 1):
        b += f[i, q] - f[i, 0]
    for j in range(q + 1):
        a += f[p, j] - f[0, j]
    a /= (q + 1) * metric_u
    b /= (p + 1) * metric_v
    size = np.sqrt(a * a + b * b)
    if size > 0.0:
        a /= size
        b /= size
        simple = True
        for i in range(p + 1):
            for j in range(q + 1):
                gu = 0.0
                if i > 0:
                    gu += i * (f[i, j] - f[i - 1, j])
                if i < p:
                    gu += (p - i) * (f[i + 1, j] - f[i, j])
                gv = 0.0
                if j > 0:
                    gv += j * (f[i, j] - f[i, j - 1])
                if j < q:
                    gv += (q - j) * (f[i, j + 1] - f[i, j])
                gu /= metric_u
                gv /= metric_v
                along = a * gu + b * gv
                if along <= 0.0 or along * along < CONE * CONE * (gu * gu + gv * gv):
                    simple = False
                    break
            if not simple:
                break
        if simple:
            way[0] = a
            way[1] = b
            return 1
    uu = 0.0
    uv = 0.0
    vv = 0.0
    for i in range(p + 1):
        for j in range(q + 1):
            if i < p - 1:
                uu += abs(f[i, j] - 2.0 * f[i + 1, j] + f[i + 2, j])
            if j < q - 1:
                vv += abs(f[i, j] - 2.0 * f[i, j + 1] + f[i, j + 2])
            if i < p and j < q:
                uv += abs(f[i, j] - f[i + 1, j] - f[i, j + 1] + f[i + 1, j + 1])
    uu *= p * p / (q + 1.0)
    vv *= q * q / (p + 1.0)
    along_u = uu / metric_u + uv / metric_v
    along_v = vv / metric_v + uv / metric_u
    if along_u == along_v:
        return 2 if metric_u >= metric_v else 3
    return 2 if along_u > along_v else 3


@helper
def split(f: Any, along_u: Any, row: Any, low: Any, high: Any) -> Any:
    """Both halves of a cell's coefficients; row (3, >= n + 1) is scratch."""
    p = f.shape[0] - 1
    q = f.shape[1] - 1
    if along_u:
        for j in range(q + 1):
            for i in range(p + 1):
                row[0, i] = f[i, j]
            halve(row[0], p, row[1], row[2])
            for i in range(p + 1):
                low[i, j] = row[1, i]
                high[i, j] = row[2, i]
    else:
        for i in range(p + 1):
            for j in range(q + 1):
                row[0, j] = f[i, j]
            halve(row[0], q, row[1], row[2])
            for j in range(q + 1):
                low[i, j] = row[1, j]
                high[i, j] = row[2, j]


@helper
def cells_of_plane(
    coef: Any,
    z_range: Any,
    metric: Any,
    shape: Any,
    h: Any,
    noise: Any,
    stamp: Any,
    stack: Any,
    stack_box: Any,
    row: Any,
    keys: Any,
    state: Any,
    leaf_f: Any,
    leaf_box: Any,
    leaf_way: Any,
) -> Any:
    """Refine one plane's cells; returns their number, or -1 if a table is full.

    Parameters
    ----------
    coef : (s, p + 1, q + 1, 4) float
        Homogeneous coefficients of the spans, row-major in (u, v).
    z_range, metric : (s, 2) float
        Least and greatest z of the hull; size in space along u and v.
    shape : (4,) int64
        Number of spans in u, v; whether the face is closed in u, v.
    stack, stack_box : (66, p + 1, q + 1) float, (66, 4) int64
        Work space.
    leaf_f, leaf_box, leaf_way : (m, p + 1, q + 1) float, (m, 6) int64, (m, 2) float
        Cells: coefficients; u, v, widths, span, whether simple; direction.
    """
    p = coef.shape[1] - 1
    q = coef.shape[2] - 1
    one = 1 << BITS
    wrap_u = shape[0] * one if shape[2] else -1
    wrap_v = shape[1] * one if shape[3] else -1
    way = np.zeros(2)
    count = 0
    for span in range(len(coef)):
        if not z_range[span, 0] - noise < h < z_range[span, 1] + noise:
            continue
        for i in range(p + 1):
            for j in range(q + 1):
                stack[0, i, j] = coef[span, i, j, 2] - h * coef[span, i, j, 3]
        u = (span // shape[1]) * one
        v = (span % shape[1]) * one
        stack_box[0, 0] = u
        stack_box[0, 1] = v
        stack_box[0, 2] = one
        stack_box[0, 3] = one
        for k in range(4):
            uk = u + one * (k & 1)
            vk = v + one * (k >> 1)
            at = stack[0, p * (k & 1), q * (k >> 1)]
            slot = corner(
                keys,
                state,
                0 if uk == wrap_u else uk,
                0 if vk == wrap_v else vk,
                1 if at >= 0.0 else 0,
                stamp,
            )
            if slot < 0:
                return -1
        top = 1
        while top > 0:
            top -= 1
            wu = stack_box[top, 2]
            wv = stack_box[top, 3]
            size_u = metric[span, 0] * wu / one
            size_v = metric[span, 1] * wv / one
            action = judge(stack[top], size_u, size_v, noise, way)
            if action == 0:
                continue
            if action == 2 or action == 3:
                stuck_u = size_u <= SMALLEST or wu == 1
                stuck_v = size_v <= SMALLEST or wv == 1
                if action == 2 and stuck_u:
                    action = 3
                if action == 3 and stuck_v:
                    action = 2 if not stuck_u else 4
            if action == 1 or action == 4:
                if count == len(leaf_box):
                    return -1
                copy_net(stack[top], leaf_f[count])
                copy_row(stack_box[top], 4, leaf_box[count])
                leaf_box[count, 4] = span
                leaf_box[count, 5] = 1 if action == 1 else 0
                copy_row(way, 2, leaf_way[count])
                count += 1
                continue
            along_u = action == 2
            split(stack[top], along_u, row, stack[65], stack[64])
            copy_net(stack[64], stack[top])
            copy_net(stack[65], stack[top + 1])
            u = stack_box[top, 0]
            v = stack_box[top, 1]
            axis = 0 if along_u else 1
            half = stack_box[top, 2 + axis] >> 1
            stack_box[top, 2 + axis] = half
            copy_row(stack_box[top], 4, stack_box[top + 1])
            stack_box[top, axis] += half
            for k in range(2):
                uk = u + half if along_u else u + wu * k
                vk = v + wv * k if along_u else v + half
                at = stack[64, 0, q * k] if along_u else stack[64, p * k, 0]
                slot = corner(
                    keys,
                    state,
                    0 if uk == wrap_u else uk,
                    0 if vk == wrap_v else vk,
                    1 if at >= 0.0 else 0,
                    stamp,
                )
                if slot < 0:
                    return -1
            top += 2
    return count
