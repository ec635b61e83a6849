"""What is in a model, as plain data for a table or a report."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from beadwright.brep._model import Model
from beadwright.brep._surfaces import (
    CircleProfile,
    ExtrusionSurface,
    LineProfile,
    OffsetSurface,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    SplineSurface,
    Surface,
)
from beadwright.numeric import Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceLine:
    """One face: id, name, colour, what the file calls it, what it is cut as, signature.

    Lengths mm, area mm2.
    """

    id: int
    name: str
    colour: str
    kind: str
    form: str
    area: float
    centroid: tuple[float, float, float]
    radius: float
    solid: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SolidLine:
    """One solid: name, colour, volume (mm3), number of shells and faces."""

    name: str
    colour: str
    volume: float
    shells: int
    faces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """A model in figures.

    Attributes
    ----------
    file, sha256, unit, schema : str
    size : (float, float, float)
        Extents in x, y, z, mm.
    box : ((float, float, float), (float, float, float))
        Least and greatest corner, mm.
    volume, area : float
        mm3, mm2.
    gap : float
        Greatest miss between the file's own faces, edges and corners, mm.
    kinds : dict
        Number of faces by what the file calls them.
    forms : dict
        Number of faces by what they are cut as.
    solids : tuple of SolidLine
    loose : int
        Faces that belong to no solid.
    faces : tuple of FaceLine
    printable : bool
    why_not : str
        "" if printable.
    findings : tuple of Finding
    healing : tuple of str
    """

    file: str
    sha256: str
    unit: str
    schema: str
    size: tuple[float, float, float]
    box: tuple[tuple[float, float, float], tuple[float, float, float]]
    volume: float
    area: float
    gap: float
    kinds: dict[str, int]
    forms: dict[str, int]
    solids: tuple[SolidLine, ...]
    loose: int
    faces: tuple[FaceLine, ...]
    printable: bool
    why_not: str
    findings: tuple[Finding, ...]
    healing: tuple[str, ...]


def describe(model: Model) -> Description:
    """What is in a model: size, volume, surfaces, faces, gaps, and whether it can be printed."""
    owner = {row: shell.solid for shell in model.shells for row in shell.faces}
    forms = [form(face.surface) for face in model.faces]
    low, high = (tuple(float(c) for c in corner) for corner in model.box)
    loose = sum(1 for solid in owner.values() if solid < 0)
    errors = [finding.text for finding in model.findings if finding.level == "error"]
    why_not = "; ".join(errors)
    if not model.solids:
        why_not = "; ".join(["open surfaces only: print them with `--wall`", *errors])
    return Description(
        file=model.file,
        sha256=model.sha256,
        unit=model.unit,
        schema=model.schema,
        size=(high[0] - low[0], high[1] - low[1], high[2] - low[2]),
        box=((low[0], low[1], low[2]), (high[0], high[1], high[2])),
        volume=model.volume,
        area=model.area,
        gap=model.gap,
        kinds=dict(Counter(face.kind for face in model.faces).most_common()),
        forms=dict(Counter(forms).most_common()),
        solids=tuple(
            SolidLine(
                name=solid.name,
                colour=solid.colour,
                volume=solid.volume,
                shells=len(solid.shells),
                faces=sum(len(model.shells[row].faces) for row in solid.shells),
            )
            for solid in model.solids
        ),
        loose=loose,
        faces=tuple(
            FaceLine(
                id=face.id,
                name=face.name,
                colour=face.colour,
                kind=face.kind,
                form=shape,
                area=face.area,
                centroid=(float(face.centroid[0]), float(face.centroid[1]), float(face.centroid[2])),
                radius=face.radius,
                solid=owner[face.id],
            )
            for face, shape in zip(model.faces, forms, strict=True)
        ),
        printable=not why_not,
        why_not=why_not,
        findings=model.findings,
        healing=model.healing,
    )


def form(surface: Surface) -> str:
    """What a surface is cut as, in the words of geometry."""
    match surface:
        case PlaneSurface():
            return "plane"
        case SphereSurface():
            return "sphere"
        case RevolutionSurface(profile=LineProfile(dr=slope)):
            return "cone" if slope else "cylinder"
        case RevolutionSurface(profile=CircleProfile(major=major, minor=minor)):
            return "spindle torus" if minor > abs(major) else "torus"
        case RevolutionSurface():
            return "revolution"
        case ExtrusionSurface():
            return "extrusion"
        case SplineSurface():
            return "spline"
        case OffsetSurface():
            return "offset"
