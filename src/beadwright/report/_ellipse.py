"""Centre and axes of an ellipse from its rational quadratic pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.curves import CurveLoops

Floats = npt.NDArray[np.float64]

FULL_TURN = 1e-9
"""Sweep this near a full turn, with ends that meet, is one, rad."""
KNOWN_AXES = 1e-6
"""A short arc hardly knows its ellipse: axes that rounding may have moved further, mm, are not told."""
ROUNDINGS = 8
"""Roundings of 1 - w^2 and of the middle's distance from P1, both of the size of the half sweep squared."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EllipseArc:
    """The points ``centre + cos(t) major + sin(t) minor``, t from `start` over `sweep`.

    Attributes
    ----------
    centre, major, minor : (2,) float
        mm; minor is major turned left by a right angle, times the ratio of the axes.
    start, sweep : float
        rad, counter-clockwise positive.
    residual : float
        Greatest distance found between the pieces and this form, at their ends and middles, mm.
    """

    centre: Floats
    major: Floats
    minor: Floats
    start: float
    sweep: float
    residual: float

    @property
    def full(self) -> bool:
        """Whether it is the whole ellipse."""
        return abs(abs(self.sweep) - 2 * np.pi) < FULL_TURN

    def points(self, t: Floats) -> Floats:
        """Points at parameters t, (k, 2)."""
        return self.centre + np.cos(t)[:, None] * self.major + np.sin(t)[:, None] * self.minor


def ellipse_arc(loops: CurveLoops, curve: int) -> EllipseArc | None:
    """Curve of kind ELLIPSE by its centre and axes; None where its pieces do not tell them.

    A rational quadratic with ends P0, P2, middle point P1 and weight w (the ends' weights made 1) is the
    affine image of a circular arc of sweep 2 acos(w): its centre is (M - w^2 P1) / (1 - w^2), M the middle
    of the chord (E. Lee, The rational Bezier representation for conics, in: Geometric Modeling, SIAM 1987).
    The longest piece gives the axes. None where they are not known to `KNOWN_AXES`, or where the pieces
    are no rational quadratics: the exact rational spline then stands for the curve.
    """
    rows = range(int(loops.first_piece[curve]), int(loops.first_piece[curve + 1]))
    if len(rows) == 0 or any(loops.degree[row] != 2 for row in rows):
        return None
    control = np.array([loops.control[loops.first_control[row] :][:3] for row in rows])
    weights = control[..., 2]
    places = control[..., :2] / weights[..., None]
    w = weights[:, 1] / np.sqrt(weights[:, 0] * weights[:, 2])
    if np.any(w >= 1.0):
        return None
    half = np.arccos(w)
    best = int(np.argmax(half))
    p0, p1, p2 = places[best]
    centre = p1 + (0.5 * (p0 + p2) - p1) / ((1 - w[best]) * (1 + w[best]))
    # P0 and the end of the conjugate diameter along its tangent
    conjugate = np.column_stack((p0 - centre, (p1 - p0) / np.tan(half[best])))
    axes, sizes, _ = np.linalg.svd(conjugate)
    major = axes[:, 0] * sizes[0]
    minor = np.array([-major[1], major[0]]) * (sizes[1] / sizes[0])
    way = 1.0 if np.linalg.det(conjugate) > 0 else -1.0
    frame = np.column_stack((major, minor))
    along = np.linalg.solve(frame, places[0, 0] - centre)
    start = float(np.arctan2(along[1], along[0]))
    knots = start + way * 2 * np.concatenate(([0.0], np.cumsum(half)))
    # with the end weights made 1, the middle of a piece is the middle of its sweep
    middles = control[:, 0] / weights[:, :1] + control[:, 2] / weights[:, 2:]
    middles = middles + 2 * control[:, 1] / np.sqrt(weights[:, 0] * weights[:, 2])[:, None]
    middles = middles[:, :2] / middles[:, 2:]
    arc = EllipseArc(
        centre=centre, major=major, minor=minor, start=start, sweep=float(knots[-1] - start), residual=0.0
    )
    miss = np.concatenate(
        (
            arc.points(knots[:-1]) - places[:, 0],
            arc.points(knots[1:]) - places[:, 2],
            arc.points(0.5 * (knots[1:] + knots[:-1])) - middles,
        )
    )
    residual = float(np.hypot(miss[:, 0], miss[:, 1]).max())
    scale = float(np.abs(places).max()) + float(sizes[0])
    moved = ROUNDINGS * np.finfo(float).eps * scale / half[best] ** 2
    if not max(moved, residual) <= KNOWN_AXES:
        return None
    return EllipseArc(
        centre=centre, major=major, minor=minor, start=start, sweep=arc.sweep, residual=residual
    )
