"""Heights measured on a rectangular grid, and the bilinear surface through them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Cells(NamedTuple):
    """The bilinear surface in some cells: z = z0 + a u + b v + d u v with u, v from the cell's lowest corner, mm.

    Attributes
    ----------
    x, y : (k,) float
        Lowest corner of each.
    z0, a, b, d : (k,) float
        Height there, slopes along X and Y there, twist in 1/mm.
    slope : (k,) float
        Greatest slope anywhere in each: that of a corner, since the squared slope is convex.
    """

    x: Floats
    y: Floats
    z0: Floats
    a: Floats
    b: Floats
    d: Floats
    slope: Floats

    def height(self, points: Floats) -> Floats:
        """Height of the surface at a point of each cell, mm: (k,)."""
        u, v = points[:, 0] - self.x, points[:, 1] - self.y
        return np.asarray(self.z0 + self.a * u + self.b * v + self.d * u * v)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BedMap:
    """Measured heights of a platform, mm, program coordinates.

    Attributes
    ----------
    file : str
        Name of the file that they come from.
    sha256 : str
        Of the file.
    x : (n,) float
        Grid lines, ascending, at least two.
    y : (m,) float
        Likewise.
    z : (m, n) float
        Height above program zero at each crossing, a row for each y.

    Notes
    -----
    Between the grid lines the surface is bilinear: straight along X and along Y, and continuous.
    """

    file: str
    sha256: str
    x: Floats
    y: Floats
    z: Floats

    @property
    def box(self) -> Floats:
        """Least and greatest x, y that it covers, (2, 2), mm."""
        return np.array([[self.x[0], self.y[0]], [self.x[-1], self.y[-1]]])

    def cell_of(self, points: Floats) -> Ints:
        """Index of the cell that holds each point, the nearest one outside: (k,)."""
        column = np.clip(np.searchsorted(self.x, points[:, 0], side="right") - 1, 0, len(self.x) - 2)
        row = np.clip(np.searchsorted(self.y, points[:, 1], side="right") - 1, 0, len(self.y) - 2)
        return np.asarray(row * (len(self.x) - 1) + column, dtype=np.int64)

    def cells(self, index: Ints) -> Cells:
        """The surface in cells of some indices."""
        row, column = np.divmod(index, len(self.x) - 1)
        x0, y0 = self.x[column], self.y[row]
        wide, deep = self.x[column + 1] - x0, self.y[row + 1] - y0
        z00, z10 = self.z[row, column], self.z[row, column + 1]
        z01, z11 = self.z[row + 1, column], self.z[row + 1, column + 1]
        a, b = (z10 - z00) / wide, (z01 - z00) / deep
        d = (z11 - z10 - z01 + z00) / (wide * deep)
        slope = np.hypot(
            np.maximum(np.abs(a), np.abs(a + d * deep)), np.maximum(np.abs(b), np.abs(b + d * wide))
        )
        return Cells(x=x0, y=y0, z0=z00, a=a, b=b, d=d, slope=slope)

    def height(self, points: Floats) -> Floats:
        """Height of the surface at some points, mm: (k,); they lie in `box`.

        Examples
        --------
        >>> saddle = BedMap(file="", sha256="", x=np.array([0.0, 2.0]), y=np.array([0.0, 2.0]),
        ...                 z=np.array([[0.0, 0.0], [0.0, 4.0]]))
        >>> saddle.height(np.array([[1.0, 1.0], [2.0, 1.0]])).tolist()
        [1.0, 2.0]
        """
        return self.cells(self.cell_of(points)).height(points)
