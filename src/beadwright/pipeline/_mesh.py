"""What a plan of triangles says of itself, and what only such a plan may ask for."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from beadwright.arcs import POLYGON_CORNER
from beadwright.brep import Model
from beadwright.errors import SettingsError
from beadwright.numeric import Finding
from beadwright.pipeline._layer_work import LayerWork
from beadwright.settings import PlanSettings

KINK = math.radians(0.1)
"""A joint that turns by more is told: what is counted when ways of planning are compared, rad."""


def check_mesh(model: Model, settings: PlanSettings) -> None:
    """Refuse arcs along chords where the part's own curves are known.

    Raises
    ------
    SettingsError
        The part is no mesh.
    """
    if settings.fit_arcs is not None and model.schema != "mesh":
        raise SettingsError(
            f"fit_arcs: {model.file} is no mesh; the curves of a solid are known, so leave it out and choose"
            " `tolerance`, which is proven against them"
        )


def mesh_notes(model: Model, settings: PlanSettings) -> tuple[str, ...]:
    """What a program made from triangles says of itself at its top."""
    told = [finding.text for finding in model.findings if finding.code == "from-mesh"]
    if told and settings.fit_arcs is not None:
        told.append(
            f"the sections' chords are followed by lines and arcs within {settings.fit_arcs:g} mm; that these are the"
            " curves that were meant is a guess"
        )
    return tuple(f"NO EXACTNESS CLAIM: {text}." for text in told)


def arc_findings(settings: PlanSettings, works: Sequence[LayerWork]) -> tuple[Finding, ...]:
    """How far the moves along a mesh's chords stray from them, at most, and how they still turn where they join."""
    if settings.fit_arcs is None or not works:
        return ()
    worst = max(works, key=lambda work: work.layer.budget.fit)
    strays = Finding(
        code="mesh-arcs",
        level="note",
        layer=worst.layer.plan.index,
        measured=worst.layer.budget.fit,
        allowed=settings.fit_arcs,
        unit="mm",
        text="lines and arcs stand for the chords of the mesh's sections, here farthest from them; that they are"
        " the curves that were meant is a guess",
    )
    return (strays, *_kinks(works))


def _kinks(works: Sequence[LayerWork]) -> tuple[Finding, ...]:
    """Joints that turn though the part has no corner there: one finding, at the sharpest."""
    from beadwright.mesh import joints

    found = []
    for work in works:
        for loop in work.layer.region.loops:
            met = joints(loop.points, loop.bulge)
            for k in np.flatnonzero((met.turn > KINK) & (met.turn < POLYGON_CORNER)).tolist():
                found.append((float(met.turn[k]), work.layer.plan, met.at[k]))
    if not found:
        return ()
    turn, plan, at = max(found, key=lambda one: one[0])
    told = Finding(
        code="mesh-kinks",
        level="note",
        layer=plan.index,
        at_mm=(float(at[0]), float(at[1]), plan.z),
        measured=math.degrees(turn),
        allowed=math.degrees(KINK),
        unit="deg",
        text=f"{len(found)} joint(s) between moves along the mesh's chords turn, here most: the tolerance is less than"
        " the chords need, or a straight side ends there; a turn of more than"
        f" {math.degrees(POLYGON_CORNER):g} degrees is taken for a corner of the part",
    )
    return (told,)
