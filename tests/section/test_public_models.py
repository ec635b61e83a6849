"""Public parts at many heights: every loop closed, and volumes that do not turn with the part."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from beadwright import brep, kernel, section
from beadwright.curves import chain_measures

MODELS = Path(__file__).resolve().parents[3] / "shared" / "models"
# Longest connector over the heights below, mm: the file's own gap in the plane, pinned (rounded up).
ANALYTIC = {
    "nist_ctc_01_ap242.stp": 6e-3,
    "nist_ctc_03_inch.stp": 1e-3,
    "nist_ftc_06_inch.stp": 1e-3,
    "nist_ftc_11.stp": 1e-3,
    "kcl_pipe_with_bend.step": 1e-3,
    "framework_top_cover.stp": 2e-2,
    "thin_revolved_shell.stp": 1e-3,
    "two_connected_cubes.stp": 0.0,
    "autogiro_skin.step": 1e-3,
    "house_walls_cm.stp": 1e-3,
    "anc101.stp": 1e-3,
    "box_corner_cut_fillet.stp": 1e-3,
}


def load(name: str) -> brep.Model:
    if not (MODELS / name).is_file():
        pytest.skip("the public models are not beside this checkout")
    model = kernel.read_step(MODELS / name)
    return brep.placed(model, brep.placement(model))


@pytest.mark.parametrize("name", ANALYTIC)
def test_sections_close_bit_for_bit(name: str) -> None:
    cutter = section.prepare(load(name))
    low, high = cutter.z_range
    flats = 0.5 * (cutter.intervals.low + cutter.intervals.high)[cutter.intervals.flat]
    asked = np.concatenate((np.linspace(low, high, 27)[1:-1], flats))
    planes = [section.take_plane(cutter, z, side) for z in asked for side in ("above", "below")]

    found = section.cut(cutter, [p.taken for p in planes])

    assert sum(s.counters.unmatched for s in found) == 0
    for s in found:
        assert s.loops.closed.all()
        assert s.model <= ANALYTIC[name]
        assert s.bound <= 1e-6
        for a, b in zip(s.loops.first_curve[:-1], s.loops.first_curve[1:], strict=True):
            ends = s.loops.ends[a:b]
            assert np.array_equal(ends[:, 2:], np.roll(ends[:, :2], -1, axis=0))


def volume(model: brep.Model) -> float:
    """Quadrature between event heights, points crowded towards them as 1 - cos."""
    cutter = section.prepare(model)
    events = np.concatenate(
        (cutter.z_range, cutter.intervals.low, cutter.intervals.high, section.face_events(cutter))
    )
    events = np.unique(np.clip(events, *cutter.z_range))
    x, w = np.polynomial.legendre.leggauss(12)
    phi = 0.5 * np.pi * (x + 1)
    share, weight = 0.5 * (1 - np.cos(phi)), 0.25 * np.pi * w * np.sin(phi)
    keep = np.diff(events) > 1e-9
    a, b = events[:-1][keep], events[1:][keep]
    z = (a[:, None] + (b - a)[:, None] * share).ravel()
    areas = [float(chain_measures(s.loops)[0].sum()) for s in section.cut(cutter, z)]
    return float(np.sum(((b - a)[:, None] * weight).ravel() * areas))


@pytest.mark.parametrize("name", ["box_corner_cut_fillet.stp", "nist_ftc_11.stp"])
def test_volume_does_not_turn_with_the_part(name: str) -> None:
    model = load(name)
    rng = np.random.default_rng(7)
    upright = volume(model)

    for _ in range(3):
        q, r = np.linalg.qr(rng.normal(size=(3, 3)))
        q = q * np.sign(np.diag(r))
        q = q if np.linalg.det(q) > 0 else -q
        assert volume(brep.placed(model, np.column_stack((q, np.zeros(3))))) == pytest.approx(
            upright, rel=1e-6
        )
