"""Where the layers of a plan lie: of one height, or by a limit of the cusp."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from beadwright.brep import Blank, Model, Steepness, steepness
from beadwright.errors import SettingsError
from beadwright.layers import LayerPlan, cusps, layers_between, plan_layers, schedule
from beadwright.numeric import Finding, counted
from beadwright.pipeline._layer_work import Planes
from beadwright.process import side_roughness, stair_roughness
from beadwright.section import Cutter, TakenPlane, take_plane
from beadwright.settings import PlanSettings

SLACK = 1e-6
"""Share of the limit by which a cusp may pass it unsaid: heights are summed, so their last digits are rounding."""
LEVEL = 1e-9
"""A part that stands less below the platform than this stands on it, mm."""


def reach(solid: Model, blank: Blank | None) -> tuple[float, float]:
    """Lowest and highest point of a placed part with its stock, mm."""
    low, high = float(solid.box[0, 2]), float(solid.box[1, 2])
    if blank is None:
        return low, high
    low, high = min(low, float(blank.box[0, 2])), max(high, float(blank.box[1, 2]))
    return (0.0 if abs(low) <= LEVEL else low), high


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heights:
    """The whole plan's layers and, where they follow the part, how steep it is.

    Attributes
    ----------
    plans : tuple of LayerPlan
        All of them.
    steep : Steepness or None
    missed : tuple of float
        Flat faces and tops that no layer's top meets, mm.
    """

    plans: tuple[LayerPlan, ...]
    steep: Steepness | None = None
    missed: tuple[float, ...] = ()

    def findings(self, solid: Model, settings: PlanSettings) -> tuple[Finding, ...]:
        """Flat faces that no top meets, layers whose cusp passes the limit, and faces of unknown steepness."""
        if self.steep is None or settings.heights is None:
            return ()
        tops = np.array([plan.z for plan in self.plans])
        found = [
            Finding(
                code="flat-missed",
                level="warning",
                layer=self.plans[int(np.abs(tops - z).argmin())].index,
                measured=float(np.abs(tops - z).min()),
                allowed=0.0,
                unit="mm",
                text=f"no layer's top meets the flat face at {z:.3f} mm, since the range of heights does not"
                " allow it",
            )
            for z in self.missed
        ]
        each = cusps(np.array([self.plans[0].z0, *tops]), self.steep.greatest)
        limit = settings.heights.cusp
        beyond = int(np.count_nonzero(each > limit * (1 + SLACK)))
        if beyond:
            worst = int(each.argmax())
            found.append(
                Finding(
                    code="cusp-limit",
                    level="warning",
                    layer=self.plans[worst].index,
                    measured=float(each[worst]),
                    allowed=limit,
                    unit="mm",
                    text=f"in {counted(beyond, 'layer')}, here most, the cusp passes the limit, which the least height,"
                    f" {settings.heights.least:g} mm, does not allow: lay lower layers, or leave stock there",
                )
            )
        if self.steep.unknown:
            found.append(
                Finding(
                    code="cusp-unknown",
                    level="note",
                    face=solid.faces[self.steep.unknown[0]].id,
                    measured=float(len(self.steep.unknown)),
                    text="of such faces no bound of the slope is known, so layers beside them take the worst",
                )
            )
        return tuple(found)

    def told(self, settings: PlanSettings, times: Sequence[float]) -> dict[str, Any]:
        """What plan.json says: cusp, layers and time of the choice beside those of layers of one height.

        The time of the others is an estimate: that of each layer, by how many of them would lie in it.
        """
        if self.steep is None or settings.heights is None:
            return {}
        edges = np.array([self.plans[0].z0, *(plan.z for plan in self.plans)])
        told: dict[str, Any] = {"limit_mm": settings.heights.cusp}
        for name, height in (
            ("chosen", None),
            ("greatest", settings.heights.greatest),
            ("nominal", settings.height),
        ):
            each = edges
            if height is not None:
                count = max(1, math.ceil((edges[-1] - edges[0]) / height - LEVEL))
                each = edges[0] + height * np.arange(count + 1)
            cusp = float(cusps(each, self.steep.greatest).max())
            told[name] = {
                "layers": len(each) - 1,
                "greatest_cusp_mm": cusp,
                "greatest_ra_mm": stair_roughness(cusp),
            }
            if len(times) == len(self.plans):
                told[name]["time_s"] = math.fsum(
                    time * (plan.height / height if height is not None else 1.0)
                    for time, plan in zip(times, self.plans, strict=True)
                )
        return told


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Layers that are to be made, and those beside them that tell where they are exposed.

    Attributes
    ----------
    plans : tuple of LayerPlan
        From the platform up.
    first, count : int
        Which of them are made.
    beside : int
        On how many layers above and below a layer depends.
    """

    plans: tuple[LayerPlan, ...]
    first: int
    count: int
    beside: int

    @property
    def chosen(self) -> tuple[LayerPlan, ...]:
        """Those that are made."""
        return self.plans[self.first : self.first + self.count]


def sides_told(settings: PlanSettings, heights: Sequence[float]) -> dict[str, Any]:
    """What plan.json says of upright walls of round beads: depth of the valleys between layers, and roughness, mm."""
    if settings.bead_section == "flat" or not heights:
        return {}
    valley = max(heights) / 2
    return {"sides": {"valley_mm": valley, "ra_mm": side_roughness(valley)}}


def asked_layers(
    plans: tuple[LayerPlan, ...],
    settings: PlanSettings,
    rest: Sequence[LayerPlan] | None = None,
    *,
    top: float | None = None,
) -> Asked:
    """The layers of the whole plan that were asked for.

    Parameters
    ----------
    plans : tuple of LayerPlan
        All of them.
    settings : PlanSettings
    rest : sequence of LayerPlan, optional
        Those that go on from a measured height, in place of what the settings ask.
    top : float, optional
        Height at which the rest ends, mm; default where the part does.

    Raises
    ------
    SettingsError
        None of them is asked for.
    """
    beside = settings.fill.decks()
    if rest is not None:
        first = rest[0].index if rest else 0
        below = plans[max(first - beside, 0) : first]
        count = len(rest)
        if top is not None:
            count = sum(plan.z0 < top - LEVEL for plan in rest)
            if rest and not count:
                raise SettingsError(
                    f"nothing is missing: the print is {rest[0].z0:.6g} mm high, and the earlier plan ended at"
                    f" {top:.6g} mm (--layers)"
                )
        return Asked(plans=(*below, *rest[: count + beside]), first=len(below), count=count, beside=beside)
    first, end = settings.layers
    chosen = plans[first:end]
    if not chosen:
        raise SettingsError(
            f"layers: {first}:{end or ''} lies above the part, whose layers are 0:{len(plans)}"
        )
    low_row, high_row = max(first - beside, 0), min(first + len(chosen) + beside, len(plans))
    return Asked(plans=plans[low_row:high_row], first=first - low_row, count=len(chosen), beside=beside)


def plan_heights(
    solid: Model, ends: tuple[float, float], settings: PlanSettings, *, base: float | None = None
) -> Heights:
    """The layers of the whole plan, from the lowest to the highest point, mm.

    They begin at the platform, or at the height `base` of what is printed already.
    """
    low, high = ends
    platform = min(low, 0.0) if base is None else base
    rule = settings.heights
    if rule is None:
        return Heights(plans=plan_layers(low, high, settings.height, rule=settings.rule, platform_z=platform))
    steep = steepness(solid)
    made = schedule(
        platform,
        high,
        least=rule.least,
        greatest=rule.greatest,
        limit=rule.cusp,
        steep=steep.greatest,
        flats=steep.flats,
    )
    plans = layers_between(made.edges.tolist(), rule=settings.rule)
    return Heights(plans=plans, steep=steep, missed=made.missed)


def layer_planes(cutter: Cutter, plan: LayerPlan) -> Planes:
    """The planes of a layer; the two of the rules outer and inner stay inside the slab."""
    if plan.rule == "neutral":
        return (_plane(cutter, plan.section_z[0]),)
    if plan.rule == "faces":
        low, middle, high = plan.section_z
        return take_plane(cutter, low, "above"), _plane(cutter, middle), take_plane(cutter, high, "below")
    low, high = plan.section_z
    return take_plane(cutter, low, "above"), take_plane(cutter, high, "below")


def _plane(cutter: Cutter, asked: float) -> TakenPlane:
    """The plane of a layer: on a flat face just below it, so that a top keeps its material; on a crest above.

    Just below a crest the section would be a hair.
    """
    below = take_plane(cutter, asked, "below")
    intervals = cutter.intervals
    flat = bool(np.any(intervals.flat & (intervals.low <= asked + 2e-6) & (intervals.high >= asked - 2e-6)))
    return below if flat or not below.why else take_plane(cutter, asked, "above")
