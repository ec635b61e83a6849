"""What a plan gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beadwright.beads import Bead
from beadwright.layers import LayerRegion
from beadwright.numeric import Budget, Finding
from beadwright.pipeline._built import Built


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanResult:
    """What `plan` gives; a value that does not change.

    Attributes
    ----------
    program : str
        The machine program, RS274/NGC text.
    document : mapping
        What plan.json holds: see the schema ``plan.schema.json`` in the package.
    run : mapping
        What run.json holds: seconds by stage, versions, workers, memory.
    layers : tuple of PlannedLayer
        From the platform up; only the asked ones.
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

    program: str
    document: Mapping[str, Any]
    run: Mapping[str, Any]
    layers: tuple[PlannedLayer, ...]
    findings: tuple[Finding, ...]
    bounds: Budget
    out: Path | None
    build: Built

    @property
    def has_errors(self) -> bool:
        """Whether there is a finding of level error."""
        return any(finding.level == "error" for finding in self.findings)
