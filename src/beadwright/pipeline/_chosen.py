"""Faces that a job names, found on the part, and found again after a revision of it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beadwright.brep import FaceMark, FaceQuery, Matched, Model, choose, face_marks, match_faces
from beadwright.errors import SettingsError
from beadwright.numeric import Finding
from beadwright.settings import FaceChoice


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """An earlier plan: the name of its file, which of its faces had stock, and where its faces are now."""

    file: str
    stocked: tuple[int, ...]
    marks: dict[int, FaceMark]
    matched: Matched


def told_marks(rows: Sequence[Mapping[str, Any]]) -> tuple[FaceMark, ...]:
    """Signatures of faces as a plan's JSON tells them."""
    return tuple(
        FaceMark(
            id=int(row["id"]),
            name=row["name"],
            kind=row["kind"],
            area=float(row["area_mm2"]),
            centroid=(*map(float, row["centroid_mm"]),),  # type: ignore[arg-type]
            radius=float(row["radius_mm"]),
        )
        for row in rows
    )


def read_earlier(path: str, model: Model) -> Earlier:
    """Match the faces of an earlier plan with those of a model as read.

    Raises
    ------
    SettingsError
        The file cannot be read, or tells no faces by their signatures.
    """
    try:
        document = json.loads(Path(path).read_text(encoding="utf-8"))
        rows: list[dict[str, Any]] = document["faces"]
        marks = {mark.id: mark for mark in told_marks(rows)}
    except OSError as error:
        raise SettingsError(f"earlier: {path} cannot be read: {error.strerror}") from error
    except (ValueError, KeyError, TypeError) as error:
        raise SettingsError(f"earlier: {path} is no plan.json that tells its faces") from error
    return Earlier(
        file=Path(path).name,
        stocked=tuple(int(row["id"]) for row in rows if "stock_mm" in row),
        marks=marks,
        matched=match_faces(tuple(marks.values()), face_marks(model)),
    )


def chosen_rows(
    solid: Model, choice: FaceChoice, *, what: str, earlier: Earlier | None = None
) -> tuple[int, ...]:
    """Rows of the faces of a placed model that a job means.

    Raises
    ------
    SettingsError
        There is no such face; the message names the nearest.
    """
    told = {name: value for name, value in choice.model_dump().items() if value is not None}
    if choice.id is not None and earlier is not None:
        found = [earlier.matched.row[key] for key in choice.id if key in earlier.matched.row]
        if not found:
            asked = ", ".join(map(str, choice.id))
            raise SettingsError(f"{what}: faces {asked} of {earlier.file} are not in {solid.file} any more")
        told["id"] = tuple(solid.faces[row].id for row in found)
    return choose(solid, FaceQuery(**told), what=what)


def revision_findings(
    earlier: Earlier | None, solid: Model, asked: Sequence[int], stocked: Sequence[int]
) -> tuple[Finding, ...]:
    """What became of the faces that are chosen by id, or had stock, since the earlier plan.

    Parameters
    ----------
    earlier : Earlier or None
    solid : Model
    asked : sequence of int
        Ids of then that the job names.
    stocked : sequence of int
        Rows of now that have stock.
    """
    if earlier is None:
        return ()
    found = []
    watched = set(asked) | set(earlier.stocked)
    for key in sorted(watched & set(earlier.matched.missing)):
        mark = earlier.marks[key]
        had = " and its stock" if key in earlier.stocked else ""
        found.append(
            Finding(
                code="face-missing",
                level="error",
                text=f"face {key} ({mark.kind}{f', {mark.name}' if mark.name else ''}) of {earlier.file}{had}"
                " is not found in the part any more; choose its successor, or drop it",
            )
        )
    for key, text in earlier.matched.changed:
        if key in watched:
            row = earlier.matched.row[key]
            found.append(
                Finding(
                    code="face-changed",
                    level="note",
                    face=solid.faces[row].id,
                    text=f"face {key} of {earlier.file} is taken for face {solid.faces[row].id}: {text}",
                )
            )
    for key in sorted(set(earlier.stocked) & set(earlier.matched.row)):
        row = earlier.matched.row[key]
        if row not in stocked:
            found.append(
                Finding(
                    code="stock-lost",
                    level="warning",
                    face=solid.faces[row].id,
                    text=f"face {key} of {earlier.file} had stock and is face {solid.faces[row].id} now,"
                    " which has none; add it to a rule if it is still machined",
                )
            )
    return tuple(found)
