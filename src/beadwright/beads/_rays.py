"""Where a ray first meets the boundary of a region of lines and arcs."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcRegion

Floats = npt.NDArray[np.float64]

# A place this far beside an arc's chord, mm, or this share of the chord beyond its ends, is still on the arc: what
# lies between two moves by rounding alone must be met.
BESIDE = 1e-9


class Rays:
    """Rays that are cast at the boundary of one region.

    Parameters
    ----------
    region : ArcRegion
    """

    def __init__(self, region: ArcRegion) -> None:
        none = np.zeros((0, 2))
        self._start = np.concatenate([none, *(loop.points for loop in region.loops)])
        # The end of a move is the very start of the next, so that a ray through a joint meets one of them.
        self._end = np.concatenate([none, *(np.roll(loop.points, -1, axis=0) for loop in region.loops)])
        self._bulge = np.concatenate([none[:, 0], *(loop.bulge for loop in region.loops)])

    def nearest(self, x: float, y: float, way: float) -> float | None:
        """How far ahead the boundary is met from a place, mm, in a direction, rad; None if it is not.

        In coordinates along the ray and across it a move is met where its line has no height, or where the power of
        the point against the arc's circle vanishes, on the arc's side of the chord.
        """
        c, s = np.cos(way), np.sin(way)
        (x0, y0), (x1, y1) = (self._start - (x, y)).T, (self._end - (x, y)).T
        u0, v0, u1, v1 = c * x0 + s * y0, c * y0 - s * x0, c * x1 + s * y1, c * y1 - s * x1
        du, dv, b = u1 - u0, v1 - v0, self._bulge
        line = (b == 0) & ((v0 <= 0) != (v1 <= 0))
        met = [u0[line] - du[line] * v0[line] / dv[line]]
        arc = np.flatnonzero(b)
        if len(arc):
            u0, v0, u1, v1, du, dv, b = (each[arc] for each in (u0, v0, u1, v1, du, dv, b))
            size = np.hypot(du, dv)
            # (q - a) . (q - b) 2 |b| = (1 - b^2) sign(b) (chord x (q - a)), of q = (u, 0): p u^2 + q u + r = 0.
            bend = (1 - b * b) * np.sign(b)
            p = 2 * np.abs(b)
            q = bend * dv - p * (u0 + u1)
            r = p * (u0 * u1 + v0 * v1) - bend * (dv * u0 - du * v0)
            inner = q * q - 4 * p * r
            real = inner >= 0
            half = -0.5 * (q + np.copysign(np.sqrt(np.where(real, inner, 0.0)), q))
            safe = np.where(half == 0, 1.0, half)
            for u in (half / p, np.where(half == 0, 0.0, r / safe)):
                side, along = -du * v0 - dv * (u - u0), du * (u - u0) - dv * v0
                on = (side * np.sign(b) <= BESIDE * size) & (
                    np.abs(2 * along / size - size) <= (1 + BESIDE) * size
                )
                met.append(u[real & on])
        ahead = np.concatenate(met)
        ahead = ahead[ahead > 0]
        return float(ahead.min()) if len(ahead) else None
