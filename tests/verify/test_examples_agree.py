"""The verifier and an independent checker, which share no code, agree on programs of the example parts."""

from __future__ import annotations

from pathlib import Path

import pytest

from beadwright.pipeline import plan, verify_options, verify_program
from tests.verify.test_planted_faults import ORACLE, independent

EXAMPLES = Path(__file__).resolve().parents[2] / "step_examples"
SOLIDS = sorted(path.stem for path in EXAMPLES.glob("*.step") if "surface" not in path.stem)

pytestmark = pytest.mark.skipif(
    not ORACLE.exists(), reason="the independent checker is not beside this checkout"
)


def judged(name: str, out: Path, layers: tuple[int, int | None]) -> tuple[bool, bool]:
    part = EXAMPLES / f"{name}.step"
    plan(part, out, layers=layers, workers=1)
    program = out / "program.nc"
    return verify_program(program, part, verify_options(layers=None)).ok, independent(program, part, None)


def test_they_agree_on_some_layers_of_an_example(tmp_path: Path) -> None:
    assert judged("turned_bollard", tmp_path / "out", (0, 3)) == (True, True)


@pytest.mark.byhand
@pytest.mark.parametrize("name", SOLIDS)
def test_they_agree_on_every_example(name: str, tmp_path: Path) -> None:
    assert judged(name, tmp_path / "out", (0, None)) == (True, True)
