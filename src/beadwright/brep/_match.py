"""Faces of an earlier state of a part found again in a revision: by name, then by signature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from beadwright.brep._model import Model

SAME_AREA = 1e-6
"""Share of its area by which a face that was not changed may differ."""
SAME_PLACE = 1e-3
"""Distance of centroids of a face that was not changed, mm."""
LIKE_AREA = 0.25
"""Share of its area by which a face that is taken for the same may have changed."""
LIKE_PLACE = 0.5
"""Distance of centroids, in sizes (root of the area), of a face that is taken for the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceMark:
    """What is remembered of a face: id, name, kind, area (mm2), centroid (mm, as read), radius (mm)."""

    id: int
    name: str
    kind: str
    area: float
    centroid: tuple[float, float, float]
    radius: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Matched:
    """Faces found again.

    Attributes
    ----------
    row : mapping of int to int
        Id of then to row of now.
    changed : tuple of (int, str)
        Ids of then whose face of now differs, and in what, in words.
    missing : tuple of int
        Ids of then without a face of now.
    """

    row: Mapping[int, int]
    changed: tuple[tuple[int, str], ...]
    missing: tuple[int, ...]


def face_marks(model: Model) -> tuple[FaceMark, ...]:
    """Signatures of all faces of a model as read."""
    return tuple(
        FaceMark(
            id=face.id,
            name=face.name,
            kind=face.kind,
            area=face.area,
            centroid=(float(face.centroid[0]), float(face.centroid[1]), float(face.centroid[2])),
            radius=face.radius,
        )
        for face in model.faces
    )


def match_faces(then: Sequence[FaceMark], now: Sequence[FaceMark]) -> Matched:
    """Find faces again; every face of now is taken once, the surest pairs first.

    A name that stands once in both parts decides. Then come faces of one kind by likeness of area, place and
    radius, those that did not change before those that did, and among them those that share a name.

    Parameters
    ----------
    then, now : sequence of FaceMark
        In the parts' own coordinates.
    """
    names_then, names_now = [f.name for f in then], [f.name for f in now]
    row: dict[int, int] = {}
    for old in then:
        if old.name and names_then.count(old.name) == 1 and names_now.count(old.name) == 1:
            row[old.id] = names_now.index(old.name)
    taken = set(row.values())
    ways = []
    for old in then:
        if old.id in row:
            continue
        for at, new in enumerate(now):
            if at in taken or new.kind != old.kind:
                continue
            off = _unlike(old, new)
            if off is not None:
                ways.append((off, old.name != new.name, old.id, at))
    for _, _, id_then, at in sorted(ways):
        if id_then not in row and at not in taken:
            row[id_then] = at
            taken.add(at)
    told = {old.id: _difference(old, now[row[old.id]]) for old in then if old.id in row}
    return Matched(
        row=row,
        changed=tuple((key, text) for key, text in told.items() if text),
        missing=tuple(old.id for old in then if old.id not in row),
    )


def _unlike(old: FaceMark, new: FaceMark) -> float | None:
    """0 for the same signature, more for what changed, None for what cannot be the same face."""
    size = max(float(np.sqrt(max(old.area, new.area))), SAME_PLACE)
    area = abs(new.area - old.area) / max(old.area, new.area, SAME_PLACE)
    place = float(np.linalg.norm(np.subtract(new.centroid, old.centroid))) / size
    radius = abs(new.radius - old.radius) / max(old.radius, new.radius, SAME_PLACE)
    if area > LIKE_AREA or place > LIKE_PLACE or radius > LIKE_AREA:
        return None
    return area + place + radius


def _difference(old: FaceMark, new: FaceMark) -> str:
    told = []
    if new.kind != old.kind:
        told.append(f"{old.kind} is now {new.kind}")
    if abs(new.area - old.area) > SAME_AREA * max(old.area, new.area):
        told.append(f"area {old.area:.6g} to {new.area:.6g} mm2")
    moved = float(np.linalg.norm(np.subtract(new.centroid, old.centroid)))
    if moved > SAME_PLACE:
        told.append(f"its centroid moved by {moved:.4g} mm")
    if abs(new.radius - old.radius) > SAME_PLACE:
        told.append(f"radius {old.radius:.6g} to {new.radius:.6g} mm")
    return ", ".join(told)
