"""Compiled loops of the bead room."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import helper, kernel

# Contacts whose normal leans less than this against that of the place itself are the same smooth boundary.
SAME_SIDE = 1e-9
# Directions shorter than this are none: it only keeps a zero from being a divisor.
TINY = 1e-300
# Spans in the least boxes of `nested`.
RUN = 4
# A box is passed over only if it is this far from the disc, mm: rounding over parts of metres is below 1e-9 mm.
CLEAR = 1e-6


@kernel
def boundary(points: Any, bulge: Any, heads: Any, wide: float, fan: float) -> Any:
    """Spans of closed paths, each of at most a quarter turn, and fans of normals at corners that turn right.

    Parameters
    ----------
    points : (n, 2) float64
        Starts of all moves, mm.
    bulge : (n,) float64
    heads : (paths + 1,) int64
        First move of each path.
    wide : float
        Bulge of a quarter turn: moves above it are halved.
    fan : float
        Corners that turn right by less than this (rad) have no fan.

    Returns
    -------
    spans : (m, 10) float64
        Start, end, unit tangent at the start, signed curvature, unit tangent at the end, greatest distance of the
        span from its chord's middle; material on the left, no more than a quarter turn each.
    normal : (m + fans, 2), turn, run : (m + fans,) float64
        Of each span and then of each fan: normal into the material at the start, its turn to the end (rad), length
        (mm; of a fan its turn).
    fan_of, following : (m,) int64
        Row of the fan at each span's start, or -1; the span that follows.
    span : (m + fans,), own : (m + fans, 2) int64
        Span of each row (of a fan, that at whose start it stands), and those on which its places lie.
    """
    n = len(points)
    start = np.empty((2 * n, 2))
    bend = np.empty(2 * n)
    following = np.empty(2 * n, np.int64)
    m = 0
    for path in range(len(heads) - 1):
        first, low, high = m, heads[path], heads[path + 1]
        for i in range(low, high):
            j = i + 1 if i + 1 < high else low
            cx, cy, b = points[j, 0] - points[i, 0], points[j, 1] - points[i, 1], bulge[i]
            if cx == 0.0 and cy == 0.0:
                continue
            start[m, 0], start[m, 1], bend[m] = points[i, 0], points[i, 1], b
            if abs(b) > wide:
                # An arc's middle lies b / 2 of the chord to the right of the chord's middle for b > 0.
                bend[m] = np.tan(np.arctan(b) / 2)
                m += 1
                start[m, 0] = points[i, 0] + (cx / 2 + (b / 2) * cy)
                start[m, 1] = points[i, 1] + (cy / 2 - (b / 2) * cx)
                bend[m] = bend[m - 1]
            m += 1
        for k in range(first, m):
            following[k] = k + 1 if k + 1 < m else first
    spans = np.empty((m, 10))
    run = np.empty(2 * m)
    for k in range(m):
        x0, y0, b = start[k, 0], start[k, 1], bend[k]
        cx, cy = start[following[k], 0] - x0, start[following[k], 1] - y0
        size = np.hypot(cx, cy)
        ux, uy = cx / size, cy / size
        sin, cos = 2 * b / (1 + b * b), (1 - b) * (1 + b) / (1 + b * b)
        spans[k, 0], spans[k, 1], spans[k, 2], spans[k, 3] = x0, y0, x0 + cx, y0 + cy
        spans[k, 4], spans[k, 5], spans[k, 6] = ux * cos + uy * sin, uy * cos - ux * sin, 2 * sin / size
        spans[k, 7], spans[k, 8] = ux * cos - uy * sin, uy * cos + ux * sin
        spans[k, 9] = size / 2 * (1 + abs(b))
        run[k] = size if b == 0 else size * (1 + b * b) * np.arctan(b) / b
    normal = np.empty((2 * m, 2))
    turn = np.empty(2 * m)
    fan_of = np.full(m, -1, np.int64)
    span = np.empty(2 * m, np.int64)
    own = np.empty((2 * m, 2), np.int64)
    before = np.empty(m, np.int64)
    for k in range(m):
        before[following[k]] = k
        normal[k, 0], normal[k, 1] = -spans[k, 5], spans[k, 4]
        turn[k] = 4 * np.arctan(bend[k])
        span[k], own[k, 0], own[k, 1] = k, k, k
    rows = m
    for k in range(m):
        ax, ay = spans[before[k], 7], spans[before[k], 8]
        tx, ty = spans[k, 4], spans[k, 5]
        turned = np.arctan2(ax * ty - ay * tx, ax * tx + ay * ty)
        if turned < -fan:
            fan_of[k] = rows
            normal[rows, 0], normal[rows, 1] = -ay, ax
            turn[rows], run[rows] = turned, -turned
            span[rows], own[rows, 0], own[rows, 1] = k, k, before[k]
            rows += 1
    return (
        spans,
        normal[:rows].copy(),
        turn[:rows].copy(),
        run[:rows].copy(),
        fan_of,
        following[:m].copy(),
        span[:rows].copy(),
        own[:rows].copy(),
    )


@kernel
def nested(spans: Any) -> Any:
    """Boxes around runs of spans that follow one another, each of two within that of both.

    Parameters
    ----------
    spans : (n, 10) float64
        As `boundary` gives them.

    Returns
    -------
    (2 p, 4) float64
        Least x and y, greatest x and y, mm: row p + i is the box of spans RUN i up to RUN (i + 1), row r that of rows
        2 r and 2 r + 1, row 1 that of all; p is a power of two, and a box without spans holds nothing.
    """
    last = 1
    while last * RUN < len(spans):
        last *= 2
    boxes = np.empty((2 * last, 4))
    boxes[:, :2], boxes[:, 2:] = np.inf, -np.inf
    for j in range(len(spans)):
        row = last + j // RUN
        # An arc of at most a quarter turn lies within its rise of the chord; the last column is half chord and rise.
        rise = max(spans[j, 9] - 0.5 * np.hypot(spans[j, 2] - spans[j, 0], spans[j, 3] - spans[j, 1]), 0.0)
        for axis in range(2):
            low, high = min(spans[j, axis], spans[j, 2 + axis]), max(spans[j, axis], spans[j, 2 + axis])
            boxes[row, axis] = min(boxes[row, axis], low - rise)
            boxes[row, 2 + axis] = max(boxes[row, 2 + axis], high + rise)
    for row in range(last - 1, 0, -1):
        for axis in range(2):
            boxes[row, axis] = min(boxes[2 * row, axis], boxes[2 * row + 1, axis])
            boxes[row, 2 + axis] = max(boxes[2 * row, 2 + axis], boxes[2 * row + 1, 2 + axis])
    return boxes


@helper
def _against(
    px: float,
    py: float,
    nx: float,
    ny: float,
    spans: Any,
    j: int,
    best: float,
    who: int,
    part: int,
    lean: float,
) -> Any:
    """What `_disc` has found so far, or what span j gives if that is a lesser radius."""
    x0, y0, x1, y1 = spans[j, 0], spans[j, 1], spans[j, 2], spans[j, 3]
    # A disc of radius `best` at this place lies within `best` of its centre.
    far = np.hypot(0.5 * (x0 + x1) - px - best * nx, 0.5 * (y0 + y1) - py - best * ny)
    if far > best + spans[j, 9]:
        return best, who, part, lean
    tx, ty, k = spans[j, 4], spans[j, 5], spans[j, 6]
    vx, vy = px - x0, py - y0
    f = vy * tx - vx * ty - 0.5 * k * (vx * vx + vy * vy)
    cosine = ny * tx - nx * ty - k * (nx * vx + ny * vy)
    below = 1.0 - cosine
    if below > SAME_SIDE and f >= 0.0:
        r = f / below
        if r < best:
            cx, cy = px + r * nx, py + r * ny
            ahead = (cx - x0) * tx + (cy - y0) * ty
            beyond = (cx - x1) * spans[j, 7] + (cy - y1) * spans[j, 8]
            if ahead >= 0.0 and beyond <= 0.0:
                best, who, part = r, j, 0
                # Unit normal of the touched span at the centre's foot, against the place's own.
                wx, wy = cx - x0, cy - y0
                mx, my = -ty - k * wx, tx - k * wy
                lean = (mx * nx + my * ny) / np.hypot(mx, my)
    for end in range(2):
        qx, qy = (x1, y1) if end == 1 else (x0, y0)
        towards = (qx - px) * nx + (qy - py) * ny
        if towards > SAME_SIDE:
            r = 0.5 * ((qx - px) ** 2 + (qy - py) ** 2) / towards
            if r < best:
                best, who, part = r, j, 1 + end
                lean = ((px + r * nx - qx) * nx + (py + r * ny - qy) * ny) / r
    return best, who, part, lean


@helper
def _disc(
    px: float,
    py: float,
    nx: float,
    ny: float,
    a: int,
    b: int,
    spans: Any,
    boxes: Any,
    guess: float,
    most: float,
) -> Any:
    """The greatest disc that touches a place on spans a and b: radius, span, part and cosine as of `touching`.

    The radius is at most `guess`, what some span gives. Spans are met in their order and only boxes clear of the disc
    of that radius are passed over, so that the guess changes no result: of equal radii the first span's stays.
    """
    best, who, part, lean = most, -1, 0, 1.0
    last, box = len(boxes) // 2, 1
    while box > 0:
        reach = min(best, guess)
        cx, cy, limit = px + reach * nx, py + reach * ny, reach + CLEAR
        dx = max(boxes[box, 0] - cx, cx - boxes[box, 2], 0.0)
        dy = max(boxes[box, 1] - cy, cy - boxes[box, 3], 0.0)
        if dx * dx + dy * dy <= limit * limit:
            if box < last:
                box *= 2
                continue
            first = (box - last) * RUN
            for j in range(first, min(first + RUN, len(spans))):
                if j not in (a, b):
                    best, who, part, lean = _against(px, py, nx, ny, spans, j, best, who, part, lean)
        # On to the next box in the order of the spans; none after the last of all.
        while box % 2 == 1:
            box //= 2
        box += 1 if box > 0 else 0
    return best, who, part, lean


@kernel
def touching(
    element: Any,
    share: Any,
    spans: Any,
    normal: Any,
    turn: Any,
    span: Any,
    own: Any,
    fan_of: Any,
    following: Any,
    boxes: Any,
    most: float,
    wall_cosine: float,
) -> Any:
    """Greatest discs inside a boundary that touch it at some places.

    Parameters
    ----------
    element : (n,) int64
        Row of the span or fan of each place.
    share : (n,) float64
        Of it before the place.
    spans, normal, turn, span, own, fan_of, following
        As `boundary` gives them.
    boxes
        As `nested` gives them.
    most : float
        Greatest radius looked for, mm.
    wall_cosine : float
        Greatest cosine between the two directions from the boundary to the centre that makes a wall.

    Returns
    -------
    (n, 10) float64
        Place, normal, centre (mm), radius (mm, at most `most`), tangent of the middle there, and the element that the
        disc touches beside its own, -1 if none between two sides.
    """
    n = len(spans)
    out = np.empty((len(element), 10))
    who = -1
    for i in range(len(element)):
        row = element[i]
        fan, s = row >= n, span[row]
        turned = share[i] * turn[row]
        c, d = np.cos(turned), np.sin(turned)
        nx, ny = c * normal[row, 0] - d * normal[row, 1], d * normal[row, 0] + c * normal[row, 1]
        px, py, k = spans[s, 0], spans[s, 1], spans[s, 6]
        if not fan and k == 0:
            px += share[i] * (spans[s, 2] - spans[s, 0])
            py += share[i] * (spans[s, 3] - spans[s, 1])
        elif not fan:
            # The chord to the point at a share s of an arc: 2 sin(s a / 2) / k along the tangent turned by s a / 2.
            reach, c, d = 2 * np.sin(turned / 2) / k, np.cos(turned / 2), np.sin(turned / 2)
            px += reach * (c * spans[s, 4] - d * spans[s, 5])
            py += reach * (d * spans[s, 4] + c * spans[s, 5])
        a, b, guess = own[row, 0], own[row, 1], most
        if who >= 0:
            # What the place before touches, or its neighbour, mostly bounds this disc too.
            for j in (who, following[who]):
                if j not in (a, b):
                    guess = _against(px, py, nx, ny, spans, j, guess, -1, 0, 1.0)[0]
        radius, who, part, lean = _disc(px, py, nx, ny, a, b, spans, boxes, guess, most)
        cx, cy = px + radius * nx, py + radius * ny
        tx, ty, other = ny, -nx, -1
        if who >= 0:
            corner = fan_of[following[who]] if part == 2 else fan_of[who]
            other = corner if part > 0 and corner >= 0 else who
            # A disc wider than its own hollow side is bent stays at that side's centre: no wall.
            hollow = 0.0 if fan else k
            if lean <= wall_cosine and radius * hollow <= 1.0 and radius > 0 and other != row:
                # Right of the difference of the two directions; only its sign depends on the side.
                if part == 0:
                    fx = -spans[who, 5] - spans[who, 6] * (cx - spans[who, 0])
                    fy = spans[who, 4] - spans[who, 6] * (cy - spans[who, 1])
                elif part == 1:
                    fx, fy = cx - spans[who, 0], cy - spans[who, 1]
                else:
                    fx, fy = cx - spans[who, 2], cy - spans[who, 3]
                size = max(np.hypot(fx, fy), TINY)
                ax, ay = nx - fx / size, ny - fy / size
                size = max(np.hypot(ax, ay), TINY)
                tx, ty = ay / size, -ax / size
            else:
                other = -1
        out[i, 0], out[i, 1], out[i, 2], out[i, 3], out[i, 4], out[i, 5] = px, py, nx, ny, cx, cy
        out[i, 6], out[i, 7], out[i, 8], out[i, 9] = radius, tx, ty, other
    return out


@kernel
def unreached(points: Any, others: Any, reach: float) -> Any:
    """Whether no other point lies within reach of each.

    Parameters
    ----------
    points, others : (n, 2), (m, 2) float64
        Both run along paths, so that the search begins at the last one met.
    reach : float
        mm.

    Returns
    -------
    (n,) bool
    """
    out = np.ones(len(points), np.bool_)
    last, count = 0, len(others)
    for i in range(len(points)):
        for step in range(count):
            half = (step + 1) // 2
            j = (last + half if step % 2 else last - half) % count
            dx, dy = points[i, 0] - others[j, 0], points[i, 1] - others[j, 1]
            if dx * dx + dy * dy <= reach * reach:
                out[i], last = False, j
                break
    return out
