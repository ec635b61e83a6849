"""Volumes of public models from their sections: the same in any pose, and the CAD kernel's own."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright import brep, kernel
from beadwright.brep import Model
from beadwright.section import Cutter, take_plane
from tests.acceptance._models import SOLIDS, need_models, whole
from tests.acceptance._quadrature import areas, eventful, volume

need_models()

# Cheap ones of several surface kinds; the others by hand.
QUICK = (
    "box_corner_cut_fillet.stp",
    "kcl_pipe_with_bend.step",
    "two_connected_cubes.stp",
    "volturnus_platform.step",
    "wavy_cube_shell.stp",
)

FINE = 1e-11
"""What is asked of the kernel's adaptive integration; at 1e-7 it is off by 7e-6 on vase_offset."""

# Where the kernel's own volume is off, by what share, however finely it integrates. It does so over each face as
# bounded by the curves in the face's own parameters, which miss the edges by the file's gaps (0.4 um to 57 um here),
# and does not tell by how much. That of a section is the same in every pose (below: the third way). That of the wing
# is not settled at all: it changes by a percent with the kernel's own tolerance, while its areas of single planes
# agree with those judged here.
KERNEL_OFF = {
    "autogiro_propeller.step": -2.408e-5,
    "autogiro_wing.step": -1.4337e-2,
    "freecad_part006.step": 1.3052e-5,
    "framework_top_cover.stp": 3.411e-6,
    "kcl_french_press.step": -4.086e-6,
    "kcl_multi_axis_robot.step": 3.407e-6,
    "kj66_impeller.step": 1.178e-6,
    "nist_ctc_02_ap203.stp": -2.143e-5,
    "rocket_fincan6.step": -1.0686e-5,
    "so101_moving_jaw.step": -1.524e-6,
    "so101_wrist.step": -3.915e-6,
    "solo_lower_leg.step": -7.994e-6,
}

# The kernel's sections of these do not all close, or close and have lost something (the robot's foot a bore of
# 25 mm radius).
OPEN = ("autogiro_wing.step", "kcl_multi_axis_robot.step", "rocket_fincan6.step")
THIRD_WAY = tuple(name for name in KERNEL_OFF if name not in OPEN)

SLABS = 60
"""Heights at which the kernel's own sections are held against ours."""

BESIDE = 1e-4
"""How far beside a plane that the kernel cannot close another is tried, mm."""


def rotations(n: int) -> list[np.ndarray]:
    """Uniform random rotations: the orthogonal factor of a normal matrix, its signs made unique."""
    rng = np.random.default_rng(7)
    found = []
    for _ in range(n):
        q, r = np.linalg.qr(rng.normal(size=(3, 3)))
        q = q * np.sign(np.diag(r))
        found.append(q if np.linalg.det(q) > 0 else -q)
    return found


def judge(name: str, turns: int) -> None:
    model, _ = whole(name)
    upright, error = volume(model)
    assert error <= 1e-6 * upright

    for turn in rotations(turns):
        found, error = volume(brep.placed(model, np.column_stack((turn, np.zeros(3)))))
        assert error <= 1e-6 * upright
        assert found == pytest.approx(upright, rel=1e-6)
    off = kernel.volume(model, FINE) / upright - 1.0
    print(f"{name}: {upright:.9g} mm3, the kernel's is off by {off:.2e}")
    assert off == pytest.approx(KERNEL_OFF.get(name, 0.0), rel=0.01, abs=1e-6)


@pytest.mark.parametrize("name", QUICK)
def test_volume_does_not_turn_with_the_part(name: str) -> None:
    judge(name, 1)


def test_joints_of_an_edge_are_no_events_and_vertices_are() -> None:
    """Two edges are polygons of 404 corners each, which rise from z = 30; no vertex lies between there and 109."""
    model, cutter = whole("freecad_part006.step")
    kept = eventful(model, cutter)
    low, high = cutter.intervals.low, cutter.intervals.high

    between = (low > 31.0) & (high < 66.0)
    assert between.sum() > 300
    assert not kept[between].any()
    held = (low[kept] <= model.vertices[:, 2:]) & (model.vertices[:, 2:] <= high[kept])
    assert held.any(axis=1).all()


def areas_of_both(model: Model, cutter: Cutter, z: float) -> tuple[float, float] | None:
    """Area by the kernel's own section, corrected onto surface and plane, and ours; beside it where it is open."""
    for step in (0, 1, -1):
        height = take_plane(cutter, z + BESIDE * step, "above").taken
        section = kernel.reference_section(model, height)
        if section.closed:
            return section.area, float(areas(cutter, np.array([height]))[0])
    return None


@pytest.mark.byhand
@pytest.mark.timeout(3000)
@pytest.mark.parametrize("name", THIRD_WAY)
def test_a_third_way_shows_the_kernel_s_volume_to_be_off(name: str) -> None:
    """The kernel's own sections add up to our volume, not to the kernel's."""
    model, cutter = whole(name)
    low, high = cutter.z_range
    heights = low + (high - low) * (np.arange(SLABS) + 0.5) / SLABS

    found = [pair for z in heights if (pair := areas_of_both(model, cutter, float(z))) is not None]
    assert len(found) > 0.8 * SLABS
    theirs, ours = np.array(found).T

    share = float((theirs - ours).mean() / ours.mean())
    print(f"{name}: the kernel's sections are off by {share:.2e}, its volume by {KERNEL_OFF[name]:.2e}")
    assert abs(share) <= 0.3 * abs(KERNEL_OFF[name])


@pytest.mark.byhand
@pytest.mark.timeout(3000)
@pytest.mark.parametrize("name", SOLIDS)
def test_volume_in_three_random_poses(name: str) -> None:
    judge(name, 3)
