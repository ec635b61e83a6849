"""Holes and pockets that are printed full and cut later: their loops are left out of every layer."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.brep import (
    Face,
    LineProfile,
    Model,
    RevolutionSurface,
    edge_uses,
    surface_normals,
    surface_points,
)
from beadwright.curves import chain_measures, kept_chains
from beadwright.layers._folds import Folds
from beadwright.numeric import gathered
from beadwright.section import Section

Array = npt.NDArray[np.float64]

FULL_TURN = 2 * math.pi * (1 - 1e-6)
"""Faces that reach less far round their axis are no hole but a rounded corner, rad."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LaterFeature:
    """Faces that hang together and are cut later: rows of the model's faces, ascending."""

    faces: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """What a layer leaves out: number of the feature, area (mm2)."""

    feature: int
    area: float


def later_features(model: Model, rows: Iterable[int]) -> tuple[LaterFeature, ...]:
    """Faces to be cut later, gathered by the edges that they share."""
    beside: dict[int, set[int]] = {row: set() for row in rows}
    for used in edge_uses(model):
        own = {use.face for use in used} & beside.keys()
        for row in own:
            beside[row] |= own
    return tuple(LaterFeature(faces=rows) for rows in gathered(beside))


def round_holes(model: Model, diameter: float) -> tuple[int, ...]:
    """Rows of faces that bore into the solid: cylinders and cones seen from inside, up to a diameter, mm.

    Those that share edges go all round together: a rounded inner corner is no hole, nor is the end of a slot.
    """
    found = later_features(
        model, (row for row, face in enumerate(model.faces) if bore_radius(face) * 2 <= diameter)
    )
    around = [sum(float(np.ptp(model.faces[row].uv_box[:, 0])) for row in each.faces) for each in found]
    return tuple(
        row for each, turn in zip(found, around, strict=True) if turn >= FULL_TURN for row in each.faces
    )


def bore_radius(face: Face) -> float:
    """Greatest radius of a cylinder or cone whose material lies outside of it, mm; infinite for all other faces."""
    surface = face.surface
    if not (isinstance(surface, RevolutionSurface) and isinstance(surface.profile, LineProfile)):
        return float("inf")
    low, high = face.uv_box
    middle = 0.5 * (low + high)[None]
    point, normal = surface_points(surface, middle)[0], surface_normals(surface, middle)[0]
    axis = surface.frame.axes[2]
    radial = point - surface.frame.origin
    radial = radial - (radial @ axis) * axis
    if float(radial @ normal) * (1.0 if face.outward else -1.0) >= 0.0:
        return float("inf")
    profile = surface.profile
    return float(np.abs(profile.r0 + np.array([low[1], high[1]]) * profile.dr).max())


def leave_out(
    sections: Sequence[Section], features: Sequence[LaterFeature]
) -> tuple[tuple[Section, ...], tuple[tuple[LeftOut, ...], ...], frozenset[int]]:
    """Leave out the hole loops all of whose curves belong to one feature.

    A feature that is cut in the open in one of the sections, as a bore across the layers is, stays in all of
    them.

    Parameters
    ----------
    sections : sequence of Section
        Of one slab.
    features : sequence of LaterFeature

    Returns
    -------
    sections : tuple of Section
        Without those loops.
    left_out : tuple of tuple of LeftOut
        Of each section.
    open_faces : frozenset of int
        Faces of features that stay.
    """
    if not features:
        return tuple(sections), tuple(() for _ in sections), frozenset()
    owner = {face: number for number, feature in enumerate(features) for face in feature.faces}
    told = [_holes(section, owner) for section in sections]
    stay = frozenset(number for _, _, others in told for number in others)
    out, left = [], []
    for section, (holes, areas, _) in zip(sections, told, strict=True):
        gone = np.array([number >= 0 and number not in stay for number in holes], dtype=bool)
        left.append(
            tuple(LeftOut(feature=int(holes[j]), area=abs(float(areas[j]))) for j in np.flatnonzero(gone))
        )
        out.append(_without(section, gone) if gone.any() else section)
    faces = frozenset(face for number in stay for face in features[number].faces)
    return tuple(out), tuple(left), faces & _faces_of(sections)


def _holes(section: Section, owner: dict[int, int]) -> tuple[list[int], Array, set[int]]:
    """The feature of each chain that is a hole of one (-1: none), areas, features met elsewhere."""
    loops = section.loops
    areas = chain_measures(loops)[0]
    holes, others = [], set()
    for j in range(loops.n_chains):
        faces = loops.face[loops.first_curve[j] : loops.first_curve[j + 1]]
        own = {owner.get(face, -1) for face in faces.tolist() if face >= 0}
        if len(own) == 1 and areas[j] < 0 and loops.closed[j] and min(own) >= 0:
            holes.append(own.pop())
        else:
            holes.append(-1)
            others |= own - {-1}
    return holes, areas, others


def _without(section: Section, gone: npt.NDArray[np.bool_]) -> Section:
    return replace(
        section,
        loops=kept_chains(section.loops, ~gone),
        shell=section.shell[~gone],
        solid=section.solid[~gone],
    )


def _faces_of(sections: Sequence[Section]) -> frozenset[int]:
    return frozenset(face for section in sections for face in section.loops.face.tolist())


def without_folds(folds: Folds, features: Sequence[LaterFeature], stay: Collection[int]) -> Folds:
    """Folds but for those along faces of features that are left out of a slab."""
    gone = {
        f for feature in features for f in feature.faces if not stay or not set(feature.faces) & set(stay)
    }
    return replace(folds, folds=tuple(fold for fold in folds.folds if not gone & {fold.face, *fold.beside}))
