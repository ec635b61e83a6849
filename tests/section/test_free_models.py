"""Free-form faces of public models: no conflicts, few cells, points on surface and plane."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from beadwright.brep import Model, OffsetSurface, SplineSurface, surface_points
from beadwright.section._free import pack_free
from beadwright.section._free_branches import free_branches
from beadwright.section._free_pieces import free_pieces

MODELS = Path(__file__).resolve().parents[3] / "shared" / "models"
FILES = (
    "curved_extrude.stp",
    "kj66_impeller.step",
    "autogiro_propeller.step",
    "kcl_exhaust_manifold.step",
    "so101_moving_jaw.step",
)


def read(name: str) -> Model:
    found = sorted(MODELS.rglob(name))
    if not found:
        pytest.skip("the public models are not here")
    from beadwright.kernel import read_step

    return read_step(found[0])


@pytest.mark.parametrize("name", FILES)
def test_faces_of_a_public_model(name: str) -> None:
    model = read(name)
    faces = [f for f in model.faces if isinstance(f.surface, SplineSurface | OffsetSurface)]
    rng = np.random.default_rng(0)
    chosen = rng.permutation(len(faces))[:12]
    assert len(chosen) > 0

    worst = 0
    for k in chosen:
        face = faces[k]
        free = pack_free(face.surface, face.uv_box)
        low, high = free.z_range[:, 0].min(), free.z_range[:, 1].max()
        heights = low + (high - low) * np.array([0.0312, 0.217, 0.3813, 0.5 + 1e-7, 0.688, 0.9371])
        # At vertices a level curve may run along a knot line: that is where rounding is hardest.
        beside = rng.choice(model.vertices[:, 2], 6) + 1e-6
        heights = np.concatenate((heights, beside))
        branches = free_branches(free, heights)
        worst = max(worst, int(branches.cells.max()))
        assert branches.conflicts.sum() == 0
        points = surface_points(face.surface, branches.sample)
        off = np.abs(points[:, 2] - heights[branches.plane]) if len(points) else np.zeros(1)
        assert off.max() < 1e-9 + free.bound
        n = np.diff(branches.first_piece)
        pieces = free_pieces(free, branches, np.arange(len(n)), np.zeros(len(n)), n)
        sound = ~pieces.near_tangent & np.array(
            [
                np.all(branches.piece_span[a : a + c, 1] == 1)
                for a, c in zip(branches.first_piece[:-1], n, strict=True)
            ],
            dtype=bool,
        )
        assert np.all(pieces.bound[sound] <= 5e-7)
    assert worst < 1000
