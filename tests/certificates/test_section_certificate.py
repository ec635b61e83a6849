"""Sections: an error of 1.5 times the bound is reported by the section's own check, 0.5 times passes."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from beadwright import brep, kernel, section
from beadwright.curves import CurveKind

EXAMPLES = Path(__file__).resolve().parents[2] / "step_examples"
# Turned so that no face is upright or level by accident.
PARTS = {
    "tender_hull.step": (0.0, 0.0, 0.0),
    "turned_bollard.step": (11.0, 23.0, 5.0),
    "planing_fixture.step": (0.0, 0.0, 30.0),
    "hatch_cover_mould.step": (0.0, 0.0, 0.0),
    "cradle_chocks.step": (4.0, 0.0, 9.0),
    "mast_plug.step": (0.0, 12.0, 0.0),
}


@lru_cache(maxsize=8)
def made(name: str) -> tuple[brep.Model, np.ndarray, list[section.Section]]:
    model = kernel.read_step(EXAMPLES / name)
    matrix = brep.placement(model, rotate_deg=PARTS[name])
    cutter = section.prepare(brep.placed(model, matrix))
    low, high = cutter.z_range
    asked = [low + share * (high - low) for share in (0.31, 0.687)]
    return model, matrix, section.cut(cutter, [section.take_plane(cutter, z, "above").taken for z in asked])


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("is_proof", [False, True])
def test_every_curve_keeps_its_bound(name: str, is_proof: bool) -> None:
    model, matrix, sections = made(name)
    for each in sections:
        found = section.verify_loops(model, each, matrix=matrix, proof=is_proof)

        assert len(found.deviation) > 0
        assert found.excess <= 0.0


def bent(each: section.Section, curve: int, share: float) -> section.Section:
    """The section with one curve moved sideways by a share of its bound, as a whole."""
    loops = each.loops
    by = share * float(loops.bound[curve])
    control, ends = loops.control.copy(), loops.ends.copy()
    pieces = slice(int(loops.first_piece[curve]), int(loops.first_piece[curve + 1]))
    rows = slice(int(loops.first_control[pieces.start]), int(loops.first_control[pieces.stop]))
    middle = (rows.start + rows.stop) // 2
    near = control[middle - 1 : middle + 2, :2] / control[middle - 1 : middle + 2, 2:]
    along = near[2] - near[0]
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    control[rows, :2] += by * across * control[rows, 2:]
    ends[curve] += by * np.tile(across, 2)
    return replace(each, loops=replace(loops, control=control, ends=ends))


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_a_free_curve_moved_off_its_surface(share: float) -> None:
    model, matrix, sections = made("tender_hull.step")
    (each, *_) = sections
    loops = each.loops
    curve = int(np.argmax(np.where(loops.kind == CurveKind.LEVEL, loops.bound, 0.0)))
    before = section.verify_loops(model, each, matrix=matrix)
    # What the curve is off already counts: the planted error takes up what is left of the bound.
    spare = float(loops.bound[curve])
    planted = replace(each, loops=replace(loops, bound=np.maximum(loops.bound, 1e-6)))
    assert spare < 1e-6

    found = section.verify_loops(model, bent(planted, curve, share), matrix=matrix)

    assert found.deviation[curve] == pytest.approx(share * 1e-6, abs=before.deviation[curve] + 1e-9)
    assert (found.excess > 0.0) is (share > 1.0)


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_a_circle_with_the_wrong_radius(share: float) -> None:
    model = kernel.read_step(EXAMPLES / "planing_fixture.step")
    matrix = brep.placement(model)
    cutter = section.prepare(brep.placed(model, matrix))
    low, high = cutter.z_range
    for z in np.linspace(low, high, 9)[1:-1]:
        (each,) = section.cut(cutter, [section.take_plane(cutter, float(z), "above").taken])
        circles = np.flatnonzero(each.loops.kind == CurveKind.CIRCLE)
        if len(circles):
            break
    loops = each.loops
    (curve, *_) = circles
    circle = loops.circle.copy()
    # Far above the rounding of a radius, so that the planted error is what it says.
    bound = np.maximum(loops.bound, 1e-9)
    circle[curve, 2] += share * bound[curve]
    planted = replace(each, loops=replace(loops, circle=circle, bound=bound))

    found = section.verify_loops(model, planted, matrix=matrix, proof=True)

    assert (found.excess > 0.0) is (share > 1.0)
