"""The whole command on the mould in some 400 layers: start-up, plan, program and sheet, once kernels are compiled."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
from pathlib import Path

import pytest

MOULD = Path(__file__).resolve().parents[2] / "step_examples" / "hatch_cover_mould.step"
ALLOWED, CORES = 20.0, 2


def processor_seconds(*words: str) -> float:
    """Seconds of all processors that the command and its workers take."""
    begun = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-m", "beadwright", "plan", str(MOULD), "--quiet", "--overwrite", *words], check=True
    )
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    return ended.ru_utime + ended.ru_stime - begun.ru_utime - begun.ru_stime


@pytest.mark.bench
@pytest.mark.timeout(1800)
def test_the_mould_in_four_hundred_layers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = str(tmp_path / "out")
    processor_seconds("-o", out, "--height", "1.08", "--layers", "0:2")
    took = processor_seconds("-o", out, "--height", "1.08")

    layers = json.loads((tmp_path / "out" / "plan.json").read_text())["layers"]
    stages = json.loads((tmp_path / "out" / "run.json").read_text())["seconds"]
    with capsys.disabled():
        print(f"\n{len(layers)} layers: {took:.1f} s of all processors; by the clock of this run:")
        print("  " + ", ".join(f"{name} {stage:.1f} s" for name, stage in stages.items()))
    assert len(layers) == 399
    # Seconds of the processors, not of a clock that other work slows down; not all stages fill both cores.
    assert took < ALLOWED * CORES
