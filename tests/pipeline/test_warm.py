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

    assert [done for _, done, _ in told] == [0, 1, 2, 3]
    assert _warm.is_warm()
    assert all(Path(cache).is_dir() for cache in warmed.caches)
    monkeypatch.setattr(numba, "__version__", "another")
    assert not _warm.is_warm()


def test_the_command_says_where_the_kernels_are() -> None:
    found = json.loads(command("warm", "--json").stdout)

    assert found["caches"]
    assert found["seconds"] > 0


ASKED = """
import beadwright
from beadwright.pipeline._warm import SAMPLE, plain_kernels
beadwright.plan(SAMPLE, workers=1)
for compiled, types in plain_kernels():
    print(compiled.py_func.__name__, compiled.signatures == [types])
"""


def test_kernels_compiled_by_types_are_those_that_a_plan_asks_for() -> None:
    """Of other types they would be compiled once more, by the first plan."""
    run = subprocess.run([sys.executable, "-c", ASKED], check=True, capture_output=True, text=True)

    asked = dict(line.split() for line in run.stdout.splitlines())
    assert {"locate_all", "boundary", "touching", "unreached", "wall"} <= asked.keys()
    assert set(asked.values()) == {"True"}


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
