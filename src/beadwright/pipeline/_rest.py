"""The rest of a print: where it takes up, and how the join of the old and the new program is told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from beadwright.brep import Model
from beadwright.layers import LayerPlan, rest_of_layers
from beadwright.numeric import Finding, counted
from beadwright.pipeline._axis_left import axis_notes
from beadwright.pipeline._heights import plan_heights
from beadwright.pipeline._resume import Resume
from beadwright.settings import PlannedStop, PlanSettings

# Of a layer height in each layer: beyond this the flow is off, not the height alone (common practice).
DRIFT = 0.05
# Heights are sums of at most some ten thousand roundings of 1e-12 mm, so what is on the limit in decimals may lie that
# much beyond it in doubles; no gauge tells a nanometre, mm.
SAME_HEIGHT = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Seam:
    """Where a rest goes on from a rising bead.

    Attributes
    ----------
    at : (float, float)
        Where that bead began its turn in the first layer that is missing, mm.
    ramp : bool
        Whether what is printed ends as a ramp of one layer height round the part; else it is level, and the climb
        begins upon it.
    """

    at: tuple[float, float]
    ramp: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """Where the rest of a print begins.

    Attributes
    ----------
    first : int
        Index of the first layer that is still missing.
    height : float
        Measured top of what is printed, mm.
    planned : float
        Where the old plan had it, mm.
    layer_height : float
        Of the old plan, mm.
    layers_before : int
        Layers that the old plan still had from there on.
    beads_laid : int
        Beads of the old program before it.
    old_line : int or None
        Last line of the old program that belongs to what is printed; None where it is not at hand.
    old_sha256 : str
        Of the old plan.json.
    top : float or None
        Height at which the old plan ended, mm, if it was asked for a part of the layers only.
    axis : float or None
        Where the old program left the extruder axis, in its unit; None without one.
    below : tuple of (int, float, float)
        What is printed, as it was planned: index, time (s) and mass (kg) of each layer.
    seam : Seam or None
        Where the layer goes on from a rising bead.
    """

    first: int
    height: float
    planned: float
    layer_height: float
    layers_before: int
    beads_laid: int
    old_line: int | None
    old_sha256: str
    top: float | None = None
    axis: float | None = None
    below: tuple[tuple[int, float, float], ...] = ()
    seam: Seam | None = None

    @property
    def drift(self) -> float:
        """Measured less planned height, mm."""
        return self.height - self.planned

    def layers(self, high: float, settings: PlanSettings, solid: Model) -> tuple[LayerPlan, ...]:
        """Layers from the measured height to the highest point that must be covered, mm."""
        if settings.heights is None or self.height >= high:
            return rest_of_layers(high, settings.height, first=self.first, z0=self.height, rule=settings.rule)
        made = plan_heights(solid, (self.height, high), settings, base=self.height)
        return tuple(replace(plan, index=self.first + plan.index) for plan in made.plans)

    def notes(self) -> tuple[str, ...]:
        """What stands at the top of the program."""
        return (
            f"REST OF A PRINT: begins with layer {self.first} on a measured height of {self.height:g} mm, planned"
            f" were {self.planned:g} mm. Measure again before the start; nothing may stand higher than that."
            + ("" if self.top is None else f" It ends at {self.top:g} mm, as the earlier plan did."),
            *(
                (
                    f"It goes on with a rising bead at X {self.seam.at[0]:.3f} Y {self.seam.at[1]:.3f} mm: measure just"
                    " before that place, where the old one ends; beyond it the top is one layer lower, and climbs.",
                )
                if self.seam is not None and self.seam.ramp
                else ()
            ),
            *axis_notes(self.axis),
        )

    def findings(self) -> tuple[Finding, ...]:
        """What a reader should know of the join."""
        found = [
            Finding(
                code="cold-joint",
                level="note",
                layer=self.first,
                text="this layer is laid on one that has cooled down, so the joint is weak whatever is done: record"
                " the layer, warm the surface if you can, purge and wipe before the start",
            )
        ]
        if self.top is not None:
            found.append(
                Finding(
                    code="rest-ends-early",
                    level="note",
                    text=f"the earlier plan was asked for a part of the layers, up to {self.top:g} mm; so the rest ends"
                    " with the first layer that reaches there, and not at the part's top",
                )
            )
        allowed = DRIFT * self.layer_height * self.first
        if abs(self.drift) > allowed + SAME_HEIGHT:
            found.append(
                Finding(
                    code="height-drift",
                    level="warning",
                    layer=self.first,
                    measured=self.drift,
                    allowed=allowed,
                    unit="mm",
                    text="the printed height drifts by more than 5 % of a layer in each: correct the flow, or the"
                    " rest will drift as well",
                )
            )
        return tuple(found)

    def as_dict(self, plans: Sequence[LayerPlan]) -> dict[str, Any]:
        """The join as plan.json tells it."""
        told: dict[str, Any] = {
            "layer": self.first,
            "planned_mm": self.planned,
            "measured_mm": self.height,
            "drift_mm": self.drift,
            "layers_before": self.layers_before,
            "layers_now": len(plans),
            "beads_laid": self.beads_laid,
            "old_plan_sha256": self.old_sha256,
        }
        if self.old_line is not None:
            told["old_program_line"] = self.old_line
        if self.top is not None:
            told["top_mm"] = self.top
        if self.axis is not None:
            told["axis_at"] = self.axis
        return told


def join_told(join: Mapping[str, Any]) -> str:
    """A join for the terminal's table."""
    axis = f"; the extruder axis goes on from {join['axis_at']:.4f}" if join.get("axis_at") else ""
    if "bead" in join:
        x, y, z = join["at_mm"]
        return (
            f"layer {join['layer']}, bead {join['bead']}, {join['after_mm']:.3f} mm after its start, at X {x:.3f}"
            f" Y {y:.3f} Z {z:.3f} mm; after line {join['old_program_line']} of the old program{axis}"
        )
    line = f", after line {join['old_program_line']} of the old program" if "old_program_line" in join else ""
    top = f", up to {join['top_mm']:g} mm as the earlier plan" if "top_mm" in join else ""
    return (
        f"layer {join['layer']} at {join['measured_mm']:g} mm, {join['drift_mm']:+.3g} mm off the plan{line};"
        f" {counted(join['layers_now'], 'layer')} instead of {join['layers_before']}{top}{axis}"
    )


def join_findings(rest: Rest | Resume | None, stops: Sequence[PlannedStop]) -> tuple[Finding, ...]:
    """What a reader should know of a join, and of the stops that are planned after it; nothing for a whole print."""
    if rest is None:
        return ()
    if not any(stop.time is not None for stop in stops):
        return rest.findings()
    told = Finding(
        code="stop-by-planned-time",
        level="note",
        text="a stop by time counts what is printed already with the time that was planned for it: how long it really"
        " took, and the pause, are not known here; plan such a stop by layer or mass where that matters",
    )
    return (*rest.findings(), told)


def rest_document(rest: Rest | Resume | None, plans: Sequence[LayerPlan]) -> Mapping[str, Any]:
    """What a plan's document holds of its join; empty for a whole print."""
    return {} if rest is None else {"join": rest.as_dict(plans)}
