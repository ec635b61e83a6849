"""Public models through section, fit, union and offset: none fails, and polygons never stand in.

Ten planes a model here; a hundred with ``-m byhand``. The models are other people's parts and no part of this
project; without them the tests are skipped.
"""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from beadwright.arcs import fit, offset, unite
from beadwright.brep import placed, placement
from beadwright.curves import region_area
from beadwright.kernel import read_step
from beadwright.section import cut, prepare, take_plane

MODELS = Path(__file__).resolve().parents[3] / "shared" / "models"
TOLERANCE = 0.01

if not MODELS.is_dir():
    pytest.skip("the public models are not beside this checkout", allow_module_level=True)

with (MODELS / "index.csv").open() as _file:
    # One file holds triangles alone and is refused by name when it is read.
    NAMES = [
        row["file"]
        for row in csv.DictReader(_file)
        if row["solids"] not in ("", "0") and "tessellated_only" not in row["file"]
    ]


def through(name: str, planes: int) -> list[str]:
    """What went wrong on the planes of one model."""
    model = read_step(MODELS / name)
    model = placed(model, placement(model))
    cutter = prepare(model)
    low, high = cutter.z_range
    # Four offsets in proportion to the part: two into the material, two outwards.
    size = float(np.ptp(model.box, axis=0)[:2].max())
    wrong = []
    shares = (np.arange(planes) + 0.5137) / planes
    heights = [take_plane(cutter, low + (high - low) * s, "above").taken for s in shares]
    for section in cut(cutter, heights):
        if not section.loops.closed.all():
            wrong.append(f"{section.taken:.4f}: open")
            continue
        united = unite(fit(section.loops, tolerance=TOLERANCE).region)
        areas = [region_area(united.region)]
        for share in (0.02, 0.004, -0.004, -0.02):
            result = offset(united.region, distance=share * size)
            areas.insert(len(areas) if share < 0 else -1, region_area(result.region))
            if result.fallbacks:
                wrong.append(f"{section.taken:.4f}: polygons at {share}")
        if section.fallbacks or united.fallbacks:
            wrong.append(f"{section.taken:.4f}: fallback")
        if any(b < a - 1e-6 * max(1.0, b) for a, b in pairwise(areas)):
            wrong.append(f"{section.taken:.4f}: areas {areas} do not grow")
    return wrong


@pytest.mark.parametrize("name", NAMES)
def test_ten_planes(name: str) -> None:
    assert through(name, 10) == []


@pytest.mark.byhand
@pytest.mark.timeout(3000)
@pytest.mark.parametrize("name", NAMES)
def test_a_hundred_planes(name: str) -> None:
    assert through(name, 100) == []
