"""Lines, arcs and splines as SVG path commands, y turned down."""

from __future__ import annotations

from collections import Counter

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, CurveKind, CurveLoops
from beadwright.report._ellipse import EllipseArc, ellipse_arc
from beadwright.report._page import number
from beadwright.report._splines import bezier_pieces, cubics

Floats = npt.NDArray[np.float64]

NUMBERS = 2e-9
"""What numbers rounded to 1e-9 mm may move a line or an arc of at most a quarter turn, mm."""
QUARTER = np.pi / 2
"""Longest arc of one command: SVG finds the centre from the ends, ill-posed near half a turn."""


class PathText:
    """Collects the commands of one chain after another and counts them.

    Attributes
    ----------
    count : Counter of str
        Commands by letter.
    added : float
        Greatest distance that this form added, mm: rounding of the numbers, cubics.
    """

    def __init__(self, cubic_bound: float) -> None:
        self.cubic_bound = cubic_bound
        self.count: Counter[str] = Counter()
        self.added = NUMBERS
        self.parts: list[str] = []

    def chain(self, loops: CurveLoops, chain: int) -> str:
        """Path data of one chain."""
        first, last = int(loops.first_curve[chain]), int(loops.first_curve[chain + 1])
        self.parts = []
        self._put("M", loops.ends[first, :2])
        for curve in range(first, last):
            self._curve(loops, curve)
        if loops.closed[chain]:
            self._put("Z")
        return "".join(self.parts)

    def _curve(self, loops: CurveLoops, curve: int) -> None:
        kind = CurveKind(int(loops.kind[curve]))
        end = loops.ends[curve, 2:]
        if kind in (CurveKind.LINE, CurveKind.CONNECTOR):
            self._put("L", end)
            return
        if kind == CurveKind.CIRCLE:
            cx, cy, radius, sweep = loops.circle[curve]
            start = np.arctan2(loops.ends[curve, 1] - cy, loops.ends[curve, 0] - cx)
            angles = _parts(float(start), float(sweep))
            inner = [np.array([cx + radius * np.cos(t), cy + radius * np.sin(t)]) for t in angles[1:-1]]
            for point in [*inner, end]:
                self._arc(float(radius), float(radius), 0.0, float(sweep), point)
            return
        if kind == CurveKind.ELLIPSE:
            arc = ellipse_arc(loops, curve)
            if arc is not None:
                self._ellipse(arc, end)
                return
        for piece in bezier_pieces(loops, curve):
            self._piece(piece)

    def _ellipse(self, arc: EllipseArc, end: Floats) -> None:
        major, minor = float(np.hypot(*arc.major)), float(np.hypot(*arc.minor))
        turn = float(np.degrees(np.arctan2(arc.major[1], arc.major[0])))
        inner = arc.points(_parts(arc.start, arc.sweep)[1:-1])
        for point in [*inner, end]:
            self._arc(major, minor, turn, arc.sweep, point)
        # a centre found from two ends near the flat side moves along the major axis
        self.added = max(self.added, arc.residual + NUMBERS * major / minor)

    def _piece(self, control: Floats) -> None:
        polynomial = bool(np.all(control[:, 2] == control[0, 2]))
        if polynomial and len(control) <= 3:
            places = control[:, :2] / control[0, 2]
            self._put("L" if len(control) == 2 else "Q", *places[1:])
            return
        pieces, reached = cubics(control, self.cubic_bound)
        self.added = max(self.added, reached + NUMBERS)
        for piece in pieces:
            self._put("C", *piece[1:])

    def _arc(self, rx: float, ry: float, turn: float, sweep: float, end: Floats) -> None:
        self.count["A"] += 1
        flag = 0 if sweep > 0 else 1
        head = f"A{number(rx)} {number(ry)} {number(-turn)} 0 {flag}"
        self.parts.append(f"{head} {_place(end)}")

    def _put(self, letter: str, *points: Floats) -> None:
        self.count[letter] += 1
        self.parts.append(letter + " ".join(_place(p) for p in points))


def arc_path_text(path: ArcPath) -> str:
    """Path data of a path of lines and arcs; each arc as given, halved where it is over a quarter turn."""
    ends = np.roll(path.points, -1, axis=0) if path.closed else path.points[1:]
    parts = [f"M{_place(path.points[0])}"]
    for start, end, bulge in zip(path.points, ends, path.bulge, strict=False):
        if bulge == 0:
            parts.append(f"L{_place(end)}")
            continue
        chord = end - start
        radius = float(np.hypot(*chord)) * (1 + bulge * bulge) / (4 * abs(bulge))
        flag = 0 if bulge > 0 else 1
        # the arc's middle lies bulge * chord / 2 to the right of a counter-clockwise arc's chord
        middle = 0.5 * (start + end) + 0.5 * bulge * np.array([chord[1], -chord[0]])
        for point in (middle, end) if abs(bulge) > np.tan(QUARTER / 4) else (end,):
            parts.append(f"A{number(radius)} {number(radius)} 0 0 {flag} {_place(point)}")
    if path.closed:
        parts.append("Z")
    return "".join(parts)


def _parts(start: float, sweep: float) -> Floats:
    """Angles that cut an arc into equal parts of at most a quarter turn."""
    count = max(1, int(np.ceil(abs(sweep) / QUARTER - 1e-9)))
    return start + sweep * np.arange(count + 1) / count


def _place(point: Floats) -> str:
    return f"{number(point[0])} {number(-point[1])}"
