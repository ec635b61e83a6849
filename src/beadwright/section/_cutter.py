"""A placed model made ready for many planes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import Face, Model, OffsetSurface, SplineSurface
from beadwright.section._faces import Faces, flat_faces, pack_faces
from beadwright.section._free import FreeFace, pack_free
from beadwright.section._heights import Intervals, Side, TakenPlane, find_intervals, take
from beadwright.section._kernels import codes
from beadwright.section._pieces import Pieces, cut_edges

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Uses:
    """Uses of edge pieces by faces (n uses).

    Attributes
    ----------
    face, piece : (n,) int64
    sense : (n,) int64
        1 if the piece is walked from its start with the face on the left.
    """

    face: Ints
    piece: Ints
    sense: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutter:
    """All that sections need of a placed model; flat arrays that pickle. Made by `prepare`.

    Attributes
    ----------
    pieces, uses, faces : Pieces, Uses, Faces
    intervals : Intervals
        Heights at which no plane is taken.
    free : dict of int to FreeFace
        Packed free-form faces, by row.
    outline : tuple of Face
        For the test whether a point belongs to a face.
    face_shell : (faces,) int64
    shell_solid : (shells,) int64
        -1 for a loose surface.
    shell_closed : (shells,) bool
    face_z : (faces, 2) float
        Least and greatest z that a section of each face can have.
    z_range : (float, float)
        Of the whole model, mm.
    """

    pieces: Pieces
    uses: Uses
    faces: Faces
    intervals: Intervals
    free: dict[int, FreeFace]
    outline: tuple[Face, ...]
    face_shell: Ints
    shell_solid: Ints
    shell_closed: npt.NDArray[np.bool_]
    face_z: Array
    z_range: tuple[float, float]


def prepare(model: Model) -> Cutter:
    """Make a placed model ready for horizontal planes.

    Parameters
    ----------
    model : brep.Model
        Placed: z is the normal of the planes. For oblique planes turn the model.

    Returns
    -------
    Cutter
        Takes some milliseconds to a second, once for any number of planes.

    Notes
    -----
    Edges are cut here, before any plane is known, at the turning points of z, so that a piece has one
    node exactly if its end signs differ (simulation of simplicity: H. Edelsbrunner, E. Muecke, ACM Trans.
    Graphics 9 (1990) 66-104).
    """
    pieces = cut_edges(model)
    faces = pack_faces(model)
    face_shell = np.zeros(len(model.faces), dtype=np.int64)
    for row, shell in enumerate(model.shells):
        face_shell[list(shell.faces)] = row
    uses = _uses(model, pieces)
    free: dict[int, FreeFace] = {}
    for row in map(int, np.flatnonzero(faces.kind == codes.FREE)):
        face = model.faces[row]
        assert isinstance(face.surface, SplineSurface | OffsetSurface)
        free[row] = pack_free(face.surface, face.uv_box)
    face_z = _face_heights(pieces, uses, faces, free)
    return Cutter(
        pieces=pieces,
        uses=uses,
        faces=faces,
        intervals=find_intervals(model, pieces, flat_faces(model)),
        free=free,
        outline=model.faces,
        face_shell=face_shell,
        shell_solid=np.array([s.solid for s in model.shells], dtype=np.int64),
        shell_closed=np.array([s.closed for s in model.shells], dtype=bool),
        face_z=face_z,
        z_range=(float(model.box[0, 2]), float(model.box[1, 2])),
    )


def _uses(model: Model, pieces: Pieces) -> Uses:
    face, piece, sense = [], [], []
    for row, each in enumerate(model.faces):
        for wire in each.wires:
            for coedge in wire:
                own = range(pieces.first[coedge.edge], pieces.first[coedge.edge + 1])
                face += [row] * len(own)
                piece += list(own)
                sense += [int(coedge.forward)] * len(own)
    return Uses(
        face=np.array(face, dtype=np.int64),
        piece=np.array(piece, dtype=np.int64),
        sense=np.array(sense, dtype=np.int64),
    )


def _face_heights(pieces: Pieces, uses: Uses, faces: Faces, free: dict[int, FreeFace]) -> Array:
    out = np.stack((np.full(len(faces.kind), np.inf), np.full(len(faces.kind), -np.inf)), axis=1)
    low = np.minimum(pieces.sign_z.min(axis=1), pieces.end_z.min(axis=1))
    high = np.maximum(pieces.sign_z.max(axis=1), pieces.end_z.max(axis=1))
    np.minimum.at(out[:, 0], uses.face, low[uses.piece])
    np.maximum.at(out[:, 1], uses.face, high[uses.piece])
    out[:, 0] = np.minimum(out[:, 0], faces.reach[:, 0])
    out[:, 1] = np.maximum(out[:, 1], faces.reach[:, 1])
    for row, face in free.items():
        out[row, 0] = min(out[row, 0], float(face.z_range[:, 0].min()))
        out[row, 1] = max(out[row, 1], float(face.z_range[:, 1].max()))
    return out


def take_plane(cutter: Cutter, asked: float, side: Side) -> TakenPlane:
    """The height really used for a plane, mm.

    Parameters
    ----------
    cutter : Cutter
    asked : float
        mm.
    side : {"above", "below"}
        To which side the plane moves if it lies in an interval or within 1e-6 of it.

    Returns
    -------
    TakenPlane
        `taken` is 1e-6 beyond the interval, `why` says what lies there; else `asked`, "".
    """
    return take(cutter.intervals, asked, side)
