"""A reader of SVG path data, written from the SVG 2 text, section 9.3 and appendix B.2.4."""

import re

import numpy as np

TOKEN = re.compile(r"[MLQCAZhvl]|-?[\d.]+(?:e-?\d+)?")


def commands(data):
    """List of ``(letter, numbers)``."""
    out = []
    for token in TOKEN.findall(data):
        if token.isalpha():
            out.append((token, []))
        else:
            out[-1][1].append(float(token))
    return out


def centre(p, q, rx, ry, turn, large, flag):
    """Centre, start angle and sweep of an arc command (appendix B.2.4)."""
    c, s = np.cos(turn), np.sin(turn)
    x, y = np.array([[c, s], [-s, c]]) @ ((p - q) / 2)
    inside = max(0.0, (rx * ry) ** 2 - (rx * y) ** 2 - (ry * x) ** 2)
    f = np.sqrt(inside / ((rx * y) ** 2 + (ry * x) ** 2)) * (1 if large != flag else -1)
    cx, cy = f * rx * y / ry, -f * ry * x / rx
    mid = np.array([[c, -s], [s, c]]) @ [cx, cy] + (p + q) / 2
    a = np.arctan2((y - cy) / ry, (x - cx) / rx)
    b = np.arctan2((-y - cy) / ry, (-x - cx) / rx)
    sweep = (b - a) % (2 * np.pi) if flag else -((a - b) % (2 * np.pi))
    return mid, a, sweep


def area_and_arcs(data):
    """Area with y upwards (Green's theorem, command by command); ``(centre, rx, ry, turn)`` of each arc."""
    twice, arcs, p, start = 0.0, [], None, None

    def cross(u, v):
        return u[0] * v[1] - u[1] * v[0]

    for letter, v in commands(data):
        if letter == "M":
            p = start = np.array(v)
            continue
        q = start if letter == "Z" else np.array(v[-2:])
        if letter in "LZ":
            twice += cross(p, q)
        elif letter in "QC":
            control = np.array([p, *np.reshape(v, (-1, 2))])
            t, w = np.polynomial.legendre.leggauss(8)
            t = (t + 1) / 2
            n = len(control) - 1
            value = np.zeros((len(t), 2))
            slope = np.zeros((len(t), 2))
            from math import comb

            for i in range(n + 1):
                value += np.outer(comb(n, i) * t**i * (1 - t) ** (n - i), control[i])
            for i in range(n):
                slope += np.outer(
                    n * comb(n - 1, i) * t**i * (1 - t) ** (n - 1 - i), control[i + 1] - control[i]
                )
            twice += float(np.sum(w / 2 * (value[:, 0] * slope[:, 1] - value[:, 1] * slope[:, 0])))
        else:
            rx, ry, turn = v[0], v[1], np.radians(v[2])
            mid, _, sweep = centre(p, q, rx, ry, turn, v[3], v[4])
            arcs.append((np.array([mid[0], -mid[1]]), rx, ry, -turn))
            twice += rx * ry * sweep + cross(mid, q - p)
        p = q
    return -twice / 2, arcs
