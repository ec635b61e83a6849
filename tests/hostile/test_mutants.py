"""Damaged files end in a result or in an error with a name, within limits, and never take the caller along."""

from __future__ import annotations

from pathlib import Path

import pytest

import beadwright
from beadwright.errors import BeadwrightError, InternalError
from tests.hostile._mutants import KINDS, mutant

ROOT = Path(__file__).parents[2]
SHARED = ROOT.parent / "shared" / "models"
LARGEST = 120_000
FILES = sorted((ROOT / "step_examples").glob("*.step"))
MORE = sorted(p for p in SHARED.glob("*.st*p") if p.stat().st_size < LARGEST and "pointer" not in p.name)


def outcome(path: Path) -> str:
    """How cutting a file in the middle ends."""
    try:
        model = beadwright.read_step(path)
        beadwright.section_at(model, z=float(model.box[:, 2].mean()) + 0.0123)
    except InternalError:
        raise
    except BeadwrightError as error:
        return type(error).__name__
    return "section"


def check(seed: int, source: Path, folder: Path) -> str:
    kind, data = mutant(source.read_bytes(), seed)
    path = folder / f"{source.stem}-{kind}-{seed}.step"
    path.write_bytes(data)
    return outcome(path)


@pytest.mark.parametrize("seed", range(3 * len(KINDS)))
def test_a_few(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BEADWRIGHT_READ_SECONDS", "30")

    assert check(seed, FILES[(seed // 8 + seed) % len(FILES)], tmp_path) in (
        "section",
        "StepError",
        "GeometryError",
    )


@pytest.mark.byhand
@pytest.mark.parametrize("seed", range(1000))
def test_a_thousand(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files = FILES + MORE
    monkeypatch.setenv("BEADWRIGHT_READ_SECONDS", "30")

    check(seed, files[(seed // 8) % len(files)], tmp_path)
