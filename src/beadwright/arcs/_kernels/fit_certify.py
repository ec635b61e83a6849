"""How far a curve strays from an arc, as a proven bound of the Fréchet distance.

Frame of the arc: origin in its start, first axis along its start tangent, curvature k. With (a, b, w)
the homogeneous coordinates there and m = w - k b, the signed distance g of a point from the circle
satisfies 2 g / (1 + ...) in closed form of f = (b (w + m) - k a^2) / (2 w^2), and the angle about the
centre is that of the vector (m, a). No centre is formed, so that flat arcs and lines are one case.
Numerators and denominators are Bernstein forms of degree 2 d with positive denominators, whose ratios
enclose the quotient [1]_. The angle runs forward where a' m - a m' > 0; what it runs back is integrated
and added, as is the mismatch at both ends; the radial projection is then a correspondence.

References
----------
.. [1] R. T. Farouki, "The Bernstein polynomial basis: A centennial retrospective",
       Computer Aided Geometric Design 29 (2012) 379-419, section 5. :doi:`10.1016/j.cagd.2012.03.001`
"""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.arcs._kernels.fit_bezier import restrict
from beadwright.compiled import helper

# Columns of a move: start x, y, bulge, curve, first piece, t, last piece, t, bound, end x, y, kinked.
MOVE_COLUMNS = 12
M_X, M_Y, M_BULGE, M_CURVE, M_Q0, M_T0, M_Q1, M_T1, M_BOUND, M_EX, M_EY, M_KINK = range(12)
# Half the gap between 1 and the next double.
ROUNDING = 2.0**-53
# A bound is not refined once it is within this factor of what the curve attains.
TIGHT = 1.01
# Halvings of one piece; the width of a Bernstein enclosure falls to a quarter with each.
MAX_DEPTH = 14
# Pieces looked at for one arc; beyond, what is enclosed so far counts as it is.
MAX_PIECES = 2000


@helper
def gap(f: float, k: float) -> float:
    """Signed distance from a circle of curvature k, from f; infinite near the centre."""
    q = 1.0 - 2.0 * k * f
    if q < 0.25:
        return np.inf
    return float(2.0 * f / (1.0 + np.sqrt(q)))


@helper
def _enclose(p: Any, d: int, k: float, choose: Any, res: Any) -> None:
    """Range of f and least of the angle's rate, of the size of (m, a) and of w, on one piece, to ``res``."""
    res[0], res[1], res[2] = np.inf, -np.inf, np.inf
    m_least = a_least = w_least = np.inf
    far = 0.0
    for j in range(d + 1):
        w = p[j, 2]
        m_least = min(m_least, (w - k * p[j, 1]) / w)
        a_least = min(a_least, p[j, 0] / w)
        w_least = min(w_least, w)
        far = max(far, (abs(p[j, 0]) + abs(p[j, 1])) / w)
    for s in range(2 * d + 1):
        num = den = rate = 0.0
        for i in range(max(0, s - d), min(d, s) + 1):
            j = s - i
            c = choose[d, i] * choose[d, j]
            num += c * (p[i, 1] * (2.0 * p[j, 2] - k * p[j, 1]) - k * p[i, 0] * p[j, 0])
            den += c * p[i, 2] * p[j, 2]
            if i < d:
                da = p[i + 1, 0] - p[i, 0]
                dm = (p[i + 1, 2] - p[i, 2]) - k * (p[i + 1, 1] - p[i, 1])
                c = choose[d - 1, i] * choose[d, j]
                rate += c * (da * (p[j, 2] - k * p[j, 1]) - p[j, 0] * dm)
        f = 0.5 * num / den
        res[0], res[1] = min(res[0], f), max(res[1], f)
        if s < 2 * d:
            res[2] = min(res[2], d * rate / choose[2 * d - 1, s])
    res[3], res[4], res[5], res[6] = m_least, a_least, w_least, far


@helper
def _halve(stack: Any, top: int, d: int) -> None:
    """Split the piece on top of the stack in two: the right half stays there, the left half goes above."""
    for c in range(3):
        stack[top + 1, 0, c] = stack[top, 0, c]
    for r in range(1, d + 1):
        for j in range(d + 1 - r):
            for c in range(3):
                stack[top, j, c] = 0.5 * (stack[top, j, c] + stack[top, j + 1, c])
        for c in range(3):
            stack[top + 1, r, c] = stack[top, 0, c]


@helper
def arc_bound(
    degree: Any,
    first_control: Any,
    control: Any,
    row: Any,
    seed: float,
    choose: Any,
    stack: Any,
    depth: Any,
) -> float:
    """Bound the Fréchet distance, mm, from an arc to the curve between two places.

    The move ``row`` holds the arc and the places; an arc of more than half a turn has no bound (infinite).
    ``seed`` is about what the curve attains: any number keeps the bound valid, a bad one makes it slower or
    looser.
    """
    x0, y0, x1, y1, bulge = row[M_X], row[M_Y], row[M_EX], row[M_EY], row[M_BULGE]
    if not abs(bulge) <= 1.0:
        # Beyond half a turn the angles below could not tell a curve that goes round from one that stays.
        return np.inf
    chord = np.hypot(x1 - x0, y1 - y0)
    if chord == 0.0:
        ux, uy = 1.0, 0.0
    else:
        ux, uy = (x1 - x0) / chord, (y1 - y0) / chord
    half = 1.0 + bulge * bulge
    cosine, sine = (1.0 - bulge) * (1.0 + bulge) / half, 2.0 * bulge / half
    k = 2.0 * sine / chord if chord > 0.0 else 0.0
    tx, ty = ux * cosine + uy * sine, uy * cosine - ux * sine
    first, last = int(row[M_Q0]), int(row[M_Q1])
    worst = seed
    radial = back = jump = blur = ball = ends = 0.0
    end_x = end_y = 0.0
    res = np.empty(7)
    sound = True
    pieces = 0
    started = False
    for q in range(first, last + 1):
        lo = row[M_T0] if q == first else 0.0
        hi = row[M_T1] if q == last else 1.0
        if hi <= lo:
            continue
        d, base = degree[q], first_control[q]
        size = abs(x0) + abs(y0)
        full = 0.0
        for j in range(d + 1):
            w = control[base + j, 2]
            vx, vy = control[base + j, 0] - w * x0, control[base + j, 1] - w * y0
            stack[0, j, 0], stack[0, j, 1], stack[0, j, 2] = vx * tx + vy * ty, vy * tx - vx * ty, w
            full = max(full, (abs(vx) + abs(vy)) / w)
            size = max(size, (abs(control[base + j, 0]) + abs(control[base + j, 1])) / w)
        restrict(stack[0], d, lo, hi)
        a, b, w = stack[0, 0, 0], stack[0, 0, 1], stack[0, 0, 2]
        m = w - k * b
        if not started:
            # Where the curve starts, seen along the arc from its own start.
            ends = abs(a) / m if m > 0.0 else np.inf
            started = True
        else:
            jump = max(jump, np.hypot(a / w - end_x, b / w - end_y))
        end_x, end_y = stack[0, d, 0] / stack[0, d, 2], stack[0, d, 1] / stack[0, d, 2]
        top = np.int64(0)
        depth[0] = 0
        while top >= 0:
            level = depth[top]
            pieces += 1
            _enclose(stack[top], d, k, choose, res)
            f_least, f_most, rate = res[0], res[1], res[2]
            m_least, a_least, w_least, far = res[3], res[4], res[5], res[6]
            # With u the rounding of one operation, to first order, and coordinates over their own weight:
            # - placing: |x0| u for the product, and again for the difference: 2 size u a coordinate;
            # - turning: three operations, and the frame itself, of six: 9 full u;
            # - restricting: twice d steps (1 - t) p + t q of 3 u each: as all weights are above 0, what is off
            #   by c u of its weight stays so: 6 d full u; halving: d steps of one u: d full u a level;
            # - f: products of five operations, sums of at most d + 1, a quotient, a curvature of six:
            #   (d + 14) u (far + |k| far^2).
            # A shift of a place by s moves f by s (1 + |k| far). Each count below is at least twice its sum.
            error = (4.0 * size + 8.0 * d * (level + 3.0) * full + 8.0 * (d + 12.0) * far) * ROUNDING
            error *= 1.0 + abs(k) * far
            upper = max(gap(f_most + error, k), -gap(f_least - error, k))
            for j in (0, d):
                a, b = stack[top, j, 0] / stack[top, j, 2], stack[top, j, 1] / stack[top, j, 2]
                value = abs(gap(b - 0.5 * k * (a * a + b * b), k))
                if value < np.inf:
                    worst = max(worst, value)
            # A piece in the half plane ahead or abreast of the start cannot hide a whole turn.
            apart = m_least > 0.0 or a_least > 0.0
            slip = 0.0
            if rate < 0.0:
                low = 1.0 - abs(k) * upper
                slip = -rate / (w_least * w_least * low * low) if low > 0.25 else np.inf
            rough = upper > TIGHT * worst + 2.0 * error or not apart or slip > 1e-3 * worst
            if rough and level < MAX_DEPTH and pieces < MAX_PIECES:
                _halve(stack, top, d)
                depth[top] = level + 1
                depth[top + 1] = level + 1
                top += 1
                continue
            radial, blur, ball = max(radial, upper), max(blur, error), max(ball, far)
            back += slip
            sound = sound and apart
            top -= 1
    # The end, in the frame of the arc's end: chord end and tangent by twice the half angle.
    c2, s2 = cosine * cosine - sine * sine, 2.0 * sine * cosine
    va, vb = end_x - chord * cosine, end_y - chord * sine
    a, b = va * c2 + vb * s2, vb * c2 - va * s2
    m = 1.0 - k * b
    ends = max(ends, abs(a) / m if m > 0.0 else np.inf)
    total = radial + back + jump + ends + 4.0 * blur
    # However they are matched, two points are never farther apart than this.
    loose = ball + chord + 4.0 * blur
    if not sound or not started:
        total = loose if started else chord
    return float(min(total, loose if started else chord) * (1.0 + 16.0 * ROUNDING))
