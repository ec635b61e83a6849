"""Compiling ahead: what is compiled after it (nothing), where it is kept, when it is due again."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numba
import pytest

from beadwright.pipeline import _warm, compile_kernels

EXAMPLES = Path(__file__).parents[2] / "step_examples"


def command(*words: str, cache: Path | None = None) -> subprocess.CompletedProcess[str]:
    environment = os.environ if cache is None else {**os.environ, "NUMBA_CACHE_DIR": str(cache)}
    return subprocess.run(
        [sys.executable, "-m", "beadwright", *words],
        capture_output=True,
        text=True,
        check=True,
        env=environment,
    )


def test_a_stamp_tells_that_all_is_compiled_for_this_version(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[tuple[str, int, int]] = []

    warmed = compile_kernels(lambda *row: told.append(row))

    assert [done for _, done, _ in told] == [0, 1, 2, 3, 4]
    assert _warm.is_warm()
    assert all(Path(cache).is_dir() for cache in warmed.caches)
    monkeypatch.setattr(numba, "__version__", "another")
    assert not _warm.is_warm()


def test_the_command_says_where_the_kernels_are() -> None:
    found = json.loads(command("warm", "--json").stdout)

    assert found["caches"]
    assert found["seconds"] > 0


CALLS = """
import numpy as np
from beadwright.beads._kernels import discs
from beadwright.process._kernels import wall
discs(np.zeros((2, 2)), np.ones((2, 2)), np.zeros((2, 2), np.int64), np.zeros((0, 10)), 5.0)
print(sum(discs.stats.cache_misses.values()), sum(discs.stats.cache_hits.values()))
print([type(key[0]).__name__ for key in wall._cache._cache_file._load_index()])
"""


def test_kernels_compiled_by_types_are_found_by_calls(tmp_path: Path) -> None:
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    script = "from beadwright.pipeline._warm import _others; _others()"
    subprocess.run([sys.executable, "-c", script], check=True, env=environment)

    run = subprocess.run(
        [sys.executable, "-c", CALLS], check=True, env=environment, capture_output=True, text=True
    )

    assert run.stdout.splitlines() == ["0 1", "['tuple']"]


@pytest.mark.byhand
@pytest.mark.parametrize("part", sorted(EXAMPLES.glob("*.step")), ids=lambda path: path.stem)
def test_nothing_is_compiled_after_it(part: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    cache = tmp_path_factory.getbasetemp() / "kernels"
    out = tmp_path_factory.mktemp("out") / "plan"
    command("warm", "--quiet", cache=cache)
    wall = ("--wall", "centre") if "surface" in part.stem else ()

    command("plan", str(part), "-o", str(out), "--workers", "1", "--quiet", *wall, cache=cache)

    assert json.loads((out / "run.json").read_text())["seconds"]["compile"] == 0.0


@pytest.mark.byhand
def test_a_cold_plan_compiles_first_and_says_so(tmp_path: Path) -> None:
    part = EXAMPLES / "quay_bench.step"

    done = command("plan", str(part), "-o", str(tmp_path / "out"), cache=tmp_path / "kernels")

    assert "beadwright: compiling, once on this machine" in done.stderr
    seconds = json.loads((tmp_path / "out" / "run.json").read_text())["seconds"]
    assert seconds["compile"] > 0.5 * seconds["total"]
