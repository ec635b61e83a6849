"""A part cut by planes into segments, as plain values: no CAD kernel."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CutFace:
    """Where a plane cut a segment off.

    Attributes
    ----------
    plane : int
        Which of the planes, from 0.
    normal : (float, float, float)
        Out of the segment, in the model's coordinates.
    area : float
        mm2.
    """

    plane: int
    normal: tuple[float, float, float]
    area: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """One segment of a part.

    Attributes
    ----------
    sides : tuple of int
        Of each plane the side on which it lies: 1 where the normal points, else -1.
    step : bytes
        Its solids as a STEP file, in the model's coordinates, mm.
    solids : int
    volume : float
        mm3.
    box : ((float, float, float), (float, float, float))
        Least and greatest x, y, z as the kernel encloses them, mm.
    faces : tuple of CutFace
        One for each plane that bounds it.
    """

    sides: tuple[int, ...]
    step: bytes
    solids: int
    volume: float
    box: tuple[tuple[float, float, float], tuple[float, float, float]]
    faces: tuple[CutFace, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Segments:
    """All segments of a part.

    Attributes
    ----------
    file, sha256 : str
        Of the whole.
    volume : float
        Of the whole, measured like those of the segments, mm3.
    error : float
        What the quadrature of all volumes states as its own error, mm3.
    segments : tuple of Segment
        From the lowest side of the first plane on.
    """

    file: str
    sha256: str
    volume: float
    error: float
    segments: tuple[Segment, ...]

    def off(self) -> float:
        """What the volumes of the segments and of the whole differ by, relative."""
        return abs(sum(segment.volume for segment in self.segments) - self.volume) / self.volume
