"""Rules of layers, of all faces or by face: which faces a job means, and a layer's region by them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from beadwright.brep import Model
from beadwright.errors import GeometryError
from beadwright.layers import (
    Folds,
    LaterFeature,
    LayerPlan,
    LayerRegion,
    Rule,
    Ruled,
    leave_out,
    rule_region,
    ruled_faces,
    ruled_region,
    without_folds,
)
from beadwright.pipeline._chosen import Earlier, chosen_rows
from beadwright.pipeline._kernel_fallback import KernelFallback
from beadwright.pipeline._section_findings import section_findings
from beadwright.section import Cutter, Section, cut, take_plane
from beadwright.settings import PlanSettings


class _Job(Protocol):
    """What of a job a layer's region by a rule is made from."""

    @property
    def cutter(self) -> Cutter: ...
    @property
    def fallback(self) -> KernelFallback: ...
    @property
    def settings(self) -> PlanSettings: ...
    @property
    def folds(self) -> Folds | None: ...
    @property
    def ruled(self) -> Ruled | None: ...
    @property
    def later(self) -> tuple[LaterFeature, ...]: ...


def face_rules(solid: Model, settings: PlanSettings, earlier: Earlier | None) -> Ruled | None:
    """Rules of the faces of a placed part; None where no face has one of its own.

    Raises
    ------
    SettingsError
        A rule finds no face.
    """
    if not settings.face_rule:
        return None
    return ruled_faces(solid, rules_asked(solid, settings, earlier), settings.rule)


def rules_asked(solid: Model, settings: PlanSettings, earlier: Earlier | None) -> dict[int, Rule]:
    """Rule by row of the face, as a job names them; of several the last wins."""
    rules: dict[int, Rule] = {}
    for number, each in enumerate(settings.face_rule, 1):
        rows = chosen_rows(solid, each.faces, what=f"face_rule[{number}].faces", earlier=earlier)
        rules.update(dict.fromkeys(rows, each.rule))
    return dict(sorted(rules.items()))


def region_by_rule(
    job: _Job, plan: LayerPlan, sections: Sequence[Section], stays: frozenset[int]
) -> LayerRegion:
    """The region of a layer whose rule is not neutral, without stock.

    Raises
    ------
    GeometryError
        The curves of faces with different rules do not meet.
    """
    layer = (_by_faces if plan.rule == "faces" else _by_one)(job, plan, sections, stays)
    told = tuple(finding for section in sections for finding in section_findings(plan, section))
    return replace(layer, findings=(*told, *layer.findings))


def _by_one(job: _Job, plan: LayerPlan, sections: Sequence[Section], stays: frozenset[int]) -> LayerRegion:
    """By the rule outer or inner of all faces."""
    assert job.folds is not None
    bottom, top = sections

    def cut_at(heights: Sequence[float]) -> Sequence[Section]:
        taken = [take_plane(job.cutter, z, "below").taken for z in heights]
        return leave_out(cut(job.cutter, taken, fallback=job.fallback), job.later)[0]

    return rule_region(
        plan,
        without_folds(job.folds, job.later, stays) if job.later else job.folds,
        bottom,
        top,
        cut_at=cut_at,
        tolerance=job.settings.tolerance,
    )


def _by_faces(job: _Job, plan: LayerPlan, sections: Sequence[Section], stays: frozenset[int]) -> LayerRegion:
    """By a rule of each face."""
    ruled = job.ruled
    assert ruled is not None
    if job.later:
        ruled = replace(
            ruled,
            below=without_folds(ruled.below, job.later, stays),
            above=without_folds(ruled.above, job.later, stays),
        )
    bottom, middle, top = sections
    layer = ruled_region(plan, ruled, (bottom, middle, top), tolerance=job.settings.tolerance)
    if layer is None:
        raise GeometryError(
            f"layer {plan.index}: the curves of faces with different rules do not meet; heal the file's gaps there, or"
            " take one rule for all (rule, without face_rule)"
        )
    return layer
