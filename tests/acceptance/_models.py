"""The public models beside the checkout: other people's parts, no part of this project (see INDEX.md there)."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from beadwright.brep import Model
from beadwright.kernel import read_step
from beadwright.section import Cutter, prepare, take_plane

MODELS = Path(__file__).resolve().parents[3] / "shared" / "models"


def need_models() -> None:
    """Skip the module that asks where the models are not beside the checkout.

    This module itself is not skipped: pytest collects it too, for doctests, and keeps what an import left of it.
    """
    if not MODELS.is_dir():
        pytest.skip("the public models are not beside this checkout", allow_module_level=True)


def _index() -> dict[str, dict[str, str]]:
    """What is known of each model, by file; nothing where they are not there."""
    if not MODELS.is_dir():
        return {}
    with (MODELS / "index.csv").open() as file:
        return {row["file"]: row for row in csv.DictReader(file)}


INDEX = _index()

# Nothing to print in them, and what the reader says of each.
REFUSED = {
    "ap209_fea_mesh.stp": "finite-element mesh only",
    "iea15_blade_cfd.stp": r"is open: 4 free edges.*--wall",
    "lfs_pointer.stp": "Git-LFS pointer.*git lfs pull",
    "nist_ftc_08_tessellated_only.stp": "tessellated shape only",
    "pygem_pipe_open.step": r"is open: \d+ free edges.*--wall",
    "tigl_nacelle.stp": r"is open: 4 free edges.*--wall",
}
# Closed shells that the file does not call solids are read as solids.
SOLIDS = sorted(name for name in INDEX if name not in REFUSED)

PLANES = 25


@cache
def whole(name: str) -> tuple[Model, Cutter]:
    """A model as it is in the file, and ready to be cut; read once for all modules."""
    model = read_step(MODELS / name)
    return model, prepare(model)


def generic_heights(cutter: Cutter) -> list[float]:
    """25 heights that no designer chose."""
    low, high = cutter.z_range
    return [low + (high - low) * (i + 0.5137) / PLANES for i in range(PLANES)]


def flat_heights(cutter: Cutter) -> list[float]:
    """The plane above and the plane below every flat face, inside the part."""
    low, high = cutter.z_range
    found = cutter.intervals
    flats: npt.NDArray[np.float64] = 0.5 * (found.low + found.high)[found.flat]
    asked = [take_plane(cutter, float(z), side).taken for z in flats for side in ("above", "below")]
    return [z for z in asked if low < z < high]
