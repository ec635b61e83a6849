"""A picture of a solid's faces: triangles that nothing is computed from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Triangles:
    """Faces as triangles, for the eye only.

    Attributes
    ----------
    points : (n, 3) float
        In the model's own coordinates, mm.
    corners : (m, 3) int32
        Rows of `points`, counter-clockwise seen from outside.
    face : (m,) int32
        Face of the solid that each stands for.
    chord : float
        Asked distance of triangles from their faces, mm.
    """

    points: npt.NDArray[np.float64]
    corners: npt.NDArray[np.int32]
    face: npt.NDArray[np.int32]
    chord: float
