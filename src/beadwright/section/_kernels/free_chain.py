"""Level curves of a free-form face, cell by cell, chained to branches; all planes in one run."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel
from beadwright.section._kernels.bernstein import copy_row, evaluate, halve, roots
from beadwright.section._kernels.free_cells import BITS, cells_of_plane, corner

TIE = 1e-9
"""Crossings of a cell's border nearer than this across w may swap places, mm."""


@helper
def crossings(
    box: Any,
    f: Any,
    shape: Any,
    noise: Any,
    keys: Any,
    state: Any,
    stamp: Any,
    row: Any,
    stack: Any,
    found: Any,
    root_at: Any,
    counts: Any,
    near: Any,
) -> Any:
    """Crossings of one cell's border, anticlockwise, each root solved once per elementary side.

    Parameters
    ----------
    box, f
        The cell.
    root_at : (m,) float
        Place of each root of this plane along its line, in spans; ``counts[0]`` of them so far.
    near : (64, 4) float
        Crossings: root, 1 if the curve enters, u and v inside the span.

    Returns
    -------
    int
        Number of crossings; -1 if a table is full.
    """
    p = f.shape[0] - 1
    q = f.shape[1] - 1
    one = 1 << BITS
    wrap_u = shape[0] * one if shape[2] else -1
    wrap_v = shape[1] * one if shape[3] else -1
    span_u = (box[0] >> BITS) << BITS
    span_v = (box[1] >> BITS) << BITS
    count = 0
    starts = np.empty(32, np.int64)
    widths = np.empty(32, np.int64)
    for side in range(4):
        along_u = side % 2 == 0
        n = p if along_u else q
        far = side == 1 or side == 2
        backward = side >= 2
        low = np.inf
        high = -np.inf
        for i in range(n + 1):
            x = (f[i, q] if far else f[i, 0]) if along_u else (f[p, i] if far else f[0, i])
            row[0, i] = x
            low = min(low, x)
            high = max(high, x)
        if low > noise or high < -noise:
            continue
        if along_u:
            start = box[0]
            width = box[2]
            fixed = box[1] + (box[3] if far else 0)
        else:
            start = box[1]
            width = box[3]
            fixed = box[0] + (box[2] if far else 0)
        # Walk the parts of the side between corners that lie on it, from its start (or end) on.
        starts[0] = start
        widths[0] = width
        top = 1
        while top > 0:
            top -= 1
            start = starts[top]
            width = widths[top]
            half = width >> 1
            slot = -1
            if half > 0:
                if along_u:
                    slot = corner(keys, state, start + half, 0 if fixed == wrap_v else fixed, -1, stamp)
                else:
                    slot = corner(keys, state, 0 if fixed == wrap_u else fixed, start + half, -1, stamp)
            if slot >= 0:
                # Rows 0 .. 31 of `row` belong to the parts; 32 and 33 are scratch.
                halve(row[top], n, row[32], row[33])
                first = 33 if not backward else 32
                copy_row(row[first], n + 1, row[top])
                copy_row(row[65 - first], n + 1, row[top + 1])
                starts[top] = start + half if not backward else start
                starts[top + 1] = start if not backward else start + half
                widths[top] = half
                widths[top + 1] = half
                top += 2
                continue
            end = start + width
            if along_u:
                v = 0 if fixed == wrap_v else fixed
                slot = corner(keys, state, start, v, -1, stamp)
                other = corner(keys, state, 0 if end == wrap_u else end, v, -1, stamp)
            else:
                u = 0 if fixed == wrap_u else fixed
                slot = corner(keys, state, u, start, -1, stamp)
                other = corner(keys, state, u, 0 if end == wrap_v else end, -1, stamp)
            above = state[slot, 1] == 1
            kept = 2 if along_u else 4
            if state[slot, kept + 1] < 0:
                number = roots(row[top], n, above, state[other, 1] == 1, stack, found)
                if number > len(found) or counts[0] + number > len(root_at):
                    return -1
                state[slot, kept] = counts[0]
                state[slot, kept + 1] = number
                for k in range(number):
                    root_at[counts[0] + k] = (start + found[k] * width) / one
                counts[0] += number
            number = state[slot, kept + 1]
            if count + number > len(near):
                return -1
            for k in range(number):
                r = number - 1 - k if backward else k
                falls = above if r % 2 == 0 else not above
                root = state[slot, kept] + r
                near[count, 0] = root
                near[count, 1] = 1.0 if falls != backward else 0.0
                if along_u:
                    near[count, 2] = root_at[root] - span_u / one
                    near[count, 3] = (fixed - span_v) / one
                else:
                    near[count, 2] = (fixed - span_u) / one
                    near[count, 3] = root_at[root] - span_v / one
                count += 1
    return count


@helper
def pair(near: Any, count: Any, simple: Any, way: Any, metric_u: Any, metric_v: Any, mate: Any) -> Any:
    """Pair entries with exits; mate[k] is the exit of entry k. Returns the number of conflicts.

    In a simple cell the curve is a graph across w, so crossings sorted across w alternate. A cell that
    is too small to be decided joins each entry with the next exit anticlockwise.
    """
    conflicts = 0
    if count == 2:
        k = 0 if near[0, 1] == 1.0 else 1
        mate[k] = 1 - k
        return 0
    if simple:
        order = np.empty(count, np.int64)
        across = np.empty(count)
        for k in range(count):
            across[k] = near[k, 2] * metric_u * way[1] - near[k, 3] * metric_v * way[0]
            j = k
            while j > 0 and across[order[j - 1]] > across[k]:
                order[j] = order[j - 1]
                j -= 1
            order[j] = k
        for k in range(count - 1):
            want = 1.0 if k % 2 == 0 else 0.0
            if near[order[k], 1] == want:
                continue
            j = k + 1
            while near[order[j], 1] != want:
                j += 1
            if across[order[j]] - across[order[k]] > TIE:
                conflicts += 1
            moved = order[j]
            for i in range(j, k, -1):
                order[i] = order[i - 1]
            order[k] = moved
        for k in range(0, count, 2):
            mate[order[k]] = order[k + 1]
        return conflicts
    for k in range(count):
        if near[k, 1] == 1.0:
            depth = 1
            j = k
            while depth > 0:
                j = (j + 1) % count
                depth += 1 if near[j, 1] == 1.0 else -1
            mate[k] = j
    return 0


@kernel
def chain_planes(
    coef: Any,
    z_range: Any,
    metric: Any,
    shape: Any,
    heights: Any,
    noises: Any,
    keys: Any,
    state: Any,
    leaf_f: Any,
    leaf_box: Any,
    leaf_way: Any,
    piece_span: Any,
    piece_box: Any,
    piece_way: Any,
    piece_uv: Any,
    piece_xy: Any,
    branch: Any,
    report: Any,
    steep: Any,
    unseen: Any,
) -> Any:
    """Branches of the level curves at all heights.

    Parameters
    ----------
    piece_span : (m, 2) int64
        Out: span; 1 if the cell is simple. Pieces stand in the order of their branches.
    piece_box, piece_uv, piece_xy : (m, 4) float
        Out: u, v of the cell's lower and upper corner inside the span; u, v of entry and exit; x, y of both.
    piece_way : (m, 2) float
        Out: direction w.
    branch : (b, 4) int64
        Out: plane, first piece, one past the last piece, 1 if closed.
    report : (k, 3) int64
        Out: cells, cells too small to be decided, pairing conflicts.
    steep : (s, 2) float
        Greatest |dS/du|, |dS/dv| of each span.
    unseen : (k,) float
        Out: greatest size of a cell too small to be decided.

    Returns
    -------
    branches : int
        -1 if a table was full.
    pieces : int
    """
    p = coef.shape[1] - 1
    q = coef.shape[2] - 1
    n = max(p, q) + 1
    one = 1 << BITS
    stack = np.empty((66, p + 1, q + 1))
    stack_box = np.empty((66, 4), np.int64)
    row = np.empty((34, n))
    line = np.empty((64, n))
    found = np.empty(64)
    near = np.empty((64, 4))
    mate = np.empty(64, np.int64)
    limit = len(piece_span)
    root_at = np.empty(2 * limit)
    enters = np.empty(2 * limit, np.int64)
    leaves = np.empty(2 * limit, np.int64)
    part = np.empty((limit, 3), np.int64)
    part_uv = np.empty((limit, 4))
    done = np.empty(limit, np.bool_)
    counts = np.zeros(1, np.int64)
    work = np.empty((6, n))
    out = np.empty((6, 4))
    branches = 0
    pieces = 0
    for plane in range(len(heights)):
        stamp = plane + 1
        noise = noises[plane]
        cells = cells_of_plane(
            coef,
            z_range,
            metric,
            shape,
            heights[plane],
            noise,
            stamp,
            stack,
            stack_box,
            row,
            keys,
            state,
            leaf_f,
            leaf_box,
            leaf_way,
        )
        if cells < 0:
            return -1, 0
        report[plane, 0] = cells
        counts[0] = 0
        parts = 0
        for cell in range(cells):
            box = leaf_box[cell]
            count = crossings(
                box, leaf_f[cell], shape, noise, keys, state, stamp, row, line, found, root_at, counts, near
            )
            if count < 0 or parts + count > limit:
                return -1, 0
            simple = box[5] == 1
            span = box[4]
            if not simple:
                report[plane, 1] += 1
                size = np.hypot(steep[span, 0] * box[2], steep[span, 1] * box[3]) / one
                unseen[plane] = max(unseen[plane], size)
            if count == 0:
                continue
            report[plane, 2] += pair(
                near, count, simple, leaf_way[cell], metric[span, 0], metric[span, 1], mate
            )
            for k in range(count):
                if near[k, 1] == 1.0:
                    part[parts, 0] = cell
                    part[parts, 1] = int(near[k, 0])
                    part[parts, 2] = int(near[mate[k], 0])
                    for c in range(2):
                        part_uv[parts, c] = near[k, 2 + c]
                        part_uv[parts, 2 + c] = near[mate[k], 2 + c]
                    done[parts] = False
                    parts += 1
        for r in range(counts[0]):
            enters[r] = -1
            leaves[r] = -1
        for k in range(parts):
            enters[part[k, 1]] = k
            leaves[part[k, 2]] = k
        if pieces + parts > limit:
            return -1, 0
        for closed in range(2):
            for first in range(parts):
                if done[first] or (closed == 0 and leaves[part[first, 1]] >= 0):
                    continue
                if branches == len(branch):
                    return -1, 0
                branch[branches, 0] = plane
                branch[branches, 1] = pieces
                branch[branches, 3] = closed
                k = first
                while k >= 0 and not done[k]:
                    done[k] = True
                    box = leaf_box[part[k, 0]]
                    span = box[4]
                    piece_span[pieces, 0] = span
                    piece_span[pieces, 1] = box[5]
                    piece_box[pieces, 0] = (box[0] & (one - 1)) / one
                    piece_box[pieces, 1] = (box[1] & (one - 1)) / one
                    piece_box[pieces, 2] = piece_box[pieces, 0] + box[2] / one
                    piece_box[pieces, 3] = piece_box[pieces, 1] + box[3] / one
                    copy_row(leaf_way[part[k, 0]], 2, piece_way[pieces])
                    copy_row(part_uv[k], 4, piece_uv[pieces])
                    evaluate(coef[span], part_uv[k, 0], part_uv[k, 1], 1, work, out)
                    copy_row(out[0], 2, piece_xy[pieces])
                    if pieces > branch[branches, 1]:
                        copy_row(out[0], 2, piece_xy[pieces - 1, 2:])
                    pieces += 1
                    last = k
                    k = enters[part[k, 2]]
                if closed == 1:
                    copy_row(piece_xy[branch[branches, 1]], 2, piece_xy[pieces - 1, 2:])
                else:
                    span = leaf_box[part[last, 0], 4]
                    evaluate(coef[span], part_uv[last, 2], part_uv[last, 3], 1, work, out)
                    copy_row(out[0], 2, piece_xy[pieces - 1, 2:])
                branch[branches, 2] = pieces
                branches += 1
    return branches, pieces
