"""Moves shorter than what the controller takes in while they last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from beadwright.beads import Bead, merged
from beadwright.curves import ArcPath, lengths
from beadwright.layers import LayerRegion
from beadwright.numeric import Finding


def without_short(
    layer: LayerRegion, beads: Sequence[Bead], *, least: float, tolerance: float, rounding: float
) -> tuple[LayerRegion, tuple[Bead, ...]]:
    """Merge moves that are too short with their neighbours, within what the fit of a layer leaves of its budget.

    Parameters
    ----------
    layer : LayerRegion
    beads : sequence of Bead
        From their start points; those whose width varies stay as they are.
    least : float
        Length below which a move is over before the controller has taken in the next line, mm; 0: not known.
    tolerance, rounding : float
        What arcs may be off by, and what printing may add, mm.

    Returns
    -------
    tuple of LayerRegion and of Bead
        The layer with the bound of what was merged in its ``fit``, and with a finding ``short-move`` where moves stay
        too short.
    """
    if least <= 0:
        return layer, tuple(beads)
    room = tolerance - (layer.budget.total - layer.budget.corner) - rounding
    bound, gone, left = 0.0, 0, 0
    shortest: tuple[float, float, float] | None = None
    made = []
    for bead in beads:
        path: ArcPath = bead.path
        rows: Sequence[int]
        if bead.widths:
            run = lengths(path)
            rows = [row for row in range(len(run)) if run[row] < least]
        else:
            found = merged(path, least=least, room=room)
            path, rows = found.path, found.left
            bound, gone = max(bound, found.bound), gone + found.gone
            run = lengths(path)
        left += len(rows)
        for row in rows:
            if shortest is None or run[row] < shortest[0]:
                x, y = path.points[row].tolist()
                shortest = (float(run[row]), x, y)
        made.append(bead if path is bead.path else replace(bead, path=path))
    if shortest is not None:
        size, x, y = shortest
        told = Finding(
            code="short-move",
            level="note",
            layer=layer.plan.index,
            at_mm=(x, y, layer.plan.z),
            measured=size,
            allowed=least,
            unit="mm",
            text=f"{left} moves are over before the controller has taken in the next line, so it may slow down there;"
            f" {gone} others were merged with their neighbours within {max(room, 0.0):.4f} mm that the arcs' tolerance"
            " left: a wider tolerance or a lower feed leaves fewer",
        )
        layer = replace(layer, findings=(*layer.findings, told))
    return replace(layer, budget=replace(layer.budget, fit=layer.budget.fit + bound)), tuple(made)
