"""Sections built from closed forms, for the exports to write and other readers to read."""

import numpy as np

from beadwright.curves import CurveKind, CurveLoops


class Section:
    """Collects curves into `CurveLoops`; each starts bit for bit where the one before ended."""

    def __init__(self):
        self.rows = {k: [] for k in ("kind", "face", "ends", "circle", "bound")}
        self.first_piece, self.degree, self.first_control = [0], [], [0]
        self.control = []
        self.first_curve, self.closed = [0], []

    def _add(self, kind, start, end, *, face=0, bound=0.0, circle=(0.0, 0.0, 0.0, 0.0), pieces=()):
        if len(self.rows["kind"]) > self.first_curve[-1]:
            start = self.rows["ends"][-1][2:]
        self.rows["kind"].append(kind)
        self.rows["face"].append(face)
        self.rows["ends"].append((*start, *end))
        self.rows["circle"].append(circle)
        self.rows["bound"].append(bound)
        for piece in pieces:
            self.degree.append(len(piece) - 1)
            self.control.extend(piece)
            self.first_control.append(len(self.control))
        self.first_piece.append(len(self.degree))
        return self

    def line(self, start, end, **also):
        return self._add(CurveKind.LINE, start, end, **also)

    def gap(self, start, end):
        return self._add(CurveKind.CONNECTOR, start, end, face=-1)

    def arc(self, centre, radius, angle, sweep, **also):
        def at(t):
            return (centre[0] + radius * np.cos(t), centre[1] + radius * np.sin(t))

        end = at(angle) if abs(sweep) == 2 * np.pi else at(angle + sweep)
        return self._add(CurveKind.CIRCLE, at(angle), end, circle=(*centre, radius, sweep), **also)

    def ellipse(self, centre, a, b, turn, t0, sweep, *, n=4, scale=1.0, **also):
        """Affine image of arcs; the middle control point of each has the weight cos(half its sweep)."""
        c, s = np.cos(turn), np.sin(turn)
        frame = np.array([[a * c, -b * s], [a * s, b * c]])
        half = sweep / n / 2
        pieces = []
        for k in range(n):
            m = t0 + (2 * k + 1) * half
            piece = []
            for t, r, w in ((m - half, 1.0, 1.0), (m, 1 / np.cos(half), np.cos(half)), (m + half, 1.0, 1.0)):
                p = np.asarray(centre) + frame @ [r * np.cos(t), r * np.sin(t)]
                piece.append((scale * w * p[0], scale * w * p[1], scale * w))
            pieces.append(piece)
        start = np.array(pieces[0][0][:2]) / scale
        end = np.array(pieces[-1][-1][:2]) / scale
        return self._add(CurveKind.ELLIPSE, tuple(start), tuple(end), pieces=pieces, **also)

    def parabola(self, k, x0, x1, *, at=(0.0, 0.0), **also):
        """y = k x^2 about `at`; the middle control point is where the end tangents meet."""
        control = [(x0, k * x0 * x0), ((x0 + x1) / 2, k * x0 * x1), (x1, k * x1 * x1)]
        piece = [(at[0] + x, at[1] + y, 1.0) for x, y in control]
        return self._add(CurveKind.PARABOLA, piece[0][:2], piece[-1][:2], pieces=[piece], **also)

    def hyperbola(self, a, b, t0, t1, *, at=(0.0, 0.0), **also):
        """at + (a cosh t, b sinh t); the middle weight is cosh of half the range."""
        m, w = (t0 + t1) / 2, np.cosh((t1 - t0) / 2)
        places = [
            (a * np.cosh(t0), b * np.sinh(t0)),
            (a * np.cosh(m) / w, b * np.sinh(m) / w),
            (a * np.cosh(t1), b * np.sinh(t1)),
        ]
        piece = [
            (u * (at[0] + x), u * (at[1] + y), u) for (x, y), u in zip(places, (1.0, w, 1.0), strict=True)
        ]
        return self._add(CurveKind.HYPERBOLA, piece[0][:2], piece[-1][:2], pieces=[piece], **also)

    def spline(self, pieces, *, kind=CurveKind.SPLINE, **also):
        first, last = pieces[0][0], pieces[-1][-1]
        start, end = (first[0] / first[2], first[1] / first[2]), (last[0] / last[2], last[1] / last[2])
        return self._add(kind, start, end, pieces=pieces, **also)

    def close(self, *, closed=True):
        """End a chain; a closed one ends bit for bit where it began."""
        if closed:
            first = self.rows["ends"][self.first_curve[-1]][:2]
            self.rows["ends"][-1] = (*self.rows["ends"][-1][:2], *first)
        self.first_curve.append(len(self.rows["kind"]))
        self.closed.append(closed)
        return self

    def loops(self):
        return CurveLoops(
            kind=np.array(self.rows["kind"], np.int8),
            face=np.array(self.rows["face"], np.int32),
            ends=np.array(self.rows["ends"], float).reshape(-1, 4),
            circle=np.array(self.rows["circle"], float).reshape(-1, 4),
            first_piece=np.array(self.first_piece, np.int32),
            degree=np.array(self.degree, np.int32),
            first_control=np.array(self.first_control, np.int32),
            control=np.array(self.control, float).reshape(-1, 3),
            bound=np.array(self.rows["bound"], float),
            first_curve=np.array(self.first_curve, np.int32),
            closed=np.array(self.closed, bool),
        )


def flange():
    """Disc R 500 with an elliptic hole, a slot and a round hole; and its area by hand."""
    section = Section()
    section.arc((1000.0, 200.0), 500.0, 0.3, 2 * np.pi, face=0).close()
    section.ellipse((1000.0, 250.0), 180.0, 90.0, 0.4, 1.0, -2 * np.pi, face=1, bound=1e-12).close()
    section.arc((900.0, -60.0), 40.0, -np.pi / 2, -np.pi, face=2)
    section.line((900.0, -20.0), (1100.0, -20.0), face=3)
    section.arc((1100.0, -60.0), 40.0, np.pi / 2, -np.pi, face=4)
    section.line((1100.0, -100.0), (900.0, -100.0), face=5).close()
    section.arc((1300.0, 420.0), 30.0, 0.0, -2 * np.pi, face=6).close()
    area = np.pi * (500.0**2 - 180.0 * 90.0 - 40.0**2 - 30.0**2) - 200.0 * 80.0
    return section.loops(), area


def mixed():
    """One loop of every kind, counter-clockwise, and its area by hand.

    Along the bottom a parabola from (0, 0) to (300, 90); a line up the right side; along the top, leftwards,
    a cubic in three pieces, a gap in the file, a quarter of an ellipse; down the left side a branch of a
    hyperbola, and a line.
    """
    section = Section()
    section.parabola(1e-3, 0.0, 300.0, face=0)
    section.line((300.0, 90.0), (300.0, 400.0), face=1)
    # y = 400 + 60 u (1 - u)^2 + 30 u^2 (1 - u), x = 300 - 150 u, cut at thirds (as Bernstein coefficients)
    whole = np.array([(300.0, 400.0), (250.0, 420.0), (200.0, 410.0), (150.0, 400.0)])
    pieces = [[(*p, 1.0) for p in part(whole, k / 3, (k + 1) / 3)] for k in range(3)]
    section.spline(pieces, face=2)
    section.gap((150.0, 400.0), (149.999, 400.0))
    # quarter of an ellipse from the top of (149.999, 300) to its left
    section.ellipse((149.999, 300.0), 120.0, 100.0, 0.0, np.pi / 2, np.pi / 2, n=2, face=3)
    # to (29.999, 300) belongs the hyperbola's vertex; its branch runs on to t = -1
    a, b = 20.0, 200.0
    section.hyperbola(a, b, 0.0, -1.0, at=(29.999 - a, 300.0), face=4)
    end = (29.999 - a + a * np.cosh(1.0), 300.0 - b * np.sinh(1.0))
    section.line(end, (0.0, 0.0), face=5).close()

    def chord(p, q):
        return (p[0] * q[1] - p[1] * q[0]) / 2

    corners = [(0, 0), (300, 90), (300, 400), (150, 400), (149.999, 400), (29.999, 300), end]
    area = sum(chord(p, q) for p, q in zip(corners, corners[1:] + corners[:1], strict=True))
    area += 1e-3 * 300.0**3 / 6  # a parabola's segment: k (x1 - x0)^3 / 6
    # the cubic's bump over its chord: integral of 60 u (1-u)^2 + 30 u^2 (1-u) du times 150
    area += 150.0 * (60.0 / 12 + 30.0 / 12)
    area += 120.0 * 100.0 * (np.pi / 4 - 0.5)  # an ellipse's quarter over its chord
    area += a * b * (np.sinh(1.0) - 1.0) / 2  # a hyperbola bulges to the right of its chord
    return section.loops(), area


def part(points, a, b):
    """Control points of a cubic between two parameters: its blossom."""

    def blossom(r, s, t):
        level = points
        for u in (r, s, t):
            level = (1 - u) * level[:-1] + u * level[1:]
        return level[0]

    return [blossom(a, a, a), blossom(a, a, b), blossom(a, b, b), blossom(b, b, b)]
