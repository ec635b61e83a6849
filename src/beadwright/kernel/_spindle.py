"""Faces that go through their own axis: nothing in the file may say which side of it is the part."""

from __future__ import annotations

import numpy as np
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.gp import gp_Ax1, gp_Pnt
from OCP.TopoDS import TopoDS

from beadwright.kernel._convert_curve import Array, xyz
from beadwright.kernel._document import Body, faces
from beadwright.numeric import Finding

PLACES = 64
"""Places of a face's profile that are looked at; one that crosses its axis and comes back between two is not seen."""

CLEAR = 1e-7
"""A profile this near to its axis, against its greatest distance, touches it and does not cross: a pole is sound."""


def through_axis(body: Body, first_row: int) -> list[Finding]:
    """A finding for each face that reaches over the axis it is turned about.

    Parameters
    ----------
    body : Body
    first_row : int
        Id of the body's first face.

    Notes
    -----
    A spindle torus, and any profile that crosses its axis, meets itself in points of the axis: an outer and an
    inner sheet. A file bounds such a sheet by a ``VERTEX_LOOP`` (ISO 10303-42), which is the same for both
    sheets and for the two together, so a reader cannot know what was drawn (the standard's own
    ``degenerate_toroidal_surface`` says it by ``select_outer``; a ``surface_of_revolution`` has no such word).
    """
    found = []
    for row, face in enumerate(faces(body.shape)):
        surface = BRepAdaptor_Surface(TopoDS.Face(face), True)
        profile = _signed_distances(surface)
        clear = CLEAR * float(np.max(np.abs(profile), initial=0.0))
        if np.any(profile > clear) and np.any(profile < -clear):
            at = surface.Value(surface.FirstUParameter(), _crossing(surface, profile))
            found.append(
                Finding(
                    code="through-axis",
                    level="warning",
                    text="this face goes through the axis it is turned about, so it is an outer and an inner sheet"
                    " at once, and the file may have meant only one: compare size and volume with the CAD, and cut"
                    " the face at its axis there",
                    face=first_row + row,
                    at_mm=(at.X(), at.Y(), at.Z()),
                )
            )
    return found


def _signed_distances(surface: BRepAdaptor_Surface) -> Array:
    """How far a profile is from its axis (mm), one side positive, at `PLACES` steps of it; empty where it has none."""
    v = _places(surface)
    if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Torus:
        torus = surface.Torus()
        return np.asarray(torus.MajorRadius() + torus.MinorRadius() * np.cos(v), dtype=float)
    if surface.GetType() != GeomAbs_SurfaceType.GeomAbs_SurfaceOfRevolution:
        return np.empty(0)
    axis = surface.AxeOfRevolution()
    offsets = np.array([_from_axis(surface.Value(surface.FirstUParameter(), t), axis) for t in v])
    farthest = offsets[np.argmax(np.linalg.norm(offsets, axis=1))]
    return np.asarray(offsets @ farthest / max(float(np.linalg.norm(farthest)), np.finfo(float).tiny))


def _places(surface: BRepAdaptor_Surface) -> Array:
    return np.linspace(surface.FirstVParameter(), surface.LastVParameter(), PLACES + 1)


def _from_axis(point: gp_Pnt, axis: gp_Ax1) -> Array:
    direction = xyz(axis.Direction())
    arm = xyz(point) - xyz(axis.Location())
    return np.asarray(arm - (arm @ direction) * direction)


def _crossing(surface: BRepAdaptor_Surface, profile: Array) -> float:
    """The profile's parameter where it first changes sides, by the straight line between two places."""
    v = _places(surface)
    sides = np.sign(profile)
    k = int(np.flatnonzero(sides[1:] != sides[:-1])[0])
    return float(v[k] + (v[k + 1] - v[k]) * profile[k] / (profile[k] - profile[k + 1]))
