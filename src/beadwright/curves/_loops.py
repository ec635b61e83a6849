"""The exact curves of plane sections as one flat table, in the order in which they close loops."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt


class CurveKind(IntEnum):
    """What a curve of a section is, exactly."""

    LINE = 0
    CIRCLE = 1
    ELLIPSE = 2
    PARABOLA = 3
    HYPERBOLA = 4
    SPLINE = 5
    """A polynomial or rational spline, exact: the section of an extrusion, say."""
    LEVEL = 6
    """A level curve without such a form, carried as a spline within `CurveLoops.bound`."""
    CONNECTOR = 7
    """A straight line over a gap that the file itself leaves; its length counts as `model`."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CurveLoops:
    """Closed and open chains of exact plane curves, as flat arrays (n curves, p Bézier pieces).

    Curve ``i`` of a chain ends bit for bit where curve ``i + 1`` starts; in a closed chain the last
    ends where the first starts. Material lies left of the direction.

    Attributes
    ----------
    kind : (n,) int8
        `CurveKind` of each curve.
    face : (n,) int32
        Face that each curve lies on; -1 for a connector.
    ends : (n, 4) float
        Start x, y and end x, y, mm.
    circle : (n, 4) float
        Centre x, y, radius and sweep (rad, signed; +-2 pi for a full circle) where the kind is CIRCLE,
        else 0. The start angle is that of the start point.
    first_piece : (n + 1,) int32
        Curve ``i`` (not LINE, CIRCLE, CONNECTOR) owns the Bézier pieces ``first_piece[i]`` up to
        ``first_piece[i + 1]``; their ends meet, the first and last lie at the curve's ends.
    degree : (p,) int32
        Degree of each Bézier piece.
    first_control : (p + 1,) int32
        Where the control points of each piece begin: ``degree + 1`` rows of `control`.
    control : (c, 3) float
        Homogeneous control points ``(w x, w y, w)`` with ``w > 0``, mm.
    bound : (n,) float
        Distance from the carried curve to the true one, mm, as Frechet distance; for LINE and
        CIRCLE the rounding of their own numbers.
    first_curve : (m + 1,) int32
        Chain ``j`` owns the curves ``first_curve[j]`` up to ``first_curve[j + 1]``.
    closed : (m,) bool
        Whether each chain is closed. Open ones occur only for surfaces taken as walls.
    """

    kind: npt.NDArray[np.int8]
    face: npt.NDArray[np.int32]
    ends: npt.NDArray[np.float64]
    circle: npt.NDArray[np.float64]
    first_piece: npt.NDArray[np.int32]
    degree: npt.NDArray[np.int32]
    first_control: npt.NDArray[np.int32]
    control: npt.NDArray[np.float64]
    bound: npt.NDArray[np.float64]
    first_curve: npt.NDArray[np.int32]
    closed: npt.NDArray[np.bool_]

    @property
    def n_chains(self) -> int:
        """Number of chains."""
        return len(self.closed)
