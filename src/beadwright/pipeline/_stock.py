"""Stock on faces, as a job asks for it: which faces, how much, and what is really left on each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from beadwright.brep import Blank, Model, PlaneSurface, blank_of, face_normals
from beadwright.errors import SettingsError
from beadwright.layers import LaterFeature, LayerPlan, Stocked, find_folds
from beadwright.numeric import Finding
from beadwright.pipeline._chosen import Earlier, chosen_rows
from beadwright.pipeline._later import Later
from beadwright.section import prepare
from beadwright.settings import PlanSettings

INWARDS = 0.05
"""How far stock reaches into the part, mm, where the fit is no coarser: the two must overlap."""
FLAT = 1e-9
"""A face whose normal differs from the vertical by less lies flat, as a cosine."""


def stock_amounts(
    solid: Model, settings: PlanSettings, later: Later, earlier: Earlier | None
) -> dict[int, float]:
    """Amount by row of the face, mm; of several rules the last wins; features that are cut later get none.

    Raises
    ------
    SettingsError
        A rule finds no face.
    """
    amounts: dict[int, float] = {}
    for number, rule in enumerate(settings.stock, 1):
        rows = chosen_rows(solid, rule.faces, what=f"stock[{number}].faces", earlier=earlier)
        amounts.update(dict.fromkeys(rows, rule.amount))
    for feature in later.features:
        for row in feature.faces:
            amounts.pop(row, None)
    if settings.stock and not amounts:
        raise SettingsError("stock: all faces chosen belong to features that are cut later")
    return dict(sorted(amounts.items()))


def make_blank(solid: Model, amounts: dict[int, float], settings: PlanSettings) -> Blank | None:
    """The solids that stock adds to a placed part; None without stock."""
    if not amounts:
        return None
    blank = blank_of(solid, amounts, inwards=max(INWARDS, 3 * settings.tolerance))
    return blank if blank.model.faces else None


def stocked_of(blank: Blank, solid: Model, amounts: dict[int, float], later: Later) -> Stocked:
    """Stock made ready for planes."""
    even = len(amounts) == len(solid.faces) and len(set(blank.amount.values())) == 1
    whole = even and not blank.tips and blank.amount.keys() == amounts.keys()
    beside = [origin.beside for origin in blank.origin]
    features = []
    for feature in later.features:
        rows = [row for row, face in enumerate(beside) if face in feature.faces]
        if rows:
            features.append(LaterFeature(faces=tuple(rows)))
    first = next(iter(amounts.values()))
    same = whole and set(blank.amount.values()) == {first}
    return Stocked(
        cutter=prepare(blank.model),
        folds=find_folds(blank.model),
        face=np.array([origin.face for origin in blank.origin], dtype=np.int64),
        later=tuple(features),
        uniform=first if same else None,
        off=blank.off,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceStock:
    """Least and greatest stock that the layers leave on a face, mm."""

    least: float
    greatest: float


def stock_left(
    blank: Blank, solid: Model, plans: Sequence[LayerPlan], settings: PlanSettings
) -> dict[int, FaceStock]:
    """Stock left on each face, by row.

    Layers cover all that the stock covers anywhere in them, so no place has less than the amount, and a
    face that leans has up to the cusp more, the layer's height times the vertical part of its normal (A. Dolenc,
    I. Makela, Computer-Aided Design 26 (1994) 119-126). A flat face has what lies up to the next border of
    a layer. Round beads lie half their height inside at the borders of layers.
    """
    edges = np.array([plans[0].z0, *(plan.z for plan in plans)])
    tallest = max(plan.height for plan in plans)
    depth = settings.edge_depth()
    left = {}
    for row, amount in blank.amount.items():
        face = solid.faces[row]
        normals = face_normals(face)
        steep = float(np.abs(normals[:, 2]).max(initial=0.0))
        if isinstance(face.surface, PlaneSurface) and steep > 1 - FLAT:
            z = float(face.centroid[2])
            up = bool(normals[0, 2] > 0)
            beyond = edges[edges >= z + amount - FLAT] if up else edges[edges <= z - amount + FLAT]
            greatest = amount + tallest
            if len(beyond):
                greatest = float(beyond.min() - z) if up else float(z - beyond.max())
            left[row] = FaceStock(least=amount, greatest=greatest)
        else:
            left[row] = FaceStock(least=amount - depth, greatest=amount + tallest * steep)
    return left


def stock_findings(
    blank: Blank | None, solid: Model, amounts: dict[int, float], left: dict[int, FaceStock]
) -> tuple[Finding, ...]:
    """Faces that cannot have their stock, or have none left by round beads."""
    if blank is None:
        return ()
    found = [
        Finding(
            code="stock-tip",
            level="error",
            face=solid.faces[row].id,
            allowed=amounts[row],
            unit="mm",
            text="a face with a tip cannot have stock; flatten the tip in the CAD, or leave the face out",
        )
        for row in blank.tips
    ]
    for row, amount in blank.amount.items():
        if amount < amounts[row] and not math.isclose(amount, amounts[row]):
            found.append(
                Finding(
                    code="stock-limited",
                    level="note",
                    face=solid.faces[row].id,
                    measured=amount,
                    allowed=amounts[row],
                    unit="mm",
                    text="the stock fills this hollow to its middle, so there is less than was asked for",
                )
            )
    for row, each in left.items():
        if each.least <= 0.0:
            found.append(
                Finding(
                    code="stock-none",
                    level="warning",
                    face=solid.faces[row].id,
                    measured=each.least,
                    allowed=0.0,
                    unit="mm",
                    text="round beads lie inside the drawn stock at the borders of layers, so the face has none"
                    " left there; take more",
                )
            )
    return tuple(found)
