"""What stands at the top of a program."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model
from beadwright.layers import LayerPlan
from beadwright.pipeline._bed import Bed
from beadwright.pipeline._mesh import mesh_notes
from beadwright.pipeline._set_up import StandingPart
from beadwright.pipeline._stand import fixed_point
from beadwright.program import CopyHead, Head, Placement, Setting
from beadwright.settings import Resolved, standing_of, value_text


def program_head(
    model: Model,
    matrix: npt.NDArray[np.float64],
    resolved: Resolved,
    plans: Sequence[LayerPlan],
    notes: Sequence[str],
    later: Sequence[Sequence[int]] = (),
    copies: Sequence[tuple[StandingPart, npt.NDArray[np.float64]]] = (),
    bed: Bed | None = None,
    axis_at: float = 0.0,
    lag: bool = False,
) -> Head:
    """What stands at the top of the program; `copies` go with their placements; `lag`: its leads are in it."""
    told = resolved.as_dict()
    return Head(
        part=model.file,
        part_sha256=model.sha256,
        contours=0 if resolved.settings.wall else resolved.settings.contours,
        placement=_rows(copies[0][1] if copies else matrix),
        copies=tuple(
            CopyHead(part=copy.file, part_sha256=copy.sha256, placement=_rows(own)) for copy, own in copies
        ),
        contraction=resolved.settings.contraction,
        contraction_at=fixed_point(resolved.settings),
        later=tuple(tuple(model.faces[row].id for row in rows) for rows in later),
        bed=None if bed is None else bed.bed,
        bed_layers=0 if bed is None else bed.rule.layers,
        settings=tuple(
            Setting(
                name=name,
                value=value_text(row["value"]),
                source=row["from"],
                standing=standing_of(row["value"]),
            )
            for name, row in told.items()
            if row["from"] != "default" or not name.startswith(("machine.", "material."))
        ),
        axis_at=axis_at,
        lag=lag,
        heats=any(device.heats for device in resolved.machine.device),
        first=plans[0].index,
        partial=resolved.settings.layers != (0, None),
        notes=(*mesh_notes(model, resolved.settings), *notes),
    )


def _rows(matrix: npt.NDArray[np.float64]) -> Placement:
    return cast(Placement, tuple(tuple(float(v) for v in row) for row in matrix))
