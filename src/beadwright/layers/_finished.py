"""What a layer leaves beyond another solid, the finished part: stock measured in the plane, by face of that solid.

In a slab the finished part reaches at most to the boundary of all that it covers anywhere in it, its outer region:
there the least stock of a face lies. The greatest is looked for on that, on the boundary of what it covers
everywhere, and on its sections at both ends of the slab. Both are found by bisection: the distance from the layer's
boundary changes along a path by no more than the way, so a piece whose middle is far enough from the record cannot
hold a new one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs import fit, subtract
from beadwright.brep import Model
from beadwright.curves import ArcPath, chords, distances, inside, lengths, part_of_way, region_area
from beadwright.layers._folds import Folds, find_folds
from beadwright.layers._plan import OPEN, Rule
from beadwright.layers._region import LayerRegion
from beadwright.layers._rule import rule_region
from beadwright.numeric import Finding
from beadwright.section import Cutter, Section, cut, prepare, take_plane

Floats = npt.NDArray[np.float64]

NEAR = 0.05
"""How well the least and the greatest stock are known, mm: a tenth of what is cut at the least."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finished:
    """The finished part, placed as the printed one is, ready for planes; pickles. Made by `finished_part`."""

    cutter: Cutter
    folds: Folds


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceLeft:
    """Stock that a layer leaves on a face of the finished part.

    Attributes
    ----------
    face : int
        Row of the face.
    least, greatest : float
        Distance of the finished part's boundary from the layer's, mm; below 0 where it lies outside.
    at : (float, float)
        Where it is least, mm.
    """

    face: int
    least: float
    greatest: float
    at: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerLeft:
    """What a layer leaves beyond the finished part.

    Attributes
    ----------
    faces : tuple of FaceLeft
        By rising row.
    outside : float
        Area of what the finished part covers in the slab beside the layer's region, mm2.
    bound : float
        How far `least` and `greatest` may be off, mm.
    findings : tuple of Finding
        Of the finished part's own regions.
    """

    faces: tuple[FaceLeft, ...]
    outside: float
    bound: float
    findings: tuple[Finding, ...] = ()


def finished_part(model: Model) -> Finished:
    """A placed finished part made ready for layers."""
    return Finished(cutter=prepare(model), folds=find_folds(model))


def layer_left(layer: LayerRegion, finished: Finished, *, tolerance: float) -> LayerLeft | None:
    """Measure what a layer leaves beyond the finished part.

    Parameters
    ----------
    layer : LayerRegion
        As printed.
    finished : Finished
    tolerance : float
        Of the arcs that stand for the finished part's curves, mm.

    Returns
    -------
    LayerLeft or None
        None where the finished part does not reach into the slab.
    """
    plan = layer.plan
    lowest, highest = finished.cutter.z_range
    bottom = take_plane(finished.cutter, max(plan.z0, lowest) + OPEN, "above").taken
    top = take_plane(finished.cutter, min(plan.z, highest) - OPEN, "below").taken
    if not bottom < top:
        return None
    low, high = cut(finished.cutter, [bottom, top])

    def region(rule: Rule) -> LayerRegion:
        return rule_region(
            replace(plan, rule=rule), finished.folds, low, high, cut_at=cut_at, tolerance=tolerance
        )

    def cut_at(heights: Sequence[float]) -> Sequence[Section]:
        return cut(finished.cutter, [take_plane(finished.cutter, z, "below").taken for z in heights])

    outer, inner = region("outer"), region("inner")
    if not outer.region.loops:
        return None
    ends = [fit(section.loops, tolerance=tolerance) for section in (low, high)]
    least = _extremes(outer.region.loops, layer, 1.0)
    every = (outer.region, inner.region, *(each.region for each in ends))
    greatest = _extremes([loop for region in every for loop in region.loops], layer, -1.0)
    outside = subtract(outer.region, layer.region)
    own = max(each.budget.total + each.budget.model for each in (outer, inner))
    return LayerLeft(
        faces=tuple(
            FaceLeft(face=face, least=value, greatest=-greatest[face][0], at=at)
            for face, (value, at) in sorted(least.items())
        ),
        outside=region_area(outside.region),
        bound=NEAR + own + layer.budget.total + layer.budget.model,
        findings=(*outer.findings, *inner.findings),
    )


def _extremes(
    paths: Sequence[ArcPath], layer: LayerRegion, sign: float
) -> dict[int, tuple[float, tuple[float, float]]]:
    """Least signed distance (times a sign) of a face's moves from the layer's boundary, mm, and its place, by face."""
    known = [path for path in paths if (path.face >= 0).any()]
    if not known:
        return {}
    start = np.concatenate([path.points[: len(path.bulge)] for path in known])
    chord = np.concatenate([chords(path) for path in known])
    bulge = np.concatenate([path.bulge for path in known])
    size = np.concatenate([lengths(path) for path in known])
    face = np.concatenate([path.face for path in known])
    best: dict[int, tuple[float, tuple[float, float]]] = {}
    # Pieces of moves: row, middle and half of their share of it.
    row = np.flatnonzero(face >= 0)
    middle, half = np.full(len(row), 0.5), np.full(len(row), 0.5)
    while len(row):
        at = start[row] + part_of_way(chord[row], bulge[row], middle)
        depth = distances(layer.region.loops, at)
        value = sign * np.where(inside(layer.region, at), depth, -depth)
        for own in np.unique(face[row]).tolist():
            mine = np.flatnonzero(face[row] == own)
            low = int(mine[np.argmin(value[mine])])
            if own not in best or value[low] < best[own][0]:
                best[own] = (float(value[low]), (float(at[low, 0]), float(at[low, 1])))
        record = np.array([best[own][0] for own in face[row].tolist()])
        reach = half * size[row]
        split = np.flatnonzero((value - reach < record - NEAR) & (reach > NEAR))
        row = np.repeat(row[split], 2)
        quarter = half[split] / 2
        middle = np.column_stack([middle[split] - quarter, middle[split] + quarter]).ravel()
        half = np.repeat(quarter, 2)
    return best
