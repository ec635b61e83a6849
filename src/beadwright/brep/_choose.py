"""Which faces a user means: by name, id, colour, kind, direction, size, or all."""

from __future__ import annotations

import difflib
import fnmatch
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep._evaluate import surface_normals
from beadwright.brep._model import Face, Model
from beadwright.brep._trim import contains
from beadwright.errors import SettingsError

Array = npt.NDArray[np.float64]

GRID = 48
"""Samples across each parameter of a face at which its direction is looked at."""
ROOM = 1e-6
"""Room of angles, in degrees, and of sizes, as a share: what writing a number down loses."""
CANDIDATES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceQuery:
    """Conditions that a face must meet, all of them; of one condition any of its values will do.

    Attributes
    ----------
    name : tuple of str
        Patterns: ``*`` any text, ``?`` one letter.
    id : tuple of int
    colour, kind : tuple of str
    facing : (float, float, float) or None
        The whole face looks along it, within `within` degrees.
    within : float
    area, radius : (float, float) or None
        Least and greatest, mm2 and mm.
    all : bool
    """

    name: tuple[str, ...] = ()
    id: tuple[int, ...] = ()
    colour: tuple[str, ...] = ()
    kind: tuple[str, ...] = ()
    facing: tuple[float, float, float] | None = None
    within: float = 5.0
    area: tuple[float, float] | None = None
    radius: tuple[float, float] | None = None
    all: bool = False

    def __str__(self) -> str:
        """The conditions as a user writes them."""
        told = [f"{key} {', '.join(map(str, getattr(self, key)))}" for key in _LISTS if getattr(self, key)]
        if self.facing is not None:
            told.append(f"facing {self.facing} within {self.within:g} degrees")
        for key in ("area", "radius"):
            if getattr(self, key) is not None:
                told.append("{} {:g} to {:g}".format(key, *getattr(self, key)))
        return " and ".join(told) or "all"


_LISTS = ("name", "id", "colour", "kind")


def choose(model: Model, query: FaceQuery, *, what: str) -> tuple[int, ...]:
    """Rows of the faces of a placed model that meet all conditions.

    Parameters
    ----------
    model : Model
        Placed, so that directions and sizes are those on the platform.
    query : FaceQuery
    what : str
        What asks, for the error: ``stock``, say.

    Returns
    -------
    tuple of int
        At least one, ascending.

    Raises
    ------
    SettingsError
        No face meets them; the message names the nearest candidates.
    """
    rows = tuple(row for row, face in enumerate(model.faces) if _meets(face, query))
    if rows:
        return rows
    raise SettingsError(f"{what}: no face of {model.file} has {query}; {_nearest(model, query)}")


def _meets(face: Face, query: FaceQuery) -> bool:
    return all(
        (
            not query.name or any(fnmatch.fnmatchcase(face.name, pattern) for pattern in query.name),
            not query.id or face.id in query.id or face.like in query.id,
            not query.colour or face.colour.lower() in {c.lower() for c in query.colour},
            not query.kind or face.kind in query.kind,
            query.area is None or _between(face.area, query.area),
            query.radius is None or _between(face.radius, query.radius),
            query.facing is None or turned_from(face, query.facing) <= query.within + ROOM,
        )
    )


def _between(value: float, ends: tuple[float, float]) -> bool:
    return ends[0] * (1 - ROOM) <= value <= ends[1] * (1 + ROOM)


def face_normals(face: Face, grid: int = GRID) -> Array:
    """Outward unit normals at places spread over a face and along its outline, (k, 3)."""
    low, high = face.uv_box
    share = (np.arange(grid) + 0.5) / grid
    u, v = np.meshgrid(low[0] + share * (high[0] - low[0]), low[1] + share * (high[1] - low[1]))
    uv = np.stack((u.ravel(), v.ravel()), axis=1)
    uv = np.concatenate((uv[contains(face, uv)], *(coedge.uv for wire in face.wires for coedge in wire)))
    normals = surface_normals(face.surface, uv)
    normals = normals[np.any(normals != 0.0, axis=1)]
    return normals if face.outward else -normals


def turned_from(face: Face, direction: Sequence[float]) -> float:
    """Greatest angle of a face's normal to a direction, degrees, by samples (exact for planes)."""
    way = np.asarray(direction, dtype=float)
    normals = face_normals(face)
    if not len(normals):
        return 180.0
    cosine = np.clip(normals @ (way / np.linalg.norm(way)), -1.0, 1.0)
    return float(np.degrees(np.arccos(cosine.min())))


def _nearest(model: Model, query: FaceQuery) -> str:
    """What there is instead, the likeliest first."""
    if query.name:
        names = sorted({face.name for face in model.faces if face.name})
        if not names:
            return "its faces have no names; choose by id, kind, facing or area (`examine` lists them)"
        near: list[str] = []
        for pattern in query.name:
            bare = pattern.replace("*", "").replace("?", "")
            near += difflib.get_close_matches(bare, names, n=CANDIDATES, cutoff=0.0)
        return "nearest names: " + ", ".join(dict.fromkeys(near))
    if query.id:
        return f"its faces are numbered 0 to {len(model.faces) - 1}"
    if query.colour:
        return "its colours: " + (", ".join(sorted({f.colour for f in model.faces if f.colour})) or "none")
    if query.kind and not any(face.kind in query.kind for face in model.faces):
        return "its kinds: " + ", ".join(sorted({face.kind for face in model.faces}))
    off = [_away(face, query) for face in model.faces]
    rows = sorted(range(len(off)), key=off.__getitem__)[:CANDIDATES]
    told = [f"face {model.faces[row].id} ({_sizes(model.faces[row], query)})" for row in rows]
    return "nearest: " + ", ".join(told)


def _away(face: Face, query: FaceQuery) -> float:
    """How far a face is from meeting what is measured, without unit."""
    off = 0.0 if not query.kind or face.kind in query.kind else 1e6
    for value, ends in ((face.area, query.area), (face.radius, query.radius)):
        if ends is not None:
            off += max(ends[0] - value, value - ends[1], 0.0) / max(ends[1], 1.0)
    if query.facing is not None:
        off += max(turned_from(face, query.facing) - query.within, 0.0) / 180.0
    return off


def _sizes(face: Face, query: FaceQuery) -> str:
    told = [face.kind]
    if query.area is not None:
        told.append(f"{face.area:.6g} mm2")
    if query.radius is not None:
        told.append(f"radius {face.radius:.6g} mm")
    if query.facing is not None:
        told.append(f"turned by up to {turned_from(face, query.facing):.3g} degrees")
    return ", ".join(told)
