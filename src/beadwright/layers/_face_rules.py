"""A layer's region where each face has a rule of its own: outer, inner, or neutral.

Let S be the section at mid height. From there a point of the plane enters the solid above through surface that looks
down, or below through surface that looks up; it leaves it the other way. So with the faces of the rule outer the
region grows by what their surface of that kind in the slab lies over, with those of the rule inner it shrinks by what
theirs of the other kind does: every place is counted, S as 1, each layer of such surface as 1 more or less, and the
region is where more than 0 is left. Seen from above that count has a boundary of few curves: of a face with a rule the
section's curve at the bottom or at the top of the slab stands in place of that at mid height; of every other
face the curve at mid height stays; and where faces meet whose rules differ, the edge between them, from one of these
heights to the other. So the pieces share their ends, and nothing can gape between them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs import Meeting, Result, fit, meeting
from beadwright.brep import Model, faces_extents, surface_points
from beadwright.curves import region_area, region_length, reversed_path, signed_area
from beadwright.layers._facing import UPRIGHT, Facing, facing_of
from beadwright.layers._folds import Folds, folds_of
from beadwright.layers._plan import OPEN, LayerPlan, Rule
from beadwright.layers._region import LayerRegion
from beadwright.layers._seen import SAME, fold_parts, loops_of
from beadwright.layers._sides import Run, crossings, kept_runs, shifted
from beadwright.layers._slab import INTO, JOIN, linked_runs, united_loops
from beadwright.layers._solids import followed_closely, grazes, kinks_told, shallow
from beadwright.numeric import Budget, Finding
from beadwright.section import Section

CODES: Mapping[str, int] = {"neutral": 0, "outer": 1, "inner": -1}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ruled:
    """Rules of a placed model's faces, ready for layers; pickles. Made by `ruled_faces`.

    Attributes
    ----------
    rule : (faces,) int64
        1 outer, -1 inner, 0 neutral.
    below, above : Folds
        Borders of what counts in the lower and in the upper half of a slab.
    spans : (k, 2) float
        Least and greatest z of faces with a rule that are not upright, mm.
    untraced : tuple of int
        Faces that look up and down whose silhouettes have no closed form: they are neutral.
    """

    rule: npt.NDArray[np.int64]
    below: Folds
    above: Folds
    spans: npt.NDArray[np.float64]
    untraced: tuple[int, ...] = ()

    def findings(self, solid: Model) -> tuple[Finding, ...]:
        """Faces that cannot have their rule, and those judged by samples."""
        found = [
            Finding(
                code="rule-untraced",
                level="warning",
                face=solid.faces[row].id,
                text="this face looks up and down, and the curve between has no closed form, so it cannot have a rule"
                " of its own and is neutral: split it there in the CAD, or take one rule for all",
            )
            for row in self.untraced
        ]
        return (*found, *self.below.findings())


def ruled_faces(model: Model, rules: Mapping[int, Rule], otherwise: Rule = "neutral") -> Ruled:
    """Make the rules of faces ready for layers.

    Parameters
    ----------
    model : Model
        Placed.
    rules : mapping of int to Rule
        By row of the face.
    otherwise : Rule
        That of all other faces. A level face that is not named takes the rule of the faces around it, if that is one:
        it has no slope that a rule could be about.
    """
    rule = np.full(len(model.faces), CODES[otherwise], dtype=np.int64)
    for row, own in rules.items():
        rule[row] = CODES[own]
    facing = tuple(facing_of(face) for face in model.faces)
    steep = [_steepest(each) for each in facing]
    _level_faces(
        model, rule, [row for row, each in enumerate(steep) if each[0] > 1 - UPRIGHT and row not in rules]
    )
    untraced = tuple(row for row, each in enumerate(facing) if rule[row] and each.sign == 0 and each.sampled)
    rule[list(untraced)] = 0
    rows = [row for row, each in enumerate(steep) if rule[row] and each[1] > UPRIGHT]
    boxes = [faces_extents(model, [row]) for row in rows]
    return Ruled(
        rule=rule,
        below=folds_of(model, facing, lambda row, sign: int(rule[row] * sign == 1)),
        above=folds_of(model, facing, lambda row, sign: -int(rule[row] * sign == -1)),
        spans=np.array([[box[0, 2], box[1, 2]] for box in boxes]).reshape(-1, 2),
        untraced=untraced,
    )


def _steepest(facing: Facing) -> tuple[float, float]:
    """Least and greatest vertical part of a face's normal, at samples."""
    z = np.abs(facing.normal_z(surface_points(facing.face.surface, facing.seeds)))
    return (float(z.min()), float(z.max())) if len(z) else (0.0, 1.0)


def _level_faces(model: Model, rule: npt.NDArray[np.int64], rows: Sequence[int]) -> None:
    """Give level faces the rule of all faces around them."""
    beside: dict[int, set[int]] = {}
    for row, face in enumerate(model.faces):
        for wire in face.wires:
            for coedge in wire:
                beside.setdefault(coedge.edge, set()).add(row)
    found = {}
    for row in rows:
        around = {
            int(rule[other])
            for wire in model.faces[row].wires
            for coedge in wire
            for other in beside[coedge.edge] - {row}
        }
        if len(around) == 1:
            found[row] = around.pop()
    for row, own in found.items():
        rule[row] = own


def ruled_plans(plans: Sequence[LayerPlan], ruled: Ruled | None) -> tuple[LayerPlan, ...]:
    """Layers with their planes: those in which a rule tells are cut at bottom, mid height and top."""
    if ruled is None:
        return tuple(plans)
    low, high = ruled.spans.T
    made = []
    for plan in plans:
        middle = (plan.z0 + plan.z) / 2
        tells = bool(((low < plan.z - OPEN) & (high > plan.z0 + OPEN)).any())
        planes = (plan.z0 + OPEN, middle, plan.z - OPEN) if tells else (middle,)
        made.append(replace(plan, rule="faces" if tells else "neutral", section_z=planes))
    return tuple(made)


def ruled_region(
    plan: LayerPlan, ruled: Ruled, sections: tuple[Section, Section, Section], *, tolerance: float
) -> LayerRegion | None:
    """The region of a layer by the rules of its faces.

    Parameters
    ----------
    plan : LayerPlan
        Its rule is ``faces``.
    ruled : Ruled
    sections : (Section, Section, Section)
        At the bottom, at mid height, at the top.
    tolerance : float
        Of the fit, mm.

    Returns
    -------
    LayerRegion or None
        None where the chains do not close within 0.05 mm.
    """
    made = followed_closely(lambda asked: _count(ruled, sections, asked), tolerance)
    if made is None:
        return None
    own = made.fit + made.joined + max(s.bound for s in sections)
    findings = [*grazes(made.met, plan.index, plan.z), *kinks_told(made.kinks, plan.index)]
    if made.met.bound > max(own, tolerance):
        findings.append(shallow(made.met, tolerance, plan.index, plan.z))
    region = made.united.region
    return LayerRegion(
        plan=plan,
        section_z=tuple(section.taken for section in sections),
        region=region,
        area=region_area(region),
        perimeter=region_length(region),
        n_loops=len(region.loops),
        n_holes=sum(signed_area(loop) < 0 for loop in region.loops),
        budget=Budget(
            model=max(s.model for s in sections),
            section=max(s.bound for s in sections) + made.joined,
            fit=made.fit,
            region=made.united.bound.mm + max(0.0, made.met.bound - own),
        ),
        findings=tuple(findings),
        fallbacks=made.united.fallbacks,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Counted:
    """The count's region, errors of what it is made of (mm), straight moves in place of arcs, and crossings."""

    united: Result
    fit: float
    joined: float
    kinks: int
    met: Meeting


def _count(ruled: Ruled, sections: tuple[Section, Section, Section], tolerance: float) -> _Counted | None:
    bottom, middle, top = sections
    parts = [
        (list(fold_parts(folds.folds, low.taken, high.taken)), folds)
        for folds, low, high in ((ruled.below, bottom, middle), (ruled.above, middle, top))
    ]
    fits = [fit(section.loops, tolerance=tolerance) for section in sections]
    fits += [fit(loops_of([curve for _, curve in own]), tolerance=tolerance) for own, _ in parts]
    rows = np.cumsum([0, *(len(each.region.supports) for each in fits)]).tolist()
    runs: list[Run] = []
    every = [*parts[0][0], *parts[1][0]]
    for place, (section, keep, into) in enumerate(((bottom, 1, INTO), (middle, 0, 0.0), (top, -1, -INTO))):
        crossing = crossings(every, section.taken)
        folds = ruled.above if keep < 0 else ruled.below
        runs += kept_runs(fits[place], section, folds, keep, crossing, rows[place], into, ruled.rule)
    for place, (own, _) in enumerate(parts, 3):
        for (fold, _), path in zip(own, fits[place].paths, strict=True):
            moved = shifted(path, rows[place])
            runs.append(Run(path=reversed_path(moved) if fold.reverse else moved, solid=fold.solid))
    model = max(section.model for section in sections)
    linked = linked_runs(runs, JOIN + 2 * model)
    if linked is None:
        return None
    loops, joined = linked
    bound = max(each.bound.mm for each in fits)
    supports = np.concatenate([each.region.supports for each in fits])
    joined = joined if joined > max(bound, model) + SAME else 0.0
    off = max(section.bound for section in sections) + joined
    return _Counted(
        united=united_loops(loops, supports, True),
        fit=bound,
        joined=joined,
        kinks=sum(each.kinks for each in fits),
        met=meeting(
            [run.path for run in loops],
            np.arange(len(loops)),
            [off + np.where(run.path.support >= 0, 0.0, bound) for run in loops],
            target=tolerance,
        ),
    )
