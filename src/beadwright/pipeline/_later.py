"""Features that are cut later: which, how large, and what cutting them takes off."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from beadwright.brep import Model, RevolutionSurface, faces_extents
from beadwright.layers import LaterFeature, bore_radius, later_features, round_holes
from beadwright.numeric import Finding
from beadwright.pipeline._chosen import Earlier, chosen_rows
from beadwright.pipeline._layer_work import LayerWork
from beadwright.settings import PlanSettings

CUBIC_METRE = 1e9
"""mm3."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Later:
    """Features that are cut later, and the faces that the job names for them."""

    features: tuple[LaterFeature, ...] = ()
    named: frozenset[int] = frozenset()


def find_later(solid: Model, settings: PlanSettings, earlier: Earlier | None) -> Later:
    """The features that a job cuts later, on a placed model.

    Raises
    ------
    SettingsError
        A rule finds no face.
    """
    named: set[int] = set()
    rows: set[int] = set()
    for number, rule in enumerate(settings.cut_later, 1):
        if rule.faces is not None:
            named.update(chosen_rows(solid, rule.faces, what=f"cut_later[{number}].faces", earlier=earlier))
        if rule.holes_below is not None:
            rows.update(round_holes(solid, rule.holes_below))
    return Later(features=later_features(solid, rows | named), named=frozenset(named))


def asked_ids(settings: PlanSettings) -> tuple[int, ...]:
    """Face numbers that the job's rules name."""
    choices = [*(rule.faces for rule in settings.stock), *(rule.faces for rule in settings.cut_later)]
    choices += [rule.faces for rule in settings.face_rule]
    return tuple(key for choice in choices if choice is not None for key in choice.id or ())


def later_rows(
    solid: Model, later: Later, works: Sequence[LayerWork], density: float
) -> list[dict[str, Any]]:
    """What plan.json says of them: faces, size, what the layers print in them; density in kg/m3."""
    chips = [0.0] * len(later.features)
    for work in works:
        for part in work.left_out:
            chips[part.feature] += part.area * work.layer.plan.height
    rows = []
    for feature, chip in zip(later.features, chips, strict=True):
        faces = [solid.faces[row] for row in feature.faces]
        row: dict[str, Any] = {"faces": [face.id for face in faces]}
        radii = {round(bore_radius(face), 9) for face in faces}
        if all(isinstance(face.surface, RevolutionSurface) for face in faces) and max(radii) < math.inf:
            row["diameter_mm"] = 2 * max(radii)
        box = faces_extents(solid, feature.faces)
        row["size_mm"] = (box[1] - box[0]).tolist()
        row["at_mm"] = (0.5 * (box[0] + box[1])).tolist()
        row["chip_volume_mm3"] = chip
        row["chip_kg"] = chip * density / CUBIC_METRE
        rows.append(row)
    return rows


def later_findings(solid: Model, later: Later, works: Sequence[LayerWork]) -> tuple[Finding, ...]:
    """Faces that stay cut because they open to the side in a layer, and features that no layer meets."""
    first: dict[int, int] = {}
    for work in works:
        for row in work.later_open:
            first.setdefault(row, work.layer.plan.index)
    met = {part.feature for work in works for part in work.left_out}
    found = []
    for number, feature in enumerate(later.features):
        rows = [row for row in feature.faces if row in first]
        if rows:
            row = min(rows, key=lambda r: first[r])
            found.append(
                Finding(
                    code="cut-later-open",
                    level="warning",
                    layer=first[row],
                    face=solid.faces[row].id,
                    text="a feature to be cut later opens to the side in this layer, where it is printed as"
                    " drawn; only holes that layers show closed can be left out",
                )
            )
        elif number not in met and later.named & set(feature.faces):
            found.append(
                Finding(
                    code="cut-later-unmet",
                    level="note",
                    face=solid.faces[feature.faces[0]].id,
                    text="no layer shows this feature to be cut later as a hole",
                )
            )
    return tuple(found)
