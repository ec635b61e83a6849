"""Every public model with a solid: sections close and agree with the CAD kernel's, corrected.

The models are other people's parts (see INDEX.md beside them) and are no part of this project; without them
the tests are skipped.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from beadwright.brep import Model
from beadwright.curves import chain_measures
from beadwright.kernel import read_step, reference_section
from beadwright.section import Cutter, cut, prepare, take_plane

MODELS = Path(__file__).resolve().parents[3] / "shared" / "models"
N_PLANES = 25

if not MODELS.is_dir():
    pytest.skip("the public models are not beside this checkout", allow_module_level=True)

with (MODELS / "index.csv").open() as _file:
    INDEX = {row["file"]: row for row in csv.DictReader(_file)}


@lru_cache(maxsize=2)
def whole(name: str) -> tuple[Model, Cutter]:
    model = read_step(MODELS / name)
    return model, prepare(model)


def solids() -> list[str]:
    """Files with a solid, but for the one that holds triangles only, which is refused by name."""
    return [
        name
        for name, row in INDEX.items()
        if row["solids"] not in ("", "0") and not name.endswith("_tessellated_only.stp")
    ]


def heights(cutter: Cutter) -> tuple[list[float], list[float]]:
    """Generic heights, and one plane on each side of flat faces."""
    low, high = cutter.z_range
    generic = [low + (high - low) * (i + 0.5137) / N_PLANES for i in range(N_PLANES)]
    flats = cutter.intervals.low[cutter.intervals.flat]
    flat = [
        plane.taken
        for z in flats
        for side in ("above", "below")
        if low < (plane := take_plane(cutter, float(z), side)).taken < high  # type: ignore[arg-type]
    ]
    return generic, flat


@pytest.mark.parametrize("name", solids())
def test_every_section_closes(name: str) -> None:
    _, cutter = whole(name)
    generic, flat = heights(cutter)

    sections = cut(cutter, generic + flat)

    for section in sections:
        assert section.loops.closed.all(), section.taken
        assert section.counters.unmatched == 0, section.taken
        assert section.counters.conflicts == 0, section.taken
        assert section.fallbacks == 0, section.taken


@pytest.mark.parametrize("name", solids())
def test_areas_agree_with_the_corrected_kernel(name: str) -> None:
    model, cutter = whole(name)
    generic, _ = heights(cutter)
    away = 10.0 * max(float(INDEX[name]["tolerance_max"] or 0.0), 1e-3)
    edges = np.concatenate((cutter.intervals.low, cutter.intervals.high))
    chosen = [z for z in generic[::3] if np.abs(edges - z).min() > min(away, 0.01 * np.ptp(cutter.z_range))]

    judged = 0
    for section in cut(cutter, chosen):
        reference = reference_section(model, section.taken)
        if not reference.closed or reference.uncorrected:
            continue
        areas, lengths = chain_measures(section.loops)
        ours = float(areas.sum())
        room = 1e-6 * abs(ours) + (section.model + 1e-6) * float(lengths.sum())
        assert abs(ours - reference.area) <= room, (section.taken, ours, reference.area)
        judged += 1

    assert judged or not chosen or INDEX[name]["section_generic_ok"] != "yes"
