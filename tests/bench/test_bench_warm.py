"""Compiling all kernels from nothing: with numba as it is and as `warm` changes it, in one run."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

PLAIN = "from beadwright.pipeline import _quick; _quick.TRIED = ('none',); "
"""Said first in every process of the plain way: a version that was not tried is left as it is."""


def cold(cache: Path, before: str) -> tuple[float, float]:
    """Seconds on the wall and of both processors for what `warm` does, one call after the other."""
    begun = resource.getrusage(resource.RUSAGE_CHILDREN)
    work = "_warm._sections(); _warm._arcs(); _warm._others()"
    script = (
        f"import time; t = time.perf_counter(); {before}from beadwright.pipeline import _warm; {work}; "
        "import json; print(json.dumps(time.perf_counter() - t))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        env={**os.environ, "NUMBA_CACHE_DIR": str(cache)},
        capture_output=True,
        text=True,
        check=True,
    )
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    return json.loads(done.stdout), ended.ru_utime - begun.ru_utime


@pytest.mark.bench
@pytest.mark.timeout(1800)
def test_compiling_from_nothing(tmp_path: Path) -> None:
    plain_wall, plain = cold(tmp_path / "plain", PLAIN)
    quick_wall, quick = cold(tmp_path / "quick", "")

    print(f"\nnumba as it is: {plain:.1f} s user, {plain_wall:.1f} s wall, one process")
    print(f"as warm does it: {quick:.1f} s user, {quick_wall:.1f} s wall, ratio {quick / plain:.2f}")
    assert quick < 0.75 * plain
