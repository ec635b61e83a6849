"""Regions of lines and arcs for tests: plain shapes, and families that make offsets and booleans hard."""

from __future__ import annotations

import numpy as np

from beadwright.curves import ArcPath, ArcRegion


def path(points, bulge=None, *, closed=True, face=None):
    points = np.array(points, float)
    n = len(points) if closed else len(points) - 1
    bulge = np.zeros(n) if bulge is None else np.array(bulge, float)
    face = np.arange(n) if face is None else np.full(n, face)
    return ArcPath(
        points=points,
        bulge=bulge,
        face=face.astype(np.int32),
        support=np.full(n, -1, np.int32),
        closed=closed,
    )


def region(*loops):
    return ArcRegion(loops=loops, supports=np.zeros((0, 4)))


def box(x, y, w, h):
    return path([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])


def circle(x, y, r, *, hole=False):
    points = [[x + r, y], [x - r, y]]
    return path(points, [-1.0, -1.0] if hole else [1.0, 1.0])


def turned(loop, angle, at=(0.0, 0.0)):
    c, s = np.cos(angle), np.sin(angle)
    points = loop.points @ np.array([[c, s], [-s, c]]) + at
    return ArcPath(points=points, bulge=loop.bulge, face=loop.face, support=loop.support, closed=loop.closed)


def jittered(loop, size, rng):
    points = loop.points + rng.normal(size=loop.points.shape) * size
    return ArcPath(points=points, bulge=loop.bulge, face=loop.face, support=loop.support)


def blob(rng, arcs, radius=100.0, wave=0.25, waves=7):
    """Smooth closed curve as tangent arcs: biarcs over points of a random radial wave."""
    n = arcs // 2
    t = np.arange(n) * (2 * np.pi / n)
    r, dr = np.full(n, 1.0), np.zeros(n)
    for j in range(2, waves):
        a, p = wave * rng.normal() / j, rng.uniform(0, 2 * np.pi)
        r += a * np.cos(j * t + p)
        dr -= a * j * np.sin(j * t + p)
    r, dr = radius * np.maximum(r, 0.25), radius * dr * (r > 0.25)
    z = r * np.exp(1j * t)
    tangent = (dr + 1j * r) * np.exp(1j * t)
    tangent /= np.abs(tangent)
    points, bulges = [], []
    for i in range(n):
        a, b, p, q = z[i], z[(i + 1) % n], tangent[i], tangent[(i + 1) % n]
        v = b - a
        # Equal-length biarc: |v|^2 - 2 l v.(p + q) + 2 l^2 (1 - p.q)... solved for the tangent length l.
        dot = lambda f, g: (f.conjugate() * g).real  # noqa: E731
        A, B, C = 2 * (1 - dot(p, q)), 2 * dot(v, p + q), -dot(v, v)
        length = -C * 2 / (B + np.sqrt(B * B - 4 * A * C))
        m = (a + length * p + b - length * q) / 2
        for s, e, d in ((a, m, p), (m, b, None)):
            c = e - s
            if d is None:
                d = (c * c / abs(c) ** 2) * q.conjugate()
            half = np.angle(c / d)
            points.append([s.real, s.imag])
            bulges.append(np.tan(half / 2))
    return path(points, bulges)


def tiny(loop, rng):
    """Some arcs cut in two beside their ends, 1e-7 to 0.01 mm from them: the same curve."""
    points, bulges = [], []
    for p, q, b in zip(loop.points, np.roll(loop.points, -1, 0), loop.bulge, strict=True):
        z, w = complex(*p), complex(*q)
        run = abs(w - z) * (np.arctan(b) / np.sin(2 * np.arctan(b)) * 2 if b else 1.0)
        f = 10.0 ** rng.uniform(-7, -2) / run
        points.append(p)
        if not b or rng.random() < 0.5 or f > 0.5:
            bulges.append(b)
            continue
        centre = (z + w) / 2 + 1j * (w - z) * (1 - b * b) / (4 * b)
        cut = centre + (z - centre) * np.exp(4j * np.arctan(b) * f)
        points.append([cut.real, cut.imag])
        bulges += [np.tan(np.arctan(b) * f), np.tan(np.arctan(b) * (1 - f))]
    return path(points, bulges)


def gear(teeth=24, r0=80.0, r1=100.0, fillet=True):
    points, bulges = [], []
    for i in range(teeth):
        for f, r in ((0.0, r0), (0.1, r1), (0.4, r1), (0.5, r0)):
            a = 2 * np.pi * (i + f) / teeth
            points.append([r * np.cos(a), r * np.sin(a)])
        top = np.tan(2 * np.pi * 0.3 / teeth / 4) if fillet else 0.0
        foot = np.tan(2 * np.pi * 0.5 / teeth / 4) if fillet else 0.0
        bulges += [0.0, top, 0.0, foot]
    return path(points, bulges)


def star(points=9, r0=40.0, r1=100.0):
    a = np.arange(2 * points) * (np.pi / points)
    r = np.where(np.arange(2 * points) % 2, r0, r1)
    return path(np.c_[r * np.cos(a), r * np.sin(a)])


def rounded(w, h, f):
    q = np.tan(np.pi / 8)
    points = [[f, 0], [w - f, 0], [w, f], [w, h - f], [w - f, h], [f, h], [0, h - f], [0, f]]
    return path(points, [0, q, 0, q, 0, q, 0, q])


def dumbbell(r=20.0, apart=80.0, neck=9.0):
    y = neck / 2
    x = np.sqrt(r * r - y * y)
    half = np.pi - np.arcsin(y / r)
    b = np.tan(half / 4)
    return path(
        [[x, -y], [apart - x, -y], [apart + r, 0], [apart - x, y], [x, y], [-r, 0]],
        [0, b, b, 0, b, b],
    )


def holed_plate(rng, holes=20, w=400.0, h=300.0, overlap=False):
    loops = [box(0, 0, w, h)]
    done = []
    while len(done) < holes:
        r = rng.uniform(4, 18)
        x, y = rng.uniform(r + 1, w - r - 1), rng.uniform(r + 1, h - r - 1)
        if all(np.hypot(x - a, y - b) > r + c + 0.5 for a, b, c in done):
            done.append((x, y, r))
            loops.append(circle(x, y, r, hole=True))
    return region(*loops)
