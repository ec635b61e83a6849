"""Compiling quickly: the same bits as numba as it is, kept in the same cache, and only where it was tried."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numba
import pytest

from beadwright.pipeline import _quick

KERNELS = """
import numpy as np
from numba import njit

@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def inner(a, b, order):
    work = np.empty(3)
    for i in range(3):
        work[i] = min(a, b) / (abs(a - b) + i) + order
    return work, max(work[0], work[1])

@njit(cache=True, error_model="numpy")
def outer(values):
    total = 0.0
    for i in range(len(values) - 1):
        work, top = inner(values[i], values[i + 1], i)
        total = total * 0.3 + top / 7.0 + (work[2] if i % 2 else -work[1])
    return total
"""
RUN = """
import json, sys
import numpy as np
from beadwright.pipeline._quick import quicken
changed = quicken() if sys.argv[1] == "quick" else None
import kernels
value = float(kernels.outer(np.random.default_rng(5).standard_normal(200)))
made = [sum(d.stats.cache_misses.values()) for d in (kernels.outer, kernels.inner)]
if sys.argv[1] == "inner":  # another caller of what stands in the cache as intermediate code
    value = float(kernels.njit(lambda a, b: kernels.inner(a, b, 0)[1])(0.25, 0.5))
print(json.dumps([changed, value.hex(), made]))
"""


def run(folder: Path, how: str, cache: str) -> list[object]:
    path = os.pathsep.join([str(folder), *sys.path])
    done = subprocess.run(
        [sys.executable, "-c", RUN, how],
        env={**os.environ, "NUMBA_CACHE_DIR": str(folder / cache), "PYTHONPATH": path},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Cannot cache" not in done.stderr
    found: list[object] = json.loads(done.stdout)
    return found


def test_what_is_compiled_quickly_is_kept_and_gives_the_same_bits(tmp_path: Path) -> None:
    (tmp_path / "kernels.py").write_text(KERNELS, encoding="utf-8")

    plain = run(tmp_path, "plain", "one")
    quick = run(tmp_path, "quick", "two")
    loaded = run(tmp_path, "plain", "two")
    inner = run(tmp_path, "inner", "two")

    assert quick[0] is numba.__version__.startswith(_quick.TRIED)
    assert quick[1] == plain[1]
    assert quick[2] != [0, 0]
    assert loaded[1:] == [plain[1], [0, 0]]
    # by hand: min / |a - b| = 0.25 / 0.25 = 1 is the greater of the first two
    assert inner[1:] == [(1.0).hex(), [0, 0]]


def test_another_numba_is_left_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    monkeypatch.setattr(numba, "__version__", "0.1")
    monkeypatch.setattr(_quick, "_type_once", lambda: asked.append("typing"))
    monkeypatch.setattr(_quick, "_leave_inner", lambda: asked.append("inner"))
    monkeypatch.setattr(_quick.gc, "disable", lambda: None)

    assert _quick.quicken.__wrapped__() is False
    assert asked == []
