"""What a plan gives."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beadwright.beads import Bead
from beadwright.layers import LayerRegion
from beadwright.numeric import Budget, Finding, counted
from beadwright.pipeline._built import Built
from beadwright.post import ProgramText
from beadwright.process import clock_text
from beadwright.report import BeadStroke, layer_svg


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedLayer:
    """One layer as planned.

    Attributes
    ----------
    layer : LayerRegion
        Its slab, region, area (mm2) and perimeter (mm); ``layer.plan`` holds the slab.
    beads : tuple of Bead
        In the order in which they are laid, each from its start point; machine coordinates, mm.
    budget : Budget
        All bounds, rounding included, mm.
    """

    layer: LayerRegion
    beads: tuple[Bead, ...]
    budget: Budget

    def _repr_svg_(self) -> str:
        """The layer as a notebook shows it."""
        slab = self.layer.plan
        return layer_svg(
            self.layer.region,
            [
                BeadStroke(path=path, width=width, role=bead.role, part=part if bead.widths else 0)
                for bead in self.beads
                for part, (path, width) in enumerate(bead.strips(), 1)
            ],
            title=f"layer {slab.index}",
            caption=f"z = {slab.z0:g} to {slab.z:g} mm, bound {self.budget.total:.3g} mm",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanResult:
    """What `plan` gives; a value that does not change.

    Attributes
    ----------
    text : ProgramText
        The machine program, RS274/NGC, part by part; ``program`` is the whole of it.
    document : mapping
        What plan.json holds: see the schema ``plan.schema.json`` in the package.
    run : mapping
        What run.json holds: seconds by stage, versions, workers, memory.
    layers : sequence of PlannedLayer
        From the platform up; only the asked ones. Of a tall part most are read from the disk as they are asked
        for.
    findings : tuple of Finding
        Of the whole plan, places in machine coordinates.
    bounds : Budget
        Worst over the layers, mm. ``bounds.total`` is how far the program may stray from the solid, beside
        the file's own gaps, ``bounds.model``.
    out : Path or None
        The output folder, if one was asked for.
    build : Built
        What the build takes: time, mass, heat, layer by layer.
    """

    text: ProgramText
    document: Mapping[str, Any]
    run: Mapping[str, Any]
    layers: Sequence[PlannedLayer]
    findings: tuple[Finding, ...]
    bounds: Budget
    out: Path | None
    build: Built

    @property
    def program(self) -> str:
        """The whole program; put together whenever it is asked for."""
        return self.text.whole()

    @property
    def has_errors(self) -> bool:
        """Whether there is a finding of level error."""
        return any(finding.level == "error" for finding in self.findings)

    def __repr__(self) -> str:
        """The plan in a line: its program and arrays would fill many screens."""
        totals = self.document["totals"]
        return (
            f"<PlanResult of {self.document['input']['file']}: {counted(totals['layers'], 'layer')},"
            f" {counted(totals['beads'], 'bead')}, {counted(len(self.findings), 'finding')}>"
        )

    def _repr_html_(self) -> str:
        """The plan as a notebook shows it: its totals, and the layer with the greatest bound."""
        totals, bounds = self.document["totals"], self.document["bounds_mm"]
        told = [
            ("part", str(self.document["input"]["file"])),
            ("layers, beads", f"{totals['layers']}, {totals['beads']}"),
            ("bead length", f"{totals['length_mm'] / 1000:.4g} m"),
            ("bound of all beads", f"{bounds['total']:.4g} mm"),
            *([("build time", clock_text(totals["time_s"]))] if "time_s" in totals else []),
            *([("mass", f"{totals['mass_kg']:.4g} kg")] if "mass_kg" in totals else []),
            ("findings", f"{len(self.findings)}"),
        ]
        rows = "".join(f"<tr><th>{html.escape(a)}</th><td>{html.escape(b)}</td></tr>" for a, b in told)
        worst = max(self.layers, key=lambda layer: layer.budget.total, default=None)
        return f"<table>{rows}</table>" + ("" if worst is None else worst._repr_svg_())
