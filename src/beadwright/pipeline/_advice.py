"""Advice on a part as it stands and for a bead: walls, lean, corners, holes, base, balance, and other poses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.arcs import fit, offset, subtract, unite
from beadwright.brep import (
    Face,
    Model,
    PlaneSurface,
    face_normals,
    placed,
    placement,
)
from beadwright.curves import ArcRegion, hull, lengths, middle_of, region_area, region_moments, signed_area
from beadwright.layers import bore_radius, round_holes
from beadwright.numeric import counted
from beadwright.pipeline._later import find_later
from beadwright.pipeline._layer_beads import walls_of
from beadwright.pipeline._load import load_kernels
from beadwright.pipeline._poses import FLAT, Pose, poses
from beadwright.pipeline._stock import stock_amounts
from beadwright.section import cut, prepare, take_plane
from beadwright.settings import PlanSettings

Array = npt.NDArray[np.float64]

SECTIONS = 16
"""Sections, about evenly spread, from which walls and the centre of mass are judged."""
FIT = 0.05
"""Tolerance of the fit of those sections, mm."""
FACES_DOWN = math.radians(45)
"""A machined face that looks farther below level faces the platform (common practice)."""
CORNER = 0.25
"""Places smaller than this times the square of a thickness are corners, not walls."""
HOLE = 3.0
"""Holes narrower than this many bead widths cannot be printed well (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """A place where a wall is out of reach: thinner than a bead, or between one and two.

    Attributes
    ----------
    at : (float, float, float)
        Machine coordinates, mm.
    area : float
        In the section, mm2.
    low, high : float
        Between which thicknesses it lies, mm.
    """

    at: tuple[float, float, float]
    area: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Advice:
    """What was measured of a part in its pose.

    Attributes
    ----------
    thickness : tuple of float
        Share of the volume in walls of each class, thin ones first.
    borders : tuple of float
        Between the classes, mm: what one bead makes at least and at most, and two.
    width : float
        Nominal, of the outer bead, mm.
    walls : tuple of Wall
        Out of reach, the largest first.
    lean : dict of int to float
        Id of a face to how far it leans beyond upright, degrees; only faces above the limit.
    inner_radius : float or None
        Least radius of a rounded inner corner of a section, mm.
    base_area : float
        Of flat faces that stand on the platform, mm2.
    centre : (float, float, float)
        Of mass, mm, from the sections.
    margin : float
        How far it lies inside the hull of what stands on the platform, mm; below 0 it tips over;
        minus infinity where it stands on no area.
    slenderness : float
        Height over the shorter side of that hull's box.
    holes : dict of int to float
        Id of the face of a round hole too narrow to print to its diameter, mm.
    poses : tuple of Pose
        The pose as it is first.
    facing_down : dict of int to float or None
        Id of a face with stock, which is machined, to how far it looks below level, degrees; only those that face the
        platform. None where no stock is asked for.
    """

    thickness: tuple[float, ...]
    borders: tuple[float, ...]
    width: float
    walls: tuple[Wall, ...]
    lean: dict[int, float]
    inner_radius: float | None
    base_area: float
    centre: tuple[float, float, float]
    margin: float
    slenderness: float
    holes: dict[int, float]
    poses: tuple[Pose, ...]
    facing_down: dict[int, float] | None = None

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        classes = [round(border / self.width, 6) for border in self.borders]
        told: dict[str, Any] = {
            "thickness_in_widths": [
                {"from": low, **({"to": high} if high is not None else {}), "share": share}
                for low, high, share in zip([0.0, *classes], [*classes, None], self.thickness, strict=True)
            ],
            "walls_out_of_reach": [
                {"at_mm": list(w.at), "area_mm2": w.area, "from_mm": w.low, "to_mm": w.high}
                for w in self.walls
            ],
            "lean_deg": {str(face): angle for face, angle in self.lean.items()},
            "base_area_mm2": self.base_area,
            "centre_mm": list(self.centre),
            "narrow_holes_mm": {str(face): size for face, size in self.holes.items()},
            "poses": [pose.as_dict() for pose in self.poses],
        }
        # A part that stands on a point or an edge has neither.
        if math.isfinite(self.margin):
            told["margin_mm"] = self.margin
        if math.isfinite(self.slenderness):
            told["slenderness"] = self.slenderness
        if self.inner_radius is not None:
            told["inner_radius_mm"] = self.inner_radius
        if self.facing_down is not None:
            told["machined_facing_down_deg"] = {str(face): angle for face, angle in self.facing_down.items()}
        return told

    def sentences(self, settings: PlanSettings) -> tuple[str, ...]:
        """What a user should look at, a sentence each."""
        said = []
        for wall in self.walls[:3]:
            x, y, z = wall.at
            if wall.low == 0.0:
                said.append(
                    f"a wall at {x:.0f}, {y:.0f}, {z:.0f} is thinner than one bead can be, {wall.high:.2f} mm"
                )
            else:
                said.append(
                    f"a wall {wall.low:.2f} to {wall.high:.2f} mm thick at {x:.0f}, {y:.0f}, {z:.0f} is too thick for"
                    " one bead, too thin for two"
                )
        if self.lean:
            face, angle = max(self.lean.items(), key=lambda pair: (pair[1], -pair[0]))
            said.append(
                f"{counted(len(self.lean), 'face leans', 'faces lean')} beyond {settings.greatest_lean():g} degrees,"
                f" face {face} most with {angle:.0f}"
            )
        if self.inner_radius is not None and self.inner_radius < settings.width_of("outer") / 2:
            said.append(
                f"an inner corner has a radius of {self.inner_radius:.2f} mm, below half a bead"
                f" ({settings.width_of('outer') / 2:g} mm): it fills up"
            )
        if self.base_area == 0.0:
            said.append("no flat face stands on the platform; turn the part or give it a flat")
        if math.isinf(self.margin):
            said.append("it stands on a point or an edge only: it tips over")
        elif self.margin < 0.0:
            said.append(
                f"its centre of mass lies {-self.margin:.0f} mm outside what it stands on: it tips over"
            )
        if 4.0 < self.slenderness < math.inf:
            said.append(f"it is {self.slenderness:.1f} times as high as its base is wide")
        if self.holes:
            face, size = min(self.holes.items(), key=lambda pair: (pair[1], pair[0]))
            said.append(
                f"{counted(len(self.holes), 'round hole is', 'round holes are')} narrower than 3 beads, face {face}"
                f" with {size:.1f} mm:"
                " print them full with `cut_later`"
            )
        if self.facing_down:
            face, angle = max(self.facing_down.items(), key=lambda pair: (pair[1], -pair[0]))
            said.append(
                f"{counted(len(self.facing_down), 'machined face looks', 'machined faces look')} at the platform, face"
                f" {face} most, {angle:.0f} degrees below level: its stock hangs or lies on the platform, and no cutter"
                " reaches it before the part is turned over"
            )
        best = min(self.poses, key=lambda pose: (pose.lean_area, pose.layers))
        if best is not self.poses[0] and best.lean_area < 0.5 * self.poses[0].lean_area:
            angles = ",".join(f"{angle:g}" for angle in best.rotate)
            said.append(
                f"`--rotate {angles}` has {best.lean_area:.0f} mm2 of leaning faces in place of"
                f" {self.poses[0].lean_area:.0f}, in {best.layers} layers"
            )
        return tuple(said)


def advise(model: Model, settings: PlanSettings) -> Advice:
    """Measure a part in its pose, for a bead.

    Parameters
    ----------
    model : Model
        As read; it has solids.
    settings : PlanSettings
        Pose, bead and limit of lean.
    """
    load_kernels()
    solid = placed(model, placement(model, settings.scale, settings.rotate, settings.at))
    regions, heights, sizes = _sections(solid)
    borders = _borders(settings)
    shares, walls = _walls(regions, heights, sizes, borders)
    centre = _centre(regions, heights, sizes)
    base, ground = _base(solid)
    limit = math.radians(settings.greatest_lean())
    wide = float(np.ptp(ground, axis=0).min()) if len(ground) else 0.0
    height = float(solid.box[1, 2] - solid.box[0, 2])
    margin = _margin(ground, np.array(centre[:2]))
    narrow = HOLE * settings.width_of("outer")
    bores = [solid.faces[row] for row in round_holes(solid, narrow)]
    holes = {face.id: 2 * bore_radius(face) for face in bores if 2 * bore_radius(face) < narrow}
    return Advice(
        thickness=shares,
        borders=borders,
        width=settings.width_of("outer"),
        walls=walls,
        lean={
            face.id: math.degrees(angle)
            for face in solid.faces
            if (angle := _leaning(face, solid)) > limit + FLAT
        },
        inner_radius=_inner_radius(regions),
        base_area=base,
        centre=centre,
        margin=margin,
        slenderness=height / wide if wide > 0.0 and math.isfinite(margin) else math.inf,
        holes=holes,
        poses=poses(model, settings),
        facing_down=_machined_down(solid, settings) if settings.stock else None,
    )


def _machined_down(solid: Model, settings: PlanSettings) -> dict[int, float]:
    """Faces with stock that face the platform, and how far below level they look at the most, degrees."""
    rows = stock_amounts(solid, settings, find_later(solid, settings, None), None)
    found = {}
    for row in rows:
        face = solid.faces[row]
        lowest = float(face_normals(face)[:, 2].min())
        if -lowest > math.sin(FACES_DOWN):
            found[face.id] = math.degrees(math.asin(min(-lowest, 1.0)))
    return found


def _sections(solid: Model) -> tuple[list[ArcRegion], list[float], list[float]]:
    """Regions at heights in the middle of slabs between flat faces, and the heights of the slabs."""
    cutter = prepare(solid)
    low, high = cutter.z_range
    flats = cutter.intervals.low[cutter.intervals.flat]
    stops = [low, *(float(z) for z in flats if low + FLAT < z < high - FLAT), high]
    asked, sizes = [], []
    for a, b in pairwise(stops):
        count = max(1, round(SECTIONS * (b - a) / (high - low)))
        asked += [a + (k + 0.5) / count * (b - a) for k in range(count)]
        sizes += [(b - a) / count] * count
    heights = [take_plane(cutter, z, "below").taken for z in asked]
    made = [unite(fit(section.loops, tolerance=FIT).region).region for section in cut(cutter, heights)]
    return made, heights, sizes


def _borders(settings: PlanSettings) -> tuple[float, ...]:
    """Wall thicknesses that one bead makes at least and at most, and two, mm: by width, nozzle and section."""
    one = walls_of(settings, "outer")
    overlap = settings.width_of("outer") - settings.spacing_of("outer")
    return one.least, one.most, one.two, 2 * one.most - overlap


def _walls(
    regions: Sequence[ArcRegion], heights: Sequence[float], sizes: Sequence[float], borders: Sequence[float]
) -> tuple[tuple[float, ...], tuple[Wall, ...]]:
    """Shares of the volume by thickness, by opening with discs; places out of reach.

    The thickness at a place is that of the largest disc inside the region that covers it (J. Serra, Image Analysis
    and Mathematical Morphology, 1982: granulometry by openings).
    """
    total, above = 0.0, np.zeros(len(borders))
    walls: list[Wall] = []
    for region, z, slab in zip(regions, heights, sizes, strict=True):
        total += slab * region_area(region)
        opened = [region]
        for k, size in enumerate(borders):
            kept = offset(offset(region, distance=size / 2).region, distance=-size / 2).region
            above[k] += slab * region_area(kept)
            opened.append(kept)
        for k, low in ((0, 0.0), (2, borders[1])):
            high = borders[k]
            lost = subtract(opened[k], opened[k + 1]).region
            for loop in lost.loops:
                area = signed_area(loop)
                if area > CORNER * high * high:
                    walls.append(Wall(at=(*middle_of(loop), z), area=area, low=low, high=high))
    share = np.clip(above / total, 0.0, 1.0) if total > 0 else np.ones(len(borders))
    share = np.minimum.accumulate(share)
    parts = np.abs(np.diff(np.concatenate(([1.0], share, [0.0]))))
    walls.sort(key=lambda wall: (-wall.area, wall.at))
    return tuple(float(p) for p in parts), tuple(walls)


def _centre(
    regions: Sequence[ArcRegion], heights: Sequence[float], sizes: Sequence[float]
) -> tuple[float, float, float]:
    """Centre of mass from the sections of slabs."""
    areas, sums = [], np.zeros(2)
    for region, slab in zip(regions, sizes, strict=True):
        area, moments = region_moments(region)
        areas.append(slab * area)
        sums += slab * moments
    total = math.fsum(areas)
    z = math.fsum(a * h for a, h in zip(areas, heights, strict=True))
    return float(sums[0] / total), float(sums[1] / total), z / total


def _base(solid: Model) -> tuple[float, Array]:
    """Area of flat faces on the platform, and the convex hull of what stands on it."""
    low = float(solid.box[0, 2])
    flats = [f for f in solid.faces if _flat_down(f) and abs(float(f.centroid[2]) - low) < FLAT * 1e3]
    cutter = prepare(solid)
    section = cut(cutter, [take_plane(cutter, low, "above").taken])[0]
    fitted = fit(section.loops, tolerance=FIT)
    return math.fsum(f.area for f in flats), hull(fitted.paths, tolerance=FIT)


def _flat_down(face: Face) -> bool:
    if not isinstance(face.surface, PlaneSurface):
        return False
    return float(face_normals(face, 2)[0, 2]) < -1 + FLAT


def _leaning(face: Face, solid: Model) -> float:
    """How far a face leans outwards beyond upright, rad, by its samples; 0 for what stands on the platform."""
    low = float(solid.box[0, 2])
    if _flat_down(face) and abs(float(face.centroid[2]) - low) < FLAT * 1e3:
        return 0.0
    normals = face_normals(face)
    return float(np.arcsin(np.clip(-normals[:, 2], 0.0, 1.0)).max(initial=0.0))


def _inner_radius(regions: Sequence[ArcRegion]) -> float | None:
    """Least radius of arcs that bend away from the material."""
    least = math.inf
    for region in regions:
        for loop in region.loops:
            bent = loop.bulge < -FLAT
            if bent.any():
                sweep = 4 * np.arctan(np.abs(loop.bulge[bent]))
                least = min(least, float((lengths(loop)[bent] / sweep).min()))
    return None if math.isinf(least) else least


def _margin(ground: Array, point: Array) -> float:
    """Distance of a point from the edges of a convex hull, above 0 inside; minus infinity of one without area."""
    if len(ground) < 3:
        return -math.inf
    edges = np.roll(ground, -1, axis=0) - ground
    away = point - ground
    left = edges[:, 0] * away[:, 1] - edges[:, 1] * away[:, 0]
    return float((left / np.hypot(*edges.T)).min())
