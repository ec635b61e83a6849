"""Points along the branches of a free-form level curve, and the nearest point to a node."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel
from beadwright.section._kernels.bernstein import evaluate

NEAREST = 6
SAMPLES = 5
STEPS = 12


@helper
def point(
    coef: Any, h: Any, metric: Any, box: Any, way: Any, ends: Any, f: Any, work: Any, out: Any, uv: Any
) -> Any:
    """Point of a piece at the fraction f of its way, by safeguarded Newton along w inside the cell.

    uv (2,) gets the parameters inside the span, out (6, 4) the point and first derivatives there.
    """
    wa = way[0]
    wb = way[1]
    a0 = ends[0] * metric[0]
    b0 = ends[1] * metric[1]
    a1 = ends[2] * metric[0]
    b1 = ends[3] * metric[1]
    # Across w and along w.
    t = (1.0 - f) * (a0 * wb - b0 * wa) + f * (a1 * wb - b1 * wa)
    x = (1.0 - f) * (a0 * wa + b0 * wb) + f * (a1 * wa + b1 * wb)
    low = -np.inf
    high = np.inf
    # The cell is taken a little larger: at its border a line nearly along the border would else meet it,
    # by rounding, in one wrong point.
    for axis in range(2):
        along = wa if axis == 0 else wb
        if abs(along) > 1e-12:
            slack = 1e-7 * (box[2 + axis] - box[axis])
            base = t * wb if axis == 0 else -t * wa
            r0 = ((box[axis] - slack) * metric[axis] - base) / along
            r1 = ((box[2 + axis] + slack) * metric[axis] - base) / along
            low = max(low, min(r0, r1))
            high = min(high, max(r0, r1))
    if low > high:
        low = 0.5 * (low + high)
        high = low
    x = min(max(x, low), high)
    scale = 2e-16 * (metric[0] + metric[1])
    last = False
    for _ in range(60):
        uv[0] = (t * wb + x * wa) / metric[0]
        uv[1] = (x * wb - t * wa) / metric[1]
        evaluate(coef, uv[0], uv[1], 1, work, out)
        if last:
            return
        value = out[0, 2] - h
        if value == 0.0:
            return
        if value < 0.0:
            low = x
        else:
            high = x
        slope = out[1, 2] / metric[0] * wa + out[2, 2] / metric[1] * wb
        step = -value / slope if slope > 0.0 else np.inf
        next_x = x + step
        if not low <= next_x <= high:
            next_x = 0.5 * (low + high)
        last = abs(next_x - x) <= scale + 1e-9 * (high - low) * (abs(step) < 1e-9 * (metric[0] + metric[1]))
        x = next_x


@kernel
def samples(
    coef: Any,
    metric: Any,
    heights: Any,
    piece_span: Any,
    piece_box: Any,
    piece_way: Any,
    piece_uv: Any,
    pieces: Any,
) -> Any:
    """Parameters inside the span of the middle of some pieces: (n, 2)."""
    n = max(coef.shape[1], coef.shape[2])
    work = np.empty((6, n))
    out = np.empty((6, 4))
    result = np.empty((len(pieces), 2))
    for k in range(len(pieces)):
        i = pieces[k]
        s = piece_span[i, 0]
        if piece_span[i, 1] == 1:
            point(
                coef[s],
                heights[k],
                metric[s],
                piece_box[i],
                piece_way[i],
                piece_uv[i],
                0.5,
                work,
                out,
                result[k],
            )
        else:
            result[k, 0] = 0.5 * (piece_uv[i, 0] + piece_uv[i, 2])
            result[k, 1] = 0.5 * (piece_uv[i, 1] + piece_uv[i, 3])
    return result


@helper
def nearest_on_piece(
    coef: Any,
    h: Any,
    metric: Any,
    box: Any,
    way: Any,
    ends: Any,
    x: Any,
    y: Any,
    work: Any,
    out: Any,
    uv: Any,
) -> Any:
    """Fraction and distance in the plane of the point of a simple piece that is nearest to (x, y)."""
    best = np.inf
    f = 0.0
    for k in range(SAMPLES):
        g = k / (SAMPLES - 1.0)
        point(coef, h, metric, box, way, ends, g, work, out, uv)
        d = (out[0, 0] - x) ** 2 + (out[0, 1] - y) ** 2
        if d < best:
            best = d
            f = g
    across0 = ends[0] * metric[0] * way[1] - ends[1] * metric[1] * way[0]
    across1 = ends[2] * metric[0] * way[1] - ends[3] * metric[1] * way[0]
    kept = f
    for _ in range(STEPS):
        point(coef, h, metric, box, way, ends, f, work, out, uv)
        dx = x - out[0, 0]
        dy = y - out[0, 1]
        d = dx * dx + dy * dy
        if d <= best:
            best = d
            kept = f
        # d(x, y)/df: the direction (z_v, -z_u) in (u, v), scaled to one unit of f across w.
        du = out[2, 2]
        dv = -out[1, 2]
        across = du * metric[0] * way[1] - dv * metric[1] * way[0]
        if across == 0.0:
            break
        scale = (across1 - across0) / across
        tx = (du * out[1, 0] + dv * out[2, 0]) * scale
        ty = (du * out[1, 1] + dv * out[2, 1]) * scale
        length = tx * tx + ty * ty
        if length == 0.0:
            break
        following = min(max(f + (dx * tx + dy * ty) / length, 0.0), 1.0)
        if abs(following - f) <= 1e-15:
            break
        f = following
    return kept, np.sqrt(best)


@kernel
def locate(
    coef: Any,
    metric: Any,
    heights: Any,
    first_branch: Any,
    first_piece: Any,
    piece_span: Any,
    piece_box: Any,
    piece_way: Any,
    piece_uv: Any,
    piece_xy: Any,
    nodes: Any,
    planes: Any,
    branch: Any,
    place: Any,
    distance: Any,
) -> Any:
    """Nearest point on the branches of each node's plane; branch -1 where there are none.

    Pieces are tried in the order of a lower bound guessed from their chords, at most `NEAREST` of them.
    """
    n = max(coef.shape[1], coef.shape[2])
    work = np.empty((6, n))
    out = np.empty((6, 4))
    uv = np.empty(2)
    order = np.empty(NEAREST, np.int64)
    guess = np.empty(NEAREST)
    for k in range(len(nodes)):
        plane = planes[k]
        x = nodes[k, 0]
        y = nodes[k, 1]
        b0 = first_branch[plane]
        b1 = first_branch[plane + 1]
        branch[k] = -1
        place[k] = 0.0
        distance[k] = np.inf
        count = 0
        for i in range(first_piece[b0], first_piece[b1]):
            px = piece_xy[i, 2] - piece_xy[i, 0]
            py = piece_xy[i, 3] - piece_xy[i, 1]
            qx = x - piece_xy[i, 0]
            qy = y - piece_xy[i, 1]
            length = px * px + py * py
            f = min(max((px * qx + py * qy) / length, 0.0), 1.0) if length > 0.0 else 0.0
            d = np.hypot(qx - f * px, qy - f * py) - 0.5 * np.sqrt(length)
            if count < NEAREST or d < guess[count - 1]:
                j = count if count < NEAREST else NEAREST - 1
                while j > 0 and guess[j - 1] > d:
                    guess[j] = guess[j - 1]
                    order[j] = order[j - 1]
                    j -= 1
                guess[j] = d
                order[j] = i
                count = min(count + 1, NEAREST)
        for j in range(count):
            if guess[j] > distance[k]:
                break
            i = order[j]
            s = piece_span[i, 0]
            if piece_span[i, 1] == 1:
                f, d = nearest_on_piece(
                    coef[s],
                    heights[plane],
                    metric[s],
                    piece_box[i],
                    piece_way[i],
                    piece_uv[i],
                    x,
                    y,
                    work,
                    out,
                    uv,
                )
            else:
                d0 = np.hypot(x - piece_xy[i, 0], y - piece_xy[i, 1])
                d1 = np.hypot(x - piece_xy[i, 2], y - piece_xy[i, 3])
                f = 0.0 if d0 <= d1 else 1.0
                d = min(d0, d1)
            if d < distance[k]:
                distance[k] = d
                b = b0
                while first_piece[b + 1] <= i:
                    b += 1
                branch[k] = b
                place[k] = i - first_piece[b] + f
