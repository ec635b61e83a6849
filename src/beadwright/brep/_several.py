"""Several placed models as one: tables set one behind the other, every copy a solid of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from beadwright.brep._model import Coedge, Edge, Face, Model, Shell, Solid
from beadwright.brep._triangles import Triangles


def several(models: Sequence[Model], kernel_bytes: bytes = b"") -> Model:
    """One model of several that are placed already.

    Parameters
    ----------
    models : sequence of Model
        At least one. Of those with the same SHA-256 the later ones are copies of the first.
    kernel_bytes : bytes
        Their shapes as the CAD kernel writes them, placed likewise.

    Returns
    -------
    Model
        File, hash and unit are those of the first; rows of faces follow each other, model by model. A face of a
        copy tells by ``like`` which face it repeats. What was found when a file was read is told once.
    """
    vertices = edges = faces = shells = 0
    all_edges: list[Edge] = []
    all_faces: list[Face] = []
    all_shells: list[Shell] = []
    all_solids: list[Solid] = []
    first_face: dict[str, int] = {}
    told: list[Model] = []
    for model in models:
        if model.sha256 not in first_face:
            first_face[model.sha256] = faces
            told.append(model)
        first = first_face[model.sha256]
        all_edges += [
            replace(e, vertices=(e.vertices[0] + vertices, e.vertices[1] + vertices)) for e in model.edges
        ]
        all_faces += [
            replace(
                face,
                id=faces + row,
                like=first + row,
                wires=tuple(tuple(_moved(c, edges) for c in wire) for wire in face.wires),
            )
            for row, face in enumerate(model.faces)
        ]
        solids = len(all_solids)
        all_shells += [
            replace(
                shell,
                faces=tuple(row + faces for row in shell.faces),
                solid=shell.solid if shell.solid < 0 else shell.solid + solids,
            )
            for shell in model.shells
        ]
        all_solids += [
            replace(solid, shells=tuple(row + shells for row in solid.shells)) for solid in model.solids
        ]
        vertices, edges = vertices + len(model.vertices), len(all_edges)
        faces, shells = len(all_faces), len(all_shells)
    boxes = np.array([model.box for model in models])
    return replace(
        models[0],
        vertices=np.concatenate([model.vertices for model in models]),
        edges=tuple(all_edges),
        faces=tuple(all_faces),
        shells=tuple(all_shells),
        solids=tuple(all_solids),
        box=np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)]),
        area=sum(model.area for model in models),
        volume=sum(model.volume for model in models),
        gap=max(model.gap for model in models),
        healing=tuple(text for model in told for text in model.healing),
        findings=tuple(finding for model in told for finding in model.findings),
        kernel_bytes=kernel_bytes,
    )


def _moved(coedge: Coedge, edges: int) -> Coedge:
    return replace(coedge, edge=coedge.edge + edges)


def several_pictures(pictures: Sequence[Triangles], faces: Sequence[int]) -> Triangles:
    """Triangles of several models, which have so many faces each, as those of one.

    Parameters
    ----------
    pictures : sequence of Triangles
        Placed.
    faces : sequence of int
    """
    points = np.cumsum([0, *(len(each.points) for each in pictures)])
    first = np.cumsum([0, *faces])
    return Triangles(
        points=np.concatenate([each.points for each in pictures]),
        corners=np.concatenate([e.corners + p for e, p in zip(pictures, points, strict=False)]).astype(
            np.int32
        ),
        face=np.concatenate([e.face + row for e, row in zip(pictures, first, strict=False)]).astype(np.int32),
        chord=max(each.chord for each in pictures),
    )
