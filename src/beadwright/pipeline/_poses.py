"""Poses of a part side by side: each large flat face down."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model, PlaneSurface, extents, face_normals, placement
from beadwright.settings import PlanSettings

Array = npt.NDArray[np.float64]

FLAT = 1e-6
"""A face whose normal is this near to the vertical, as a cosine, is flat."""
POSES = 6
"""Poses that are compared at most, those with the largest faces down."""
LARGE = 0.02
"""A face is large enough to stand on if it has this share of the largest one's area."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """A pose with a large flat face down.

    Attributes
    ----------
    rotate : (float, float, float)
        Degrees, as `--rotate` takes them.
    layers : int
    height, base_area, lean_area : float
        mm, mm2, mm2.
    """

    rotate: tuple[float, float, float]
    layers: int
    height: float
    base_area: float
    lean_area: float

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        return {
            "rotate_deg": list(self.rotate),
            "layers": self.layers,
            "height_mm": self.height,
            "base_area_mm2": self.base_area,
            "lean_area_mm2": self.lean_area,
        }


def poses(model: Model, settings: PlanSettings) -> tuple[Pose, ...]:
    """The pose as it is, and each large flat face down."""
    limit = math.sin(math.radians(settings.greatest_lean())) + FLAT
    samples = [(face_normals(face, 8), face.area) for face in model.faces]
    planes: list[tuple[Array, float]] = []
    for face in model.faces:
        if not isinstance(face.surface, PlaneSurface):
            continue
        normal = face_normals(face, 2)[0]
        for row, (other, area) in enumerate(planes):
            if float(normal @ other) > 1 - FLAT:
                planes[row] = other, max(area, face.area)
                break
        else:
            planes.append((normal, face.area))
    planes.sort(key=lambda pair: -pair[1])
    large = [n for n, area in planes if area >= LARGE * planes[0][1]][:POSES]
    angles = [settings.rotate, *(_down(normal) for normal in large)]
    made: dict[tuple[float, ...], Pose] = {}
    for rotate in angles:
        turn = placement(model, 1.0, rotate)[:, :3]
        key = tuple(np.round(turn[2], 9).tolist())
        if key not in made:
            made[key] = _pose(model, turn, rotate, samples, limit, settings)
    return tuple(made.values())


def _pose(
    model: Model,
    turn: Array,
    rotate: tuple[float, float, float],
    samples: Sequence[tuple[Array, float]],
    limit: float,
    settings: PlanSettings,
) -> Pose:
    up = turn[2]
    ends = extents(model, up[None])[:, 0]
    height = settings.scale * float(ends[1] - ends[0])
    base = lean = 0.0
    for face, (normals, area) in zip(model.faces, samples, strict=True):
        z = normals @ up
        stands = bool(len(z)) and bool((z < -1 + FLAT).all())
        if stands and abs(float(face.centroid @ up) - float(ends[0])) < FLAT * 1e3:
            base += area
        elif len(z):
            lean += area * float((z < -limit).mean())
    return Pose(
        rotate=rotate,
        layers=max(1, math.ceil(height / settings.height - FLAT)),
        height=height,
        base_area=base * settings.scale**2,
        lean_area=lean * settings.scale**2,
    )


def _down(normal: Array) -> tuple[float, float, float]:
    """Turns about X, then Y that bring a direction down."""
    x, y, z = (float(v) for v in normal)
    if z < -1 + FLAT:
        return 0.0, 0.0, 0.0
    about_x = math.degrees(math.atan2(y, z)) if math.hypot(y, z) > FLAT else 0.0
    # then it lies in the plane of X and Z, at height hypot(y, z)
    about_y = math.degrees(math.atan2(x, -math.hypot(y, z)))
    turns = (about_x, about_y)
    return round(turns[0], 12) + 0.0, round(turns[1], 12) + 0.0, 0.0
