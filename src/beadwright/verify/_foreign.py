"""Programs without structured comments: layers by their levels, deviations from the section's side."""

from __future__ import annotations

import numpy as np

from beadwright.brep import Model
from beadwright.kernel import height_range
from beadwright.verify._complete import demanded, distance_to_beads
from beadwright.verify._cut import Cut, Floats
from beadwright.verify._deposit import Deposit, DepositLayer
from beadwright.verify._moves import Moves, points_along
from beadwright.verify._profile import Deviations
from beadwright.verify._result import Notes

# Layers may differ in height; a step of this many usual ones means that a layer is missing between.
MISSING = 1.6


def infer_width(moves: Moves, layers: list[tuple[DepositLayer, Cut]], step: float) -> float:
    """Twice the usual distance from the section to the nearest centreline, mm: where the outermost bead runs.

    Deviations of a program whose width is inferred are therefore relative to its own usual distance.
    """
    found = [np.zeros(0)]
    for layer, cut in layers:
        _, feet, _ = demanded(cut, 0.0, step)
        found.append(distance_to_beads(moves, list(layer.beads), feet)[0])
    far = np.concatenate(found)
    return float(2 * np.median(far)) if len(far) else np.nan


def measure_from_section(
    moves: Moves, layer: DepositLayer, cut: Cut, *, width: float, allowed: float, step: float, notes: Notes
) -> Deviations:
    """Deviation of the deposit's boundary at places of the section: half a width less the distance to a centreline.

    A finding a ring of the section where it is greatest, if that is too much, and where no bead is near; and one a
    bead that runs nearer to the boundary than half its width.
    """
    half = width / 2
    _, feet, ring = demanded(cut, half, step)
    far, row = distance_to_beads(moves, list(layer.beads), feet)
    value = half - far
    near = far <= width
    for number in np.unique(ring):
        own = np.flatnonzero(ring == number)
        lost, there = own[~near[own]], own[near[own]]
        if len(lost):
            text = f"no bead runs along {len(lost)} of {len(own)} places of a loop of the section"
            place = _place(feet[lost[0]], layer)
            notes.fault(layer, "missing-bead", text, float(min(far[lost[0]], 1e9)), width, "mm", at=place)
        worst = there[np.abs(value[there]).argmax()] if len(there) else -1
        if worst >= 0 and abs(value[worst]) > allowed:
            face = int(cut.face_at(feet[worst : worst + 1])[0])
            known = face if face >= 0 else None
            place = _place(feet[worst], layer)
            text = f"the deposit ends too far {'out' if value[worst] > 0 else 'in'}"
            line = int(moves.line[row[worst]])
            notes.fault(
                layer, "profile", text, float(value[worst]), allowed, "mm", at=place, face=known, line=line
            )
    for bead in layer.beads:
        points, owner = points_along(moves, bead.rows, step)
        depth = cut.depth(points)
        low = int(depth.argmin())
        if half - depth[low] > allowed:
            text = f"bead {bead.index} stands out of the part"
            line = int(moves.line[owner[low]])
            code = "outside" if depth[low] < -allowed else "profile"
            place = _place(points[low], layer)
            notes.fault(layer, code, text, float(half - depth[low]), allowed, "mm", at=place, line=line)
    faces = cut.face_at(feet[near])
    each = np.full(int(near.sum()), float(cut.region.length / max(len(feet), 1)))
    none = np.full(len(each), -1)
    return Deviations(value=value[near], weight=each, face=faces, row=none)


def _place(at: Floats, layer: DepositLayer) -> tuple[float, float, float]:
    return float(at[0]), float(at[1]), layer.z


def check_levels(deposit: Deposit, model: Model, matrix: Floats, notes: Notes) -> None:
    """Check that the levels follow each other, from the part's lowest point to its highest."""
    levels = np.array([layer.z for layer in deposit.layers])
    steps = np.diff(levels)
    # The lower of two middle steps: where layers are few, one that is missing must not become the measure.
    usual = float(np.sort(steps)[(len(steps) - 1) // 2]) if len(steps) else float(levels[0])
    low, high = height_range(model, matrix)
    for layer, step in zip(deposit.layers[1:], steps.tolist(), strict=True):
        if step > MISSING * usual:
            text = f"{step:.3f} mm above the layer below, {usual:.3f} is usual"
            notes.fault(layer, "missing-layer", text, step, usual, "mm")
    first, last = deposit.layers[0], deposit.layers[-1]
    if first.z - low > MISSING * usual:
        text = "the first layer lies high above the part's lowest point"
        notes.fault(first, "missing-layer", text, first.z - low, usual, "mm")
    if high - last.z > usual + 0.01:
        text = "the last layer lies far below the part's highest point"
        notes.fault(last, "missing-layer", text, high - last.z, usual, "mm")
