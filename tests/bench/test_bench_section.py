"""Four hundred planes against the kernel's bare section, in one run."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from beadwright import kernel, section

MODELS = Path(__file__).resolve().parents[3] / "shared" / "models"


@pytest.mark.bench
@pytest.mark.parametrize("name", ["nist_ctc_01_ap242.stp", "kj66_impeller.step"])
def test_sections_beat_the_kernel(name: str) -> None:
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Section
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt
    from OCP.STEPControl import STEPControl_Reader

    path = MODELS / name
    if not path.is_file():
        pytest.skip("the public models are not beside this checkout")
    model = kernel.read_step(path)
    cutter = section.prepare(model)
    low, high = cutter.z_range
    z = low + (np.arange(400) + 0.5137) / 400 * (high - low)
    section.cut(cutter, z[:2])
    best = np.inf
    for _ in range(3):
        begin = time.perf_counter()
        section.cut(cutter, z)
        best = min(best, (time.perf_counter() - begin) / len(z))
    reader = STEPControl_Reader()
    reader.ReadFile(str(path))
    reader.TransferRoots()
    shape = reader.OneShape()
    begin = time.perf_counter()
    few = z[::40]
    for h in few:
        BRepAlgoAPI_Section(shape, gp_Pln(gp_Pnt(0, 0, h), gp_Dir(0, 0, 1)), True).Build()
    kernels = (time.perf_counter() - begin) / len(few)
    print(f"{name}: {best * 1e6:.0f} us a plane, the kernel {kernels * 1e6:.0f}: {kernels / best:.0f} times")

    assert kernels / best > 10.0
