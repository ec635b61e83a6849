"""What a plan of triangles says of itself, and what only such a plan may ask for."""

from __future__ import annotations

from collections.abc import Sequence

from beadwright.brep import Model
from beadwright.errors import SettingsError
from beadwright.numeric import Finding
from beadwright.pipeline._layer_work import LayerWork
from beadwright.settings import PlanSettings


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
    """How far the moves along a mesh's chords stray from them, at most."""
    if settings.fit_arcs is None or not works:
        return ()
    worst = max(works, key=lambda work: work.layer.budget.fit)
    return (
        Finding(
            code="mesh-arcs",
            level="note",
            layer=worst.layer.plan.index,
            measured=worst.layer.budget.fit,
            allowed=settings.fit_arcs,
            unit="mm",
            text="lines and arcs stand for the chords of the mesh's sections, here farthest from them; that they are"
            " the curves that were meant is a guess",
        ),
    )
